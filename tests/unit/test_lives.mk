# Part of the program, alone.
$(BUILD)/unit/test_lives: $(BUILD)/src/cli/explain_lives.o
