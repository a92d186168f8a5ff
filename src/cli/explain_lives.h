/* How long the devices of a flock stayed on, as evidence for explanations. */
#ifndef LUGMARK_CLI_EXPLAIN_LIVES_H
#define LUGMARK_CLI_EXPLAIN_LIVES_H

#include "lugmark/explain.h"
#include "lugmark/stock.h"

#define LM_LIVES_GROUPS_MAX 64u

/** One device: days since 1970-01-01. */
struct lm_lives_piece {
    uint64_t key;         /**< of its code */
    double on, off, left; /**< put on; taken off or lost; its animal left: NAN for not (yet) */
    uint32_t strip;       /**< item of the supply list that begins its strip, or UINT32_MAX */
    uint8_t form, place;
};

/** Zero-initialise it. Ownership: lm_lives_free(). */
struct lm_lives {
    struct lm_lives_piece *pieces;
    size_t n, room;
    struct lm_explain_life groups[LM_LIVES_GROUPS_MAX];
    struct lm_life_step *steps[LM_LIVES_GROUPS_MAX];
    uint32_t n_groups;
};

/** Take the devices of an animal. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_lives_add(struct lm_lives *l, const struct lm_record *rec);

/**
 * Make the curves: of each strip, each form and place, and all, where enough devices ended.
 * @param[in] items  Supply list, strip by strip; borrowed as long as the curves.
 * @param[in] begun  Day that watching began; -INFINITY: the list of devices is whole.
 * @param[in] today  Last day watched.
 */
enum lm_err lm_lives_make(struct lm_lives *l, const struct lm_stock_item *items, size_t n_items,
    double begun, double today);
void lm_lives_free(struct lm_lives *l);

#endif
