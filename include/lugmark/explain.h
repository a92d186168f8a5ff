/** @file explain.h
 * What most likely happened at the race: every finding's likely causes, how sure each is, why, and
 * the command that mends the register.
 *
 * The model. An expected animal that was not read is absent, or there with a dead code, or there
 * with a new device; a code that nobody wears is a new device or a stranger's; a called number is
 * right, or misread from another (confusable characters, neighbours swapped, a digit lost). Each
 * hypothesis has a prior rate per animal or call, started at what earlier sessions of the flock
 * showed (struct lm_explain_history), else at the defaults below, and re-estimated from this
 * session's own counts. Each piece of evidence multiplies its odds (log-likelihood ratios): the
 * supply list (next or unused of a strip, its printed number), the code's visual start digit (ISO
 * 11784, 2024; a hint only), the number called for the code, confusable characters, who walks
 * beside whom (dam and kid, animals beside each other in the session before, animals of one mob;
 * how much each says is learned from this walk), country and number range of the flock, age of the
 * device against how long devices stayed on here (struct lm_explain_life, else the default curve),
 * the head count (how many animals can be there unknown). Animals and codes or numbers are matched
 * one to one, each may stay alone; a probability is the sum over all such matchings (exact up to
 * ten on the smaller side of a connected piece, belief propagation beyond). Pairs without any
 * evidence share one background weight, so a large session stays sparse. Numbers that contradict a
 * code are weighed between misread, swapped and shifted run.
 *
 * Defaults, of an expected animal: absent 2 %, new device 1 %, dead code 2 %, strangers 0.5 per
 * 100; of a call: misread 2 %, another's altogether 0.2 %; devices crossed 0.4 %, a run 0.2 % of
 * places. A device stays on by exp(-0.05 t^1.3), t in years. Earlier sessions count as half as many
 * animals as this session expects, and 100, at most: one day is not like another.
 *
 * Bounds: 64 animals of one number or key are looked at; numbers over 24 characters are compared
 * whole only; at most 40,000 pairs are made for animals of one mob.
 */
#ifndef LUGMARK_EXPLAIN_H
#define LUGMARK_EXPLAIN_H

#include "lugmark/estimate.h"
#include "lugmark/session.h"

/** Kinds of explanation, in the order of ties. */
enum lm_explain_kind {
    LM_EX_NEW_DEVICE,  /**< a missing or unread animal wears an unmatched code */
    LM_EX_MISREAD,     /**< the number called stands for another */
    LM_EX_SWAPPED,     /**< two animals' devices are crossed in the register */
    LM_EX_SHIFTED_RUN, /**< a stretch of a strip was paired one (or more) out */
    LM_EX_STRANGER,    /**< a code or number from elsewhere */
    LM_EX_FAILED_EID,  /**< the animal was there, its code gave no reading */
    LM_EX_ABSENT,      /**< the animal was not there */
    LM_EX_KINDS
};

/** "new-device", "misread-number", ... */
const char *lm_explain_kind_name(enum lm_explain_kind kind);

/** One device of a supply list. Strings are borrowed for the call of lm_explain(). */
struct lm_explain_stock {
    const char *strip;
    uint32_t position;  /**< place in its strip, 1 and up */
    struct lm_eid eid;  /**< none when the list does not say */
    const char *visual; /**< printed number, "" when the list does not say */
};

/** What earlier sessions showed, added up: lm_explain_tally() fills it. All 0 without any. */
struct lm_explain_history {
    uint32_t sessions;
    double expected;                      /**< animals expected */
    double absent, dead, fresh, stranger; /**< of those: as many were so, most likely */
    double calls, misread;                /**< numbers called, and misread ones among them */
};

#define LM_EXPLAIN_ANY 255u /**< any form, any place */

/** How long devices of one strip, form and place stayed on. Borrowed for lm_explain(). */
struct lm_explain_life {
    const char *strip;                /**< "" for any */
    uint8_t form, place;              /**< or LM_EXPLAIN_ANY */
    uint32_t devices, ended;          /**< watched; of them lost or taken off */
    double until;                     /**< longest that one was watched, days since put on */
    const struct lm_life_step *steps; /**< as lm_life_table() made them, days since put on */
    size_t n;
};

/** Two animals (indexes in the roll) that walked beside each other in an earlier session. */
struct lm_explain_beside {
    uint32_t a, b;
};

struct lm_explain_options {
    const struct lm_explain_stock *stock; /**< supply list, any order; NULL for none */
    uint32_t n_stock;
    double least; /**< alternatives below this are left out; 0: the default 0.05 */
    struct lm_explain_history history;
    const struct lm_explain_life *lives; /**< the first that fits a device is taken */
    uint32_t n_lives;
    const struct lm_explain_beside *beside;
    uint32_t n_beside;
    double interval; /**< days since the session before; 0: not known, a year is taken */
    const struct lm_speech *speech; /**< NULL: English. Must outlive the answer */
};

/** One explanation. Texts and arrays belong to the struct lm_explain. */
struct lm_explanation {
    enum lm_explain_kind kind;
    const uint32_t *animals; /**< indexes in the roll; a run in strip order */
    uint32_t n_animals;
    const struct lm_eid *eid; /**< codes it is about */
    uint32_t n_eid;
    const char *sighting; /**< the number called, or NULL */
    const char *as;       /**< the number it stands for, or NULL */
    const char *printed;  /**< number on the new device by the supply list, or NULL */
    int offset;           /**< shifted-run: the called number is that of the animal so many places
                               further along the strip; else 0 */
    double probability;   /**< 0 to 1 */
    bool best;            /**< belongs to the one likeliest story of the whole session */
    const char *const *because; /**< in words: for first, then "speaks against it: ..." */
    uint32_t n_because;
};

struct lm_explain;

/**
 * Explain a session. Most useful once it is closed: before, nobody is missing.
 * @param[in] options  NULL for the defaults.
 * @param[out] out     Ordered by probability, then kind, animal and code; the same input gives the
 *                     same output, byte for byte. Ownership: lm_explain_free().
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_explain(const struct lm_session *session, const struct lm_explain_options *options,
    struct lm_explain **out);
uint32_t lm_explain_count(const struct lm_explain *x);
const struct lm_explanation *lm_explain_at(const struct lm_explain *x, uint32_t i);
void lm_explain_free(struct lm_explain *x); /**< NULL is allowed */

/** Add what this session most likely was to what earlier ones were. */
void lm_explain_tally(const struct lm_explain *x, struct lm_explain_history *sum);

/** The instant that ages of devices are counted to; LM_TIME_NONE when no event has a time. */
int64_t lm_explain_now_ms(const struct lm_session *session);

#define LM_EXPLAIN_BASIS_MAX 600u

/** In words what the rates and the ages of devices rest on. @return @p out. */
const char *lm_explain_basis(const struct lm_explain *x, char out[LM_EXPLAIN_BASIS_MAX]);

/**
 * How likely a number on the animal is called as another, given that it is misread.
 * @return Probability 0 to 1; 0 where no single common mistake leads from one to the other.
 */
double lm_confuse(const char *printed, const char *called);

#endif
