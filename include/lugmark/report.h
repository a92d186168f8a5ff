/** @file report.h
 * What a session found, as text and as JSON.
 */
#ifndef LUGMARK_REPORT_H
#define LUGMARK_REPORT_H

#include "lugmark/explain.h"
#include "lugmark/session.h"
#include "lugmark/store.h"
#include <stdio.h>

/** Write the lugmark.findings/1 object and a line end. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_report_json(FILE *out, const struct lm_session *session);

/**
 * The same with its explanations filled in. Their keys: id, kind, animals, eid, sighting, as,
 * offset, probability, because, fix, and best (whether it belongs to the likeliest story).
 * @param[in] x  Of this session; NULL for none, the list is then empty.
 */
enum lm_err lm_report_json_explained(
    FILE *out, const struct lm_session *session, const struct lm_explain *x);

/** How explanations are shown. */
struct lm_explain_view {
    const bool *skip; /**< by place in the list: leave it out, the others keep their ids; or NULL */
    long long session; /**< row of the session, for the commands that mend; 0: the latest */
};

/**
 * The explanations alone, as a JSON array.
 * @param[in] view  May be NULL.
 * @return LM_OK or LM_EIO.
 */
enum lm_err lm_report_explain_json(FILE *out, const struct lm_session *session,
    const struct lm_explain *x, const struct lm_explain_view *view);

/** The explanations for a person to read. @return LM_OK or LM_EIO. */
enum lm_err lm_report_explain_text(FILE *out, const struct lm_session *session,
    const struct lm_explain *x, const struct lm_explain_view *view);

/** Room for a command that mends, longest keys and numbers included. */
#define LM_FIX_MAX 512u

/**
 * The command that mends what an explanation says, for a shell; "" when there is nothing to mend.
 * @param[in] id   Its place in the list, from 1: what --accept takes.
 * @param[in] row  Row of the session, 0 for the latest.
 */
const char *lm_explain_fix(const struct lm_session *session, const struct lm_explanation *e,
    uint32_t id, long long row, char out[LM_FIX_MAX]);

/** Write the findings for a person to read. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_report_text(FILE *out, const struct lm_session *session);

/** Whether a session has anything flagged: the exit status 1 of the commands. */
bool lm_report_flagged(const struct lm_session *session);

/** A reason in about five words for the person at the race, such as "nobody we know". */
const char *lm_reason_say(enum lm_reason reason);

/** The weightiest reason of a verdict's set, or LM_REASONS when it has none. */
enum lm_reason lm_verdict_reason(const struct lm_verdict *verdict);

/** A session of the register, folded again: the roll as it stood, and every event since. */
struct lm_replay {
    struct lm_roll *roll;
    struct lm_session *session;
    int64_t last_seq;      /**< place of the last event folded */
    int64_t last_clock_ms; /**< the session clock there, LM_TIME_NONE when none */
};

/**
 * Fold a session from the journal.
 * @param[in]  s        Which one, as lm_store_session() gave it.
 * @param[in]  options  NULL for the defaults.
 * @return LM_OK and @p out filled. Ownership: lm_replay_free().
 */
enum lm_err lm_replay_session(struct lm_store *store, const struct lm_store_session *s,
    const struct lm_session_options *options, struct lm_replay *out);
void lm_replay_free(struct lm_replay *replay);

#endif
