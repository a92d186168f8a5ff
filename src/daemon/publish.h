/** @file publish.h
 * One publisher for everybody who follows what happens: each line is made once.
 */
#ifndef LUGMARK_DAEMON_PUBLISH_H
#define LUGMARK_DAEMON_PUBLISH_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#define PUBLISH_SLOTS 160u /**< socket clients and page clients together, with room */

/**
 * A line for one follower.
 * @param[in] line  JSON with its line end; borrowed for the call.
 * @param[in] seq   Place of the event in the journal, 0 for what is not in it.
 */
typedef void publish_fn(const char *line, size_t len, int64_t seq, void *ctx);

struct publish_slot {
    publish_fn *fn;
    void *ctx;
};

struct publisher {
    struct publish_slot slots[PUBLISH_SLOTS];
    unsigned n;
};

/** Follow. @return false when all slots are taken. */
bool publish_add(struct publisher *p, publish_fn *fn, void *ctx);

/** Follow no more; may be called from inside @p fn. */
void publish_remove(struct publisher *p, publish_fn *fn, void *ctx);

/** Whether anybody follows: if not, the line need not be made. */
bool publish_wanted(const struct publisher *p);

/** Send a line, with its end, to all. */
void publish_text(struct publisher *p, const char *line, size_t len, int64_t seq);

/** Send to all. Takes @p object over; NULL is allowed and sends nothing. */
void publish_send(struct publisher *p, json_t *object, int64_t seq);

/** One JSON object as a line with its end. Ownership: free(). NULL when out of memory. */
char *publish_line(const json_t *object, size_t *len);

#endif
