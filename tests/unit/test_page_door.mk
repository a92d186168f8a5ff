$(BUILD)/unit/test_page_door: $(BUILD)/src/daemon/page_door.o $(BUILD)/src/daemon/page_device.o \
    $(BUILD)/src/daemon/page_secret.o $(BUILD)/src/daemon/page_hash.o
