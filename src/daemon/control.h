/** @file control.h
 * The control socket of the daemon: see lugmark/control.h for what is said over it.
 */
#ifndef LUGMARK_DAEMON_CONTROL_H
#define LUGMARK_DAEMON_CONTROL_H

#include "client.h"

#define CONTROL_CLIENTS 64u

struct daemon;
struct event;
struct evconnlistener;

struct control {
    struct daemon *d;
    struct evconnlistener *listener;
    struct event *again; /**< takes up accepting after a second */
    struct event *reap;  /**< frees clients that were dropped, never from inside their own calls */
    struct client clients[CONTROL_CLIENTS];
};

/**
 * Make the listening socket, mode 0660. A stale one is replaced only after it refused a connection.
 * @param[in]  wanted  --socket or NULL.
 * @param[out] path    Where it is; @p size bytes.
 * @return descriptor, or -1 with @p p filled: a daemon is there already, or it cannot be made.
 */
int control_socket(const char *wanted, char *path, size_t size, struct lm_problem *p);

/** Where the control socket is, given --socket or NULL. */
void control_path(const char *wanted, char *path, size_t size);

/** Serve @p listening, which is taken over. */
enum lm_err control_begin(struct control *c, struct daemon *d, int listening);
void control_end(struct control *c);

/** Let all clients take up what waited for the journal. */
void control_wake(struct control *c);

/** Free dropped clients as soon as nobody uses them. */
void control_reap(struct control *c);

#endif
