/** @file explain_walk.h
 * Who walks beside whom, as far as it tells which missing animal wears a code.
 */
#ifndef LM_RACE_EXPLAIN_WALK_H
#define LM_RACE_EXPLAIN_WALK_H

#include "race/explain_priv.h"

#define EX_MOB_PAIRS 40000u /**< pairs made for animals of one mob, all codes together */
#define EX_MOB_EACH 40u     /**< missing animals of a mob that one code is paired with */

/** Lists for the walk of one session. */
struct ex_walk {
    uint32_t *kids;         /**< by place, then by node: chains of missing kids, see chain_kids() */
    uint32_t *friends;      /**< of each animal those beside it in the session before */
    uint32_t *friend_first; /**< animal -> its first; the next animal's is the end */
    uint32_t *mob_of;       /**< animal -> mob, numbered from 0 */
    double *share;          /**< of each mob in this walk */
    double stick; /**< how much oftener than by chance the next is of the same mob: 0..1 */
    uint32_t *mob_first, *mob_next; /**< mob -> node + 1 of a missing one -> the next */
    uint32_t *mob_missing;          /**< how many those are */
    uint32_t n_mobs, made;          /**< made: pairs for mobs so far */
};

enum lm_err ex_walk_begin(struct ex *x, struct ex_walk *w);
void ex_walk_end(struct ex_walk *w); /**< also after a failed begin */

/** Note beside which mobs a code walked. */
void ex_walk_item(const struct ex *x, const struct ex_walk *w, struct ex_item *item);

/** How much likelier the animals beside it are when one of this mob wears the code. */
double ex_mob_odds(const struct ex_walk *w, const struct ex_item *item, uint32_t mob);

#endif
