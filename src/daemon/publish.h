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
 * @param[in] line  JSON with its line end; borrowed for the call. NULL: there was no memory for it,
 *                  so that this follower has missed something and must begin anew.
 * @param[in] seq   Place of the event in the journal, 0 for what is not in it.
 */
typedef void publish_fn(const char *line, size_t len, int64_t seq, void *ctx);

/** Bytes of a follower that he has not taken yet. */
typedef size_t publish_behind_fn(void *ctx);

struct publish_slot {
    publish_fn *fn;
    publish_behind_fn *behind;
    void *ctx;
    size_t last;      /**< bytes that he had not taken when publish_slow() looked */
    int64_t moved_ms; /**< when he was last seen to be up to date or to take something */
};

struct publisher {
    struct publish_slot slots[PUBLISH_SLOTS];
    unsigned n;
};

/** Follow. @p behind NULL: he takes all at once. @return false when all slots are taken. */
bool publish_add(struct publisher *p, publish_fn *fn, publish_behind_fn *behind, void *ctx);

/** Follow no more; may be called from inside @p fn. */
void publish_remove(struct publisher *p, publish_fn *fn, void *ctx);

/** Bytes that wait for the follower who is furthest behind. */
size_t publish_behind(const struct publisher *p);

/**
 * Whether somebody reads, only more slowly than he is told: over @p most bytes wait for him, and he
 * took some of them within @p stuck_ms. To be asked before and after each piece that is told.
 * @param[in] now_ms  Steady clock.
 */
bool publish_slow(struct publisher *p, size_t most, int64_t now_ms, int64_t stuck_ms);

/** Whether anybody follows: if not, the line need not be made. */
bool publish_wanted(const struct publisher *p);

/** Send a line, with its end, to all. */
void publish_text(struct publisher *p, const char *line, size_t len, int64_t seq);

/** Send to all. Takes @p object over; NULL, or one with something left out: no memory for it. */
void publish_send(struct publisher *p, json_t *object, int64_t seq);

/**
 * One JSON object as a line with its end. Ownership: free(). NULL when out of memory, also when it
 * ran out while the object was made: half an answer is none.
 */
char *publish_line(const json_t *object, size_t *len);

#endif
