/** @file count_priv.h
 * The state of a count.
 */
#ifndef LM_RACE_COUNT_PRIV_H
#define LM_RACE_COUNT_PRIV_H

#include "lugmark/count.h"
#include "race/arena.h"

/** What the sessions said of one animal of the book. */
struct seat {
    uint32_t times; /**< sessions that saw it */
    int32_t day;    /**< of the first of them */
    bool due, expected, gone;
    bool read, unread; /**< in a session: by its code; by its number only though it wears a code */
    bool entered;      /**< by a code or number that nobody had then */
};

/** That a session saw an animal. */
struct seen_in {
    uint32_t animal, session;
};

/** Something said of nobody, or of two; texts are interned, so that equal ones have one offset. */
struct note {
    enum lm_count_kind kind;
    enum lm_reason reason;
    uint32_t key, other;
    uint32_t fold, text; /**< number called, as compared and as called */
    struct lm_eid eid;
    uint32_t session;
    uint32_t order;
};

struct lm_count {
    const struct lm_roll *book;
    const struct lm_stays *stays;
    int32_t day;
    int32_t first_day; /**< of the first session; LM_DAY_NEVER before */
    uint32_t n_animals, n_sessions;
    struct seat *seats;
    struct seen_in *seen;
    uint32_t n_seen, cap_seen;
    struct note *notes;
    uint32_t n_notes, cap_notes;
    struct lm_arena arena;
    uint32_t without_heads, heads, sightings;
    int64_t unidentified;  /**< signed sum */
    uint64_t nobody_known; /**< the same, no session below zero: bounds who may be among them */
    bool heads_short;
};

#endif
