/** @file inventory.h
 * A yearly count made from the sessions in the register, and what its readings allow to estimate.
 *
 * Days are days by UTC, as the register's own dates are where nobody says otherwise.
 */
#ifndef LUGMARK_INVENTORY_H
#define LUGMARK_INVENTORY_H

#include "lugmark/count.h"
#include "lugmark/estimate.h"
#include "lugmark/store.h"
#include <stdio.h>

/** The register at a place in the journal, with when each animal was here. */
struct lm_book {
    struct lm_roll *roll;
    struct lm_stays *stays; /**< by index of the roll */
    int32_t begun;          /**< day of the register's first change; LM_DAY_NEVER without one */
};

/**
 * Load the register as it stood after place @p seq of the journal (0: as it stands).
 * @param[in] fn  Called for each record, in the order of the roll; may be NULL.
 * @return LM_OK and @p out filled (ownership: lm_book_free()); LM_ENOMEM; or what the store gave.
 */
enum lm_err lm_book_load(
    struct lm_store *store, int64_t seq, lm_record_fn *fn, void *ctx, struct lm_book *out);
void lm_book_free(struct lm_book *book);

/** The day of an instant, since 1970-01-01, by UTC; @p other for LM_TIME_NONE. */
int32_t lm_day_of(int64_t t_ms, int32_t other);
/** The date of such a day. */
struct lm_date lm_date_of_day(int32_t day);

/* --- what readings allow to estimate --- */

/** How well devices of one form at one place were read. */
struct lm_readability {
    uint8_t form, place;
    uint64_t read, readable; /**< devices, each once a session: read; worn by those seen */
};

#define LM_READABILITY_MAX 48u
struct lm_estimates; /**< filled session by session */

/** Begin with no session. NULL when out of memory. Ownership: lm_estimates_free(). */
struct lm_estimates *lm_estimates_new(void);
void lm_estimates_free(struct lm_estimates *e); /**< NULL is allowed */

/** Take in a session that was folded from the register. @return As lm_store_events(), LM_ENOMEM. */
enum lm_err lm_estimates_session(struct lm_estimates *e, struct lm_store *store,
    const struct lm_store_session *row, const struct lm_session *s);

/** Readability by form and place. @return How many groups @p out got. */
size_t lm_estimates_readability(
    const struct lm_estimates *e, struct lm_readability out[LM_READABILITY_MAX]);

/** Animals of the register: those read and those called by number. @return false without both. */
bool lm_estimates_called(const struct lm_estimates *e, struct lm_two_lists *out);

/**
 * The two readers that saw most, all sessions together.
 * @param[out] names  Borrowed. @return false when fewer than two readers read anything.
 */
bool lm_estimates_readers(struct lm_estimates *e, const char *names[2], struct lm_two_lists *out);

/** How long devices of one strip, form and place stayed on. */
struct lm_retention {
    char strip[LM_NAME_MAX + 1]; /**< "" for none */
    uint8_t form, place;
    size_t devices, ended; /**< watched; of them lost or taken off */
    double from;           /**< youngest device watched: nothing is known of losses before, days */
    double until;          /**< longest that one was watched, days since it was put on */
    size_t n;              /**< steps */
    struct lm_life_step *steps;
};

struct lm_retentions {
    size_t n;
    struct lm_retention *groups;
    struct lm_two_devices pairs; /**< animals on the farm that began with two devices */
    size_t no_date;              /**< left out: nobody knows when it was put on or taken off */
    size_t gone_before; /**< left out: it was gone already when it was first written down */
    size_t rough;       /**< dates known to the month or year: their middle is taken */
};

/**
 * How long devices stay, from the register: taken off or lost ends a device's life; a sale, a
 * death, and today end only the watching.
 * @param[in] today  The last day watched.
 * @param[in] whole  The register holds every device that was ever put on, those lost before it was
 *                   begun too. Without it a device is watched from the day it was written down:
 *                   else only those that stayed would be known of the time before.
 * @return LM_OK (ownership: lm_retentions_free()), LM_ENOMEM, or what the store gave.
 */
enum lm_err lm_retentions_make(
    struct lm_store *store, int32_t today, bool whole, struct lm_retentions *out);
void lm_retentions_free(struct lm_retentions *r);

/**
 * Write what readings, and devices (may be NULL), allow to estimate.
 * @return LM_OK, LM_EIO, LM_ENOMEM.
 */
enum lm_err lm_estimates_text(FILE *out, struct lm_estimates *e, const struct lm_retentions *r);
/** The members of a JSON object, without its braces. @return as lm_estimates_text(). */
enum lm_err lm_estimates_json(FILE *out, struct lm_estimates *e, const struct lm_retentions *r);

/* --- the count --- */

/** One session of a count. */
struct lm_inventory_session {
    struct lm_store_session row;
    struct lm_summary sum;
    int32_t day; /**< on which it was opened, UTC, in days since 1970-01-01 */
};

/** A count as made. */
struct lm_inventory {
    char name[LM_NAME_MAX + 1];
    struct lm_date cutoff;
    int64_t seq;       /**< place in the journal that the register was taken at */
    int64_t closed_ms; /**< when the count was closed, LM_TIME_NONE when it was not */
    bool running;      /**< a session of it is still open */
    struct lm_book book;
    struct lm_count *count;
    struct lm_count_figures figures;
    struct lm_inventory_session *sessions;
    size_t n_sessions;
    struct lm_estimates *estimates;
};

/**
 * Make a count from all sessions of that name. One that was closed is made again from what the
 * register and the journal were then: it says the same, byte for byte.
 * @param[in]  cutoff  No date: the day of its last session.
 * @param[out] p       What is wrong.
 * @return LM_OK (ownership: lm_inventory_free()); LM_EINPUT: no session has that name, or it was
 *         closed with another cut-off; LM_ENOMEM; or what the store gave.
 */
enum lm_err lm_inventory_make(struct lm_store *store, const char *name, struct lm_date cutoff,
    struct lm_inventory *out, struct lm_problem *p);
void lm_inventory_free(struct lm_inventory *inv);

/**
 * Close a count: record its cut-off and the place in the journal. Later sessions of that name and
 * later changes of the register are no part of it.
 * @return LM_OK, and @p inv says when; LM_EINPUT: a session is still open, or the count is closed.
 */
enum lm_err lm_inventory_close(
    struct lm_store *store, struct lm_inventory *inv, int64_t t_ms, struct lm_problem *p);

/** Write it. @return LM_OK, LM_EIO, LM_ENOMEM. */
enum lm_err lm_inventory_text(FILE *out, struct lm_inventory *inv);
enum lm_err lm_inventory_json(FILE *out, struct lm_inventory *inv);

#endif
