/** @file printed.h
 * The report of a session that is printed, sent and kept: a page, text, JSON, CSV.
 *
 * The page is one file, whole in itself: no script, nothing from outside, every text escaped. It
 * says what was found, in three figures that are never merged, and never that anything is in
 * order: that is for the authority. Lists and pictures on it are bounded, however large the
 * session; JSON and CSV have everything.
 */
#ifndef LUGMARK_PRINTED_H
#define LUGMARK_PRINTED_H

#include "lugmark/explain.h"
#include "lugmark/inventory.h"
#include <stdio.h>

/** What a report is made from. All of it is borrowed for the life of the report. */
struct lm_printed_source {
    struct lm_store *store;
    const struct lm_store_session *row; /**< as lm_store_session() gave it */
    const struct lm_session *session;   /**< as lm_replay_session() gave it */
    const struct lm_explain *explain;   /**< NULL: nothing is explained */
    const bool *skip; /**< by place in the explanations: leave it out, the others keep their ids;
                           or NULL */
    int64_t made_ms;  /**< when the report is made; device lives are watched until that day */
    bool devices;     /**< take in how long devices stay: reads the history of every animal */
    bool whole;       /**< as lm_retentions_make() takes it */
};

struct lm_printed;

/**
 * Gather what a report says. Folds the session once more, for the pictures.
 * @return LM_OK (ownership: lm_printed_free()), LM_ENOMEM, or what the store gave.
 */
enum lm_err lm_printed_make(const struct lm_printed_source *source, struct lm_printed **out);
void lm_printed_free(struct lm_printed *p); /**< NULL is allowed */

/** Write it. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_printed_html(FILE *out, const struct lm_printed *p);
enum lm_err lm_printed_text(FILE *out, const struct lm_printed *p); /**< 80 columns */
/**
 * The lugmark.report/1 object: `made`, `program`, `holding`, `session_row`, `findings` (a whole
 * lugmark.findings/1 object), `explanations` (as `lugmark explain --json`), `not_found`, and
 * `pictures` with the figures behind each. Keys are only ever added.
 * @return as lm_printed_html().
 */
enum lm_err lm_printed_json(FILE *out, const struct lm_printed *p);
/**
 * Findings, one a row (RFC 4180). Texts that a spreadsheet would run get a ' in front.
 * @return as lm_printed_html().
 */
enum lm_err lm_printed_csv(FILE *out, const struct lm_printed *p);

/* --- a yearly count, made of several sessions; text and JSON are those of inventory.h --- */

/** @param[in] holding  "" when not set. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_printed_count_html(
    FILE *out, const struct lm_inventory *inv, const char *holding, int64_t made_ms);
/** Every entry of its lists, one a row. @return as lm_printed_count_html(). */
enum lm_err lm_printed_count_csv(FILE *out, const struct lm_inventory *inv);

#endif
