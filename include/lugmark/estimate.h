/** @file estimate.h
 * What a few readings say of many: proportions, heads from two lists, how long devices stay on.
 *
 * Pure arithmetic on counts and lengths of time, and what a session gives for it. Every estimate
 * comes with an interval, and says when the data do not carry it. Confidence is 95 per cent
 * throughout. Thread: any.
 */
#ifndef LUGMARK_ESTIMATE_H
#define LUGMARK_ESTIMATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lugmark/session.h"

#define LM_Z95 1.959963984540054 /**< 97.5 per cent point of the normal distribution */

/** A proportion, 0 to 1, with the interval of Wilson (1927). */
struct lm_proportion {
    uint64_t hits, n;
    double value, low, high; /**< without cases (n = 0): value is NaN, low 0, high 1 */
};

/** @param[in] hits  At most @p n; more is taken as @p n. */
struct lm_proportion lm_wilson(uint64_t hits, uint64_t n);

/**
 * Heads from two lists of the same animals (Chapman 1951): so many on the first list, so many on
 * the second, so many on both.
 *
 * It holds only if nobody came or went between the lists, if each list was made without regard to
 * the other, if every animal is as likely to be on a list as any other, and if marks that are the
 * same were known to be the same. A number called because there was no reading breaks the second of
 * these; a lost device breaks the third.
 */
struct lm_two_lists {
    uint32_t first, second, both;
    uint32_t seen;                  /**< first + second - both: there are at least so many */
    double chapman;                 /**< as the formula gives it */
    double se;                      /**< standard error (Seber 1970) */
    double normal_low, normal_high; /**< chapman -+ LM_Z95 se: may lie below what was seen */
    uint32_t exact_low, exact_high; /**< all numbers of heads that these lists do not make
        unlikely: by the hypergeometric distribution, at least 2.5 per cent at either end */
    bool open; /**< no upper end can be told (nobody on both lists); the upper ends mean nothing */
    uint32_t heads;     /**< the estimate to tell: whole heads, never below `seen` or `low` */
    uint32_t low, high; /**< its interval, never below `seen`: the normal one in whole heads where
                             more than 50 are on both lists (Seber 1982), else the exact one */
    bool thin; /**< fewer than 7 on both lists: the formula itself runs too low (Robson and Regier
                    1964); do not rely on it */
};

/** @return LM_OK, or LM_EARG when more are on both lists than on one of them. */
enum lm_err lm_two_lists(uint32_t first, uint32_t second, uint32_t both, struct lm_two_lists *out);

/**
 * How long one device was watched, in days since it was put on. It is watched from `from` (0: from
 * the day it was put on; more: it was already on when watching began) until `until`, when it was
 * lost or taken off (`ended`), or when watching ended with the device still on: the animal was sold
 * or died, or today. until must be above from; others are left out.
 */
struct lm_life {
    double from, until; /**< days since it was put on */
    bool ended;
};

/** One step of a Kaplan-Meier curve: a time at which at least one device ended. */
struct lm_life_step {
    double t;                /**< days since they were put on */
    uint32_t at_risk, ended; /**< devices */
    double stays;            /**< share still on after this time */
    double se;               /**< Greenwood 1926 */
    double low, high;        /**< log-log interval (Kalbfleisch and Prentice) */
    bool has_interval;       /**< false when nothing stays: then there is none */
};

/**
 * Kaplan-Meier (1958), with late entry.
 * @param[in,out] lives  Sorted by the call.
 * @param[out]    steps  Room for @p max; one step for each different time of an end.
 * @return How many steps there are, which may be more than @p max. Nothing is allocated. The
 * cost is that of sorting; with late entry also n for each step.
 */
size_t lm_life_table(struct lm_life *lives, size_t n, struct lm_life_step *steps, size_t max);

/** The last step at or before @p t, or NULL: everything stays until then. */
const struct lm_life_step *lm_life_at(const struct lm_life_step *steps, size_t n, double t);

/** Share of single devices that stay, from animals that all began with two. */
struct lm_two_devices {
    uint32_t both, one, none; /**< animals that still wear so many of the two */
    double stays;             /**< 2 both / (2 both + one); NaN without such animals */
    double none_expected;     /**< animals that should have lost both, were losses independent.
                                   More in truth: a fence takes both, or they were not looked for */
};
struct lm_two_devices lm_two_devices(uint32_t both, uint32_t one, uint32_t none);

/** How an animal of the register was seen in a session. */
struct lm_seen_how {
    uint32_t animal; /**< its index in the roll */
    bool read, called;
};
typedef void lm_seen_fn(const struct lm_seen_how *how, void *ctx);

/** Each animal of the register that a session saw, in order of first appearance. */
void lm_seen_each(const struct lm_session *s, lm_seen_fn *fn, void *ctx);

#endif
