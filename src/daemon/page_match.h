/** @file page_match.h
 * Which animals a few characters may mean. Pure.
 */
#ifndef LUGMARK_DAEMON_PAGE_MATCH_H
#define LUGMARK_DAEMON_PAGE_MATCH_H

#include "lugmark/roll.h"

#define MATCH_MAX 200u

struct match {
    uint32_t animal;
    bool inside;                    /**< only inside of the number, not where it begins */
    char number[LM_VISUAL_MAX + 1]; /**< by which it is sorted */
};

/** The best ones so far, best first. */
struct match_best {
    char q[LM_VISUAL_MAX + 1]; /**< folded */
    unsigned limit, n;
    struct match all[MATCH_MAX];
};

/** @param[in] limit  1 to MATCH_MAX. */
void match_begin(struct match_best *best, const char *q, unsigned limit);

/**
 * Look at one animal.
 * @param[in] all  Look at removed devices and at electronic codes, too.
 * @return whether it is meant; it may still be too far behind to be kept.
 */
bool match_animal(struct match_best *best, const struct lm_roll *roll, uint32_t animal, bool all);

/** Order of two folded numbers: runs of digits by their value. Below 0, 0 or above. */
int match_order(const char *a, const char *b);

#endif
