/** @file client.h
 * One client of the control socket: its lines, its queue, its limits.
 */
#ifndef LUGMARK_DAEMON_CLIENT_H
#define LUGMARK_DAEMON_CLIENT_H

#include "lugmark/err.h"
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

struct daemon;
struct bufferevent;
struct resume;

struct client;

/** Where the lines of somebody go who is told as a client is, but is none of the control socket. */
struct client_way {
    void (*line)(struct client *c, const char *line, size_t len, int64_t seq);
    void (*answer)(struct client *c, json_t *object); /**< takes it over */
    size_t (*queued)(const struct client *c);
    void (*drop)(struct client *c, const char *why);
};

struct client {
    struct daemon *d;
    struct bufferevent *bev; /**< NULL: this place is free */
    bool gone;               /**< to be freed at the next chance; nothing is written any more */
    bool closing;            /**< to be dropped when its output is written */
    bool ended;              /**< it has no more to say */
    bool watching;
    bool looks;                   /**< it may look, and change nothing */
    size_t allow;                 /**< output it may leave unread before it is dropped */
    struct resume *resume;        /**< while it catches up, else NULL */
    const struct client_way *way; /**< NULL: the control socket */
    void *owner;                  /**< of whom the way knows */
};

/** Take a connection. @return LM_OK or LM_ENOMEM, with @p fd closed. */
enum lm_err client_begin(struct client *c, struct daemon *d, int fd);

/** Free at once. Only from outside the client's own calls. */
void client_free(struct client *c);

/** Say why and drop it as soon as possible. */
void client_drop(struct client *c, const char *why);

/** Queue a line for it. @param[in] seq  Its place in the journal, or 0. */
void client_write(struct client *c, const char *line, size_t len, int64_t seq);

/** Queue an answer, however long: it was asked for. Takes @p object over. */
void client_answer(struct client *c, json_t *object);

/** Bytes that wait to be taken by it. */
size_t client_queued(const struct client *c);

/** The journal is calm again: take up what waited for it. */
void client_wake(struct client *c);

/** Follow the stream. @return false when too many do. */
bool client_watch(struct client *c);

#endif
