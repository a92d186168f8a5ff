# Every fuzz harness in one program, each under its own name.
FUZZ_NAMES := $(patsubst tests/fuzz/%.c,%,$(wildcard tests/fuzz/fuzz_*.c))
$(BUILD)/corpus/%.o: tests/fuzz/%.c
	@mkdir -p $(@D)
	$(call say,CC)
	$(Q)$(CC) $(CPPFLAGS_ALL) $(CFLAGS_ALL) $(DEPFLAGS) -DLLVMFuzzerTestOneInput=$* -c -o $@ $<
$(BUILD)/unit/test_corpus: $(FUZZ_NAMES:%=$(BUILD)/corpus/%.o) \
    $(filter-out %/main.o,$(call obj,$(CLI_SRC) $(DMN_SRC)))
