# Parts of both programs, alone.
$(BUILD)/unit/test_cli_parts: $(addprefix $(BUILD)/src/,cli/progress.o cli/rehearse_check.o \
    daemon/life.o)
