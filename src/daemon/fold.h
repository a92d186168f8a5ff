/** @file fold.h
 * The register and the open session as the daemon holds them in memory.
 *
 * The roll is loaded once and kept up to date; the session is there only while one is open.
 */
#ifndef LUGMARK_DAEMON_FOLD_H
#define LUGMARK_DAEMON_FOLD_H

#include "lanes.h"
#include "lugmark/markplan.h"
#include "scratch.h"

/** A sighting or head count that undo could still take back. */
struct fold_act {
    int64_t seq;
};

struct fold {
    struct lm_store *store;
    const struct config *config;
    struct lm_roll *roll;
    struct lm_session *session;  /**< NULL while none is open */
    struct lm_store_session row; /**< of the open session; of the last one after its close */
    int64_t last_seq;            /**< place of the last event folded or taken into the roll */
    int64_t clock_ms;            /**< session clock at... */
    int64_t steady_ms;           /**< ...this moment of the steady clock */
    struct lm_session *next;     /**< made before an open event is journaled, so it cannot fail */
    struct fold_act *acts;       /**< what undo can take back, newest last */
    size_t n_acts, room_acts;
    struct lanes lanes;      /**< of the open session */
    struct lm_markplan plan; /**< what animals of this holding should wear */
    bool no_plan;            /**< nothing is planned */
    bool stale;              /**< another program changed the file, and it is not yet taken over */
    bool behind;             /**< memory ran out in the middle: fold all of it again */
};

/** Load the register and go on with the session that was open, if any. */
enum lm_err fold_begin(struct fold *f, struct lm_store *store, const struct config *config);
void fold_end(struct fold *f);

/** The session clock now, milliseconds since the session began. */
int64_t fold_clock(const struct fold *f);

/** Make ready for an open event: bring the roll up to date, take the memory. */
enum lm_err fold_prepare_open(struct fold *f);

/**
 * Apply an event that is in the journal. Open makes the session; close frees it after @p done.
 * Where memory runs out in its middle the session is folded again up to it, at once or with the
 * next.
 * @return what lm_session_apply() said; LM_EARG when there is no session for it.
 */
enum lm_err fold_apply(struct fold *f, const struct lm_event *ev, struct lm_verdict *verdict);

/** After a close event was applied and published: let the session go. */
void fold_closed(struct fold *f);

/** Called for each register change that another program made. */
typedef void fold_change_fn(const struct lm_event *ev, void *ctx);

/** Take over register changes made by other programs since the last event. Cheap when none. */
enum lm_err fold_catch_up(struct fold *f, fold_change_fn *fn, void *ctx);

#endif
