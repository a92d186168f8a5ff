/** @file notify.h
 * Telling the service manager how we are: one datagram to $NOTIFY_SOCKET, no library.
 */
#ifndef LUGMARK_DAEMON_NOTIFY_H
#define LUGMARK_DAEMON_NOTIFY_H

#include <stdint.h>

/** Send @p state, such as "READY=1". Does nothing when nobody asked for it. */
void notify_send(const char *state);

/** How often "WATCHDOG=1" is wanted, milliseconds; 0 for never. */
int64_t notify_watchdog_ms(void);

#endif
