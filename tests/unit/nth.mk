# The command line's parts, with every call that may fail led through tests/unit/nth.c.
comma := ,
NTH_WRAP := malloc calloc realloc strdup open read pread write fsync rename fopen fdopen fflush \
        fclose mmap mkostemp sqlite3_prepare_v2 sqlite3_prepare_v3 sqlite3_step sqlite3_exec \
        sqlite3_extended_errcode sqlite3_errmsg sqlite3_backup_init sqlite3_backup_step
$(BUILD)/unit/test_nth_fail: LDOPT += $(addprefix -Wl$(comma)--wrap=,$(NTH_WRAP))
$(BUILD)/unit/test_nth_fail: $(BUILD)/tests/unit/nth.o \
    $(filter-out $(BUILD)/src/cli/main.o,$(call obj,$(CLI_SRC)))
