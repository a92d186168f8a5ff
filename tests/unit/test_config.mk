$(BUILD)/unit/test_config: $(BUILD)/src/daemon/config.o $(BUILD)/src/daemon/config_keys.o \
    $(BUILD)/src/daemon/config_readers.o $(BUILD)/src/daemon/config_suggest.o
