/* What the register's past says of a session: earlier sessions, and how long devices stayed on. */
#ifndef LUGMARK_CLI_EXPLAIN_PAST_H
#define LUGMARK_CLI_EXPLAIN_PAST_H

#include "explain_lives.h"
#include "lugmark/store.h"
#include "supply.h"

#define LM_PAST_SESSIONS 8u    /* so many earlier sessions are looked at, ... */
#define LM_PAST_ANIMALS 60000u /* ... fewer where all their registers together are larger */

/** Zero-initialise it. Ownership: lm_past_free(). */
struct lm_past {
    struct lm_explain_history history;
    struct lm_explain_beside *beside;
    uint32_t n_beside, room_beside;
    double interval; /**< days since the session before in which most of these were seen */
    struct lm_lives lives;
};

/**
 * Look at the sessions before @p row, closed ones, latest first. The work is bounded.
 * @param[in] session  The session itself, folded.
 * @param[in] supply   Borrowed as long as @p out.
 * @return LM_OK, LM_ENOMEM, or what the store gave.
 */
enum lm_err lm_past_store(struct lm_store *store, const struct lm_store_session *row,
    const struct lm_session *session, const struct lm_supply *supply, struct lm_past *out);

/** Make the curves of the devices that were put into `lives`, a list that is whole. */
enum lm_err lm_past_file(
    struct lm_past *past, const struct lm_session *session, const struct lm_supply *supply);
void lm_past_free(struct lm_past *past);

#endif
