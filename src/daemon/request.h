/** @file request.h
 * One request of a client, from its line to its answer.
 */
#ifndef LUGMARK_DAEMON_REQUEST_H
#define LUGMARK_DAEMON_REQUEST_H

#include "client.h"
#include "lugmark/session.h"
#include <jansson.h>

struct request {
    struct daemon *d;
    struct client *client;
    json_t *body;      /**< an object */
    json_t *id;        /**< as given, or NULL; borrowed from body */
    const char *token; /**< or NULL */
};

/**
 * Do what a line says and answer it.
 * @return false when the line is longer than its kind may be: the connection must end.
 */
bool request_handle(struct client *c, const char *line, size_t len);

/**
 * Do what a request says and answer it.
 * @param[in] body  Any JSON, or NULL for none. Borrowed.
 * @param[in] len   Bytes that it took.
 * @return false when it is longer than its kind may be.
 */
bool request_take(struct client *c, json_t *body, size_t len);

/** Answer `ok` with the keys of @p more, which is taken over; NULL for none. */
void request_ok(struct request *r, json_t *more);

/** Answer that it cannot be done. The exit status follows from p->err. */
void request_fail(struct request *r, const struct lm_problem *p);

/** A text of the request, "" when it is not there. @return false after answering a wrong type. */
bool request_text(struct request *r, const char *key, char *out, size_t size);

/** Of the requests that make events, in request_events.c and request_open.c. */
void request_open(struct request *r);
void request_saw(struct request *r);
void request_head(struct request *r);
void request_undo(struct request *r);
void request_close(struct request *r);

/** Of those that only look, in request_views.c. */
void request_findings(struct request *r);
void request_status(struct request *r);
void request_readers(struct request *r);
void request_watch(struct request *r);

/** Of those about who may use the page from elsewhere, in page_pair.c. */
void request_pair(struct request *r);
void request_paired(struct request *r);
void request_unpair(struct request *r);

/** What became of an event that a request makes. */
enum request_fate { REQUEST_ANSWERED, REQUEST_DONE };

/**
 * Bring memory up to date before a request that makes an event is judged.
 * @return false after answering that the register cannot be written.
 */
bool request_ready(struct request *r);

/**
 * Journal an event, or answer why not.
 * @param[in] bad  err not LM_OK: the request was judged and found wanting. It still gets its first
 *                 answer's place when its token shows that it was done before.
 * @return REQUEST_DONE: in the journal, folded and published, not yet answered.
 */
enum request_fate request_submit(struct request *r, struct lm_event *ev,
    const struct lm_problem *bad, struct lm_verdict *verdict);

#endif
