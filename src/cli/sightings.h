/* Numbers called by people, from a file: kept in memory, few beside the readings. */
#ifndef LUGMARK_CLI_SIGHTINGS_H
#define LUGMARK_CLI_SIGHTINGS_H

#include <stdio.h>

#include "lugmark/event.h"
#include "problem.h"

struct lm_sightings;

/** Gives an event to the session. Called in the order in which the session has to see them. */
typedef enum lm_err lm_give_fn(const struct lm_event *ev, const char *file, long line, void *ctx);

/**
 * Read a file: CSV `time,lane,visual,with` by name, or one number a line. All bad rows are
 * reported.
 * @param[in] name  For messages; borrowed.
 * @return NULL after saying what is wrong. Ownership: lm_sightings_free().
 */
struct lm_sightings *lm_sightings_read(FILE *in, const char *name, struct lm_problems *problems);
void lm_sightings_free(struct lm_sightings *s); /**< NULL is allowed */

/** Whether the file has a column of times. */
bool lm_sightings_timed(const struct lm_sightings *s);

/**
 * Give those called before @p t_ms. One that names the code it goes with is held back until that
 * code was read.
 */
enum lm_err lm_sightings_before(struct lm_sightings *s, int64_t t_ms, lm_give_fn *give, void *ctx);

/** A code was read: give those that were held back for it. */
enum lm_err lm_sightings_after(
    struct lm_sightings *s, struct lm_eid eid, lm_give_fn *give, void *ctx);

/** Give all that are left, in the order of the file. */
enum lm_err lm_sightings_rest(struct lm_sightings *s, lm_give_fn *give, void *ctx);

#endif
