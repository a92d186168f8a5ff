$(BUILD)/unit/test_life: $(BUILD)/src/daemon/life.o
