$(BUILD)/unit/test_page_http: $(BUILD)/src/daemon/page_http.o
