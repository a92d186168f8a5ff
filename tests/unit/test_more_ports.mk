# The list of ports is played: see the top of the test.
$(BUILD)/unit/test_more_ports: LDOPT += $(addprefix -Wl$(comma)--wrap=sp_,list_ports get_port_name \
    get_port_description free_port_list)
