/** @file report.h
 * What a session found, as text and as JSON.
 */
#ifndef LUGMARK_REPORT_H
#define LUGMARK_REPORT_H

#include "lugmark/session.h"
#include "lugmark/store.h"
#include <stdio.h>

/** Write the lugmark.findings/1 object and a line end. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_report_json(FILE *out, const struct lm_session *session);

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
