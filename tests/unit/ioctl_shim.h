/** @file ioctl_shim.h
 * Modem lines for pseudo-terminals, for test_port_native.c only.
 */
#ifndef TESTS_IOCTL_SHIM_H
#define TESTS_IOCTL_SHIM_H

#include <stdbool.h>

/**
 * Whether pseudo-terminals have modem lines from now on; they have none at the start.
 * @param[in] state  TIOCM_ bits that are set.
 */
void ioctl_shim_modem_lines(bool on, int state);

/** The TIOCM_ bits that are set now. */
int ioctl_shim_lines(void);

#endif
