# The command line without its main(): the quick and the plain way are run as a user runs them.
$(BUILD)/unit/test_sieve: $(filter-out $(BUILD)/src/cli/main.o,$(call obj,$(CLI_SRC)))
