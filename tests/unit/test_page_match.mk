$(BUILD)/unit/test_page_match: $(BUILD)/src/daemon/page_match.o $(BUILD)/src/daemon/page_ring.o
