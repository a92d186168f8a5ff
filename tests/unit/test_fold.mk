# A part of the daemon alone, its allocations led through tests/unit/nth.c: see nth.mk.
$(BUILD)/unit/test_fold: LDOPT += $(addprefix -Wl$(comma)--wrap=,$(NTH_WRAP))
$(BUILD)/unit/test_fold: $(addprefix $(BUILD)/src/daemon/,fold.o scratch.o lanes.o clock.o config.o \
    config_keys.o config_readers.o config_suggest.o) \
    $(BUILD)/tests/unit/nth.o
