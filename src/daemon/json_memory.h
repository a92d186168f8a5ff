/** @file json_memory.h
 * Whether memory ran out while a JSON value was made. Jansson leaves out of a value what it has no
 * memory for, and says so at each step; that an answer lacks something is noticed here, once.
 */
#ifndef LUGMARK_DAEMON_JSON_MEMORY_H
#define LUGMARK_DAEMON_JSON_MEMORY_H

#include <stdbool.h>

/** From now on. Before the first JSON value is made. */
void json_memory_watch(void);

/** Whether it ran out since this was last asked. */
bool json_memory_ran_out(void);

#endif
