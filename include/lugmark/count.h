/** @file count.h
 * The yearly count: several sessions, days, mobs and lanes that together make one count. Pure.
 *
 * The rules:
 * - The count is made as at the end of its cut-off day. The *book* are the animals that the
 *   register, by its dates (stay.h), has on the farm at the end of that day: who was sold, died or
 *   was killed on that day or before is not in it, nor who was born or bought later.
 * - An animal is counted once, however many sessions saw it and however many devices it wears. Seen
 *   in two sessions it is a *double*: counted once, and listed.
 * - *Not found* is an animal of the book that was due and that no session saw. Due means: on the
 *   roll of at least one session (its mob, its lot, or everybody) and surely on the farm on that
 *   session's day. One sold or dead before its mob was run was not due; nor one born or bought
 *   after. Animals of the book that were not due and were not seen are listed as *not due*, or as
 * *not covered* when they were here since the first session's day and on no roll: their mob was
 * never run. Nobody looked for either, so nothing is said of them.
 * - An animal that was seen and left between that and the end of the cut-off day is no longer in
 *   the book, but it was one of the heads: *left since*. One that came after the cut-off day and
 *   was seen all the same: *came after*. One that was seen on a day when the register says that it
 *   was gone: *seen though gone*, which is always flagged.
 * - A code or number that nobody had when it was seen, and that one animal has in the register now,
 *   is that animal: *entered since*. What still belongs to nobody is a *stranger*, once for the
 *   whole count.
 * - Heads are added up over the sessions. Where one session has no head count, the sum is no figure
 *   for the whole and bounds nothing.
 * - Three figures, never merged: book, heads counted, animals identified. Of M animals not found,
 *   between max(0, M - U) and M are truly absent, where U are the heads nobody identified: the sum
 *   over the sessions of heads less animals identified there. And always, exactly:
 *   heads - book = repeats + (heads - identified, summed) + (identified - present) - not found -
 *   not due - not covered, where identified - present are those seen that are not in the book. This
 * explains a difference; it does not mend it.
 */
#ifndef LUGMARK_COUNT_H
#define LUGMARK_COUNT_H

#include "lugmark/session.h"
#include "lugmark/stay.h"

enum lm_count_kind {
    LM_COUNT_NOT_FOUND,
    LM_COUNT_STRANGER,    /**< a code or number that nobody has */
    LM_COUNT_CONTRADICTS, /**< marks that contradict each other: see `reason` */
    LM_COUNT_GONE,        /**< seen though gone */
    LM_COUNT_TAKEN_BACK,  /**< seen, but its entry was taken back since and nobody has its code */
    LM_COUNT_DOUBLE,
    LM_COUNT_UNREAD, /**< known by its number only in the whole count, though it wears a code */
    LM_COUNT_NOT_COVERED,
    LM_COUNT_NOT_DUE,
    LM_COUNT_LEFT_SINCE,
    LM_COUNT_CAME_AFTER,
    LM_COUNT_LEFT_UNSEEN, /**< on a roll, but it had left before, and is not in the book */
    LM_COUNT_ENTERED,     /**< entered since */
    LM_COUNT_KINDS
};

const char *lm_count_kind_name(enum lm_count_kind kind); /**< "not-found", ... */

/** Whether entries of this kind make the count flagged; the others only explain. */
bool lm_count_kind_flags(enum lm_count_kind kind);

/** The figures of a whole count. */
struct lm_count_figures {
    uint32_t sessions;
    uint32_t without_heads; /**< sessions that have no head count */
    uint32_t book;
    bool has_heads;       /**< every session has a head count */
    uint32_t heads;       /**< of those sessions that have one, added up */
    uint32_t identified;  /**< animals seen, each once, in the book or not */
    uint32_t present;     /**< of the book and seen */
    uint32_t sightings;   /**< animals identified, added up over the sessions */
    uint32_t repeats;     /**< sightings - identified */
    int64_t unidentified; /**< heads less animals identified, over sessions with a head count */
    bool heads_short;     /**< in a session fewer heads than animals identified: a miscount */
    uint32_t absent_min, absent_max;
    uint32_t vague; /**< animals whose dates may put them on either side of the cut-off */
    uint32_t counts[LM_COUNT_KINDS];
};

/** One line of a list. Borrowed from the count. */
struct lm_count_entry {
    enum lm_count_kind kind;
    uint32_t animal;          /**< index in the book's roll, or LM_NO_ANIMAL */
    const char *key;          /**< of the animal, also where its entry is gone; "" for nobody */
    const char *other;        /**< key of the second animal of a contradiction, or "" */
    enum lm_reason reason;    /**< contradiction only, else LM_REASONS */
    struct lm_eid eid;        /**< the code it is about, or none */
    const char *text;         /**< the number called, or "" */
    const uint32_t *sessions; /**< places, from 0, of the sessions it was seen in, ascending */
    size_t n_sessions;
};

struct lm_count;

/**
 * Begin a count.
 * @param[in] book   The register as the count judges by, with all animals. Borrowed, and not
 *                   changed while the count lives.
 * @param[in] stays  One for each of its animals, by index. Borrowed.
 * @param[in] day    The cut-off day, since 1970-01-01.
 * @return NULL when out of memory. Ownership: lm_count_free(). Thread: one at a time.
 */
struct lm_count *lm_count_new(
    const struct lm_roll *book, const struct lm_stays *stays, int32_t day);
void lm_count_free(struct lm_count *count); /**< NULL is allowed */

/**
 * Take in one session, in order. What is needed is copied; it may be freed after.
 * @param[in] day  The day it was held.
 * @return LM_OK or LM_ENOMEM: then the count is worth nothing.
 */
enum lm_err lm_count_session(struct lm_count *count, const struct lm_session *s, int32_t day);

/** Called for each entry: by kind; animals in the order of the book, others as they came. */
typedef void lm_count_fn(const struct lm_count_entry *entry, void *ctx);

/** The result so far. @p fn may be NULL. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_count_result(
    struct lm_count *count, struct lm_count_figures *figures, lm_count_fn *fn, void *ctx);

/** Whether anything is flagged. */
bool lm_count_flagged(const struct lm_count_figures *figures);

/** Whether animal @p i of the book was seen in any session. */
bool lm_count_seen(const struct lm_count *count, uint32_t i);

#endif
