/** @file difference.h
 * What the difference between heads and book is made of.
 */
#ifndef LM_REPORT_DIFFERENCE_H
#define LM_REPORT_DIFFERENCE_H

#include "lugmark/count.h"

/** One part: they add up to heads less book. */
struct lm_part {
    const char *key;  /**< for machines */
    const char *what; /**< for people, in English: the key of the catalogs */
    int64_t n;
};
#define LM_PARTS 6u

/** Take the difference apart; only where every session has a head count. */
void lm_difference_parts(const struct lm_count_figures *f, struct lm_part out[LM_PARTS]);

#endif
