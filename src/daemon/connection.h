/** @file connection.h
 * Connections of libevent that are whole, or are none.
 *
 * libevent 2.1 looks at almost every allocation of its own. Where it does not, in making a
 * bufferevent and its watermark, a connection would be silent for ever or the program would end.
 * For those a little memory is put aside first.
 */
#ifndef LUGMARK_DAEMON_CONNECTION_H
#define LUGMARK_DAEMON_CONNECTION_H

#include <stddef.h>

struct bufferevent;
struct event_base;

/** Stand in for libevent's allocator. Before anything else of libevent is called. */
void connection_memory(void);

/**
 * Take over a connected socket; it is closed with the connection.
 * @param[in] most  Bytes that are read ahead at most.
 * @return Ownership: bufferevent_free(). NULL when out of memory: @p fd is still the caller's.
 */
struct bufferevent *connection_new(struct event_base *base, int fd, size_t most);

#endif
