/** @file scratch.h
 * A session folded again from the journal, with the settings that its open event carries.
 *
 * Used at a restart, when a client wants what it missed, and for the findings of a closed session.
 */
#ifndef LUGMARK_DAEMON_SCRATCH_H
#define LUGMARK_DAEMON_SCRATCH_H

#include "lugmark/session.h"
#include "lugmark/store.h"

struct scratch {
    struct lm_roll *roll;
    struct lm_session *session;
    struct lm_store_session row;
    int64_t pos;      /**< place of the last event folded */
    int64_t clock_ms; /**< session clock there, LM_TIME_NONE before the first that has one */
    int64_t t_ms;     /**< wall clock there */
};

/** Called after each event; non-LM_OK stops scratch_run(), which returns it. */
typedef enum lm_err scratch_fn(
    const struct lm_event *ev, const struct lm_verdict *verdict, void *ctx);

/** Take the register as it stood when session @p row began. @return LM_OK or what failed. */
enum lm_err scratch_begin(
    struct scratch *s, struct lm_store *store, const struct lm_store_session *row);

/** Fold the events after s->pos. @p fn may be NULL. */
enum lm_err scratch_run(struct scratch *s, struct lm_store *store, scratch_fn *fn, void *ctx);

void scratch_end(struct scratch *s);

#endif
