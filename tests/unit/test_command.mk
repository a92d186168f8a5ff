# The command line's parts without its main().
$(BUILD)/unit/test_command $(BUILD)/unit/test_cli_files: \
    $(filter-out $(BUILD)/src/cli/main.o,$(call obj,$(CLI_SRC)))
