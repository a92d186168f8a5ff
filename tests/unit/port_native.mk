# The native port is tested on a pseudo-terminal that pretends to have modem lines.
$(BUILD)/unit/test_port_native: $(BUILD)/tests/unit/ioctl_shim.o
