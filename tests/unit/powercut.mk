# The disk that remembers is a file of its own.
$(BUILD)/unit/test_powercut: $(BUILD)/tests/unit/powercut.o
