# Part of the program, alone.
$(BUILD)/unit/test_sieve_codes: $(BUILD)/src/sieve/codes.o
