# What is asked of calloc is watched: an index must not ask for more than its register needs.
$(BUILD)/unit/test_more_bounds: LDOPT += -Wl,--wrap=calloc
