$(BUILD)/unit/test_verdict_line: $(BUILD)/src/daemon/verdict_line.o \
    $(BUILD)/src/daemon/verdict_json.o $(BUILD)/src/daemon/publish.o \
    $(BUILD)/src/daemon/json_memory.o $(BUILD)/src/daemon/log.o $(BUILD)/src/daemon/clock.o
