/** @file clock.h
 * The two clocks of the daemon, both in milliseconds.
 */
#ifndef LUGMARK_DAEMON_CLOCK_H
#define LUGMARK_DAEMON_CLOCK_H

#include <stdint.h>

/** Wall clock, UTC, milliseconds since 1970. Only for showing: it may step. */
int64_t clock_wall_ms(void);

/** Never steps and goes on while the machine sleeps: a lid that was shut is not a short pause. */
int64_t clock_steady_ms(void);

#endif
