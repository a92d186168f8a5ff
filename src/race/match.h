/** @file match.h
 * Matching two sides one to one where either may stay alone: the likeliest matching, and the
 * probability of each pair over all matchings.
 *
 * The weight of a matching is the product of the weights of its pairs; staying alone weighs 1. The
 * marginals are sums over all matchings, never a softened best. Pure but for memory.
 */
#ifndef LM_RACE_MATCH_H
#define LM_RACE_MATCH_H

#include "lugmark/err.h"
#include <stdint.h>

#define LM_MATCH_NONE UINT32_MAX
#define LM_MATCH_EXACT_SIDE 10u      /**< components whose smaller side is at most this are exact */
#define LM_MATCH_EXACT_CELLS 400000u /**< and whose table is at most this large */
#define LM_MATCH_LOG_MAX 60.0        /**< log weights are held within this on both sides of 0 */

/** A pair that may be matched. */
struct lm_match_edge {
    uint32_t left, right;
    double log_w; /**< natural log of its weight against both staying alone */
    double p;     /**< out: probability of the pair */
};

/** A problem. `left_p` and `right_p` (out, may be NULL) are the chances to stay alone. */
struct lm_match {
    uint32_t n_left, n_right, n_edges;
    struct lm_match_edge *edges; /**< sorted by left by the calls below */
    double *left_p, *right_p;
};

/**
 * Probabilities over all matchings. Exact where a component's smaller side is at most
 * LM_MATCH_EXACT_SIDE (a sum over subsets); else belief propagation on the component, whose fixed
 * point is unique for matchings: exact on trees; on random graphs with log weights within 3, off by
 * 0.002 on average and 0.07 at worst (tests/unit/test_match.c holds it to 0.02 and 0.15). With
 * weights far apart on a small dense graph it can be off by 0.3: those are solved exactly.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_match_marginals(struct lm_match *m);

/**
 * The matching of the greatest weight, by shortest augmenting paths.
 * @param[out] right_of  For each left its right, or LM_MATCH_NONE.
 */
enum lm_err lm_match_best(struct lm_match *m, uint32_t *right_of);

/* --- parts of it, for match.c and the tests --- */

/** Edges [first, first + n) are one component, sorted by left. */
enum lm_err lm_match_exact(struct lm_match_edge *edges, uint32_t n);
enum lm_err lm_match_bethe(struct lm_match_edge *edges, uint32_t n);
void lm_match_sort(struct lm_match *m);

#endif
