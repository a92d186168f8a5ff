# Allocations led through tests/unit/nth.c, which stands for more than those: see nth.mk.
$(BUILD)/unit/test_more_memory: LDOPT += $(addprefix -Wl$(comma)--wrap=,$(NTH_WRAP))
$(BUILD)/unit/test_more_memory: $(BUILD)/tests/unit/nth.o
