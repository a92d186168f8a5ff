/* Accepting and rejecting explanations: what they change in the register. */
#ifndef LUGMARK_CLI_EXPLAIN_APPLY_H
#define LUGMARK_CLI_EXPLAIN_APPLY_H

#include "lugmark/explain.h"
#include "lugmark/store.h"

/** A session explained again from the register. */
struct lm_told {
    struct lm_store *store;
    const struct lm_session *session;
    const struct lm_explain *all;
    int64_t session_row;
    bool *skip; /**< by place in the list: rejected, or in the register by now */
};

/** Whether accepting it changes the register at all. */
bool lm_explain_mends(const struct lm_explanation *e);

/** Find which explanations are settled already. @return LM_OK or what the store says. */
enum lm_err lm_told_skip(struct lm_told *told);

/**
 * Change the register as explanation @p i (from 0) says, inside the caller's transaction. The
 * devices as they were stay in the history as removed; each change is an event with its reason.
 * @return LM_OK, LM_EARG with nothing changed: the register is no longer as it was in the session;
 *         or what the store says.
 */
enum lm_err lm_told_accept(const struct lm_told *told, uint32_t i);

/** Remember that it is not so. */
enum lm_err lm_told_reject(const struct lm_told *told, uint32_t i);

#endif
