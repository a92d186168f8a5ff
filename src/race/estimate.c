/*
 * Proportions and heads from two lists.
 */
#include "lugmark/estimate.h"

#include <math.h>

#define TAIL (0.025 - 1e-10)  /* a tail of just 2.5 per cent is not yet unlikely */
#define HEADS_MAX 2000000000u /* beyond all the flocks of a country: no upper end */

struct lm_proportion lm_wilson(uint64_t hits, uint64_t n)
{
    struct lm_proportion out = {.hits = hits < n ? hits : n, .n = n, .value = NAN, .high = 1};
    if (n == 0)
        return out;
    double cases = (double) n, p = (double) out.hits / cases, z2 = LM_Z95 * LM_Z95;
    double scale = 1 + z2 / cases, middle = (p + z2 / (2 * cases)) / scale;
    double half = LM_Z95 * sqrt(p * (1 - p) / cases + z2 / (4 * cases * cases)) / scale;
    out.value = p;
    out.low = out.hits == 0 ? 0 : fmax(0, middle - half);
    out.high = out.hits == n ? 1 : fmin(1, middle + half);
    return out;
}

static double log_choose(double n, double k)
{
    int sign;
    return lgamma_r(n + 1, &sign) - lgamma_r(k + 1, &sign) - lgamma_r(n - k + 1, &sign);
}

/** Chance that so many are on both lists when there are @p heads: hypergeometric. It can be so. */
static double chance(double heads, double first, double second, double both)
{
    return exp(log_choose(first, both) + log_choose(heads - first, second - both) -
               log_choose(heads, second));
}

/**
 * Chance of @p both or more (step 1), or of @p both or fewer (step -1). Terms are taken on from the
 * first by their ratio; past the peak they only fall, so a term that adds nothing ends the sum.
 */
static double tail(uint32_t heads, uint32_t first, uint32_t second, uint32_t both, int step)
{
    double a = first, b = second, n = heads, k = both, sum = 0;
    double peak = (a + 1) * (b + 1) / (n + 2);
    double least = fmax(0, a + b - n), most = fmin(a, b);
    if ((step > 0 && k <= least) || (step < 0 && k >= most))
        return 1;
    bool over_peak = step > 0 ? k < peak : k > peak;
    if (over_peak) /* the other tail is the short one */
        return 1 - tail(heads, first, second, step > 0 ? both - 1 : both + 1, -step);
    double term = chance(n, a, b, k);
    for (; k >= least && k <= most && term > sum * 1e-17; k += step) {
        sum += term;
        term *= step > 0 ? (a - k) * (b - k) / ((k + 1) * (n - a - b + k + 1))
                         : k * (n - a - b + k) / ((a - k + 1) * (b - k + 1));
    }
    return sum;
}

/** The fewest heads with which so few on both lists are not unlikely; the chance grows with heads.
 */
static uint32_t lowest(const struct lm_two_lists *l)
{
    uint32_t no = l->seen, yes = l->seen;
    if (tail(l->seen, l->first, l->second, l->both, -1) > TAIL)
        return l->seen;
    while (yes < HEADS_MAX && tail(yes, l->first, l->second, l->both, -1) <= TAIL) {
        no = yes;
        yes = yes < HEADS_MAX / 2 ? yes * 2 : HEADS_MAX;
    }
    while (yes - no > 1) {
        uint32_t mid = no + (yes - no) / 2;
        if (tail(mid, l->first, l->second, l->both, -1) > TAIL)
            yes = mid;
        else
            no = mid;
    }
    return yes;
}

/** The most heads with which so many on both lists are not unlikely; the chance falls with heads.
 */
static uint32_t highest(const struct lm_two_lists *l, bool *open)
{
    uint32_t yes = l->seen, no = l->seen + 1;
    *open = l->both == 0;
    while (!*open && tail(no, l->first, l->second, l->both, 1) > TAIL) {
        yes = no;
        if (no == HEADS_MAX) {
            *open = true;
            break;
        }
        no = no < HEADS_MAX / 2 ? no * 2 : HEADS_MAX;
    }
    while (!*open && no - yes > 1) {
        uint32_t mid = yes + (no - yes) / 2;
        if (tail(mid, l->first, l->second, l->both, 1) > TAIL)
            yes = mid;
        else
            no = mid;
    }
    return yes;
}

/** What to tell of the two intervals, in whole heads and never below what was seen. */
static void tell(struct lm_two_lists *l)
{
    bool normal = l->both > 50;
    double heads = fmin(round(l->chapman), (double) HEADS_MAX);
    l->low = l->exact_low;
    l->high = l->exact_high;
    if (normal) {
        l->low = l->normal_low > l->seen ? (uint32_t) l->normal_low : l->seen;
        l->high = (uint32_t) fmin(ceil(l->normal_high), (double) HEADS_MAX);
        l->high = l->high > l->low ? l->high : l->low;
    }
    l->heads = heads > l->low ? (uint32_t) heads : l->low;
}

enum lm_err lm_two_lists(uint32_t first, uint32_t second, uint32_t both, struct lm_two_lists *out)
{
    if (both > first || both > second || first > HEADS_MAX / 2 || second > HEADS_MAX / 2)
        return LM_EARG;
    double a = first, b = second, m = both;
    *out = (struct lm_two_lists){.first = first, .second = second, .both = both};
    out->seen = first + second - both;
    out->chapman = (a + 1) * (b + 1) / (m + 1) - 1;
    out->se = sqrt((a + 1) * (b + 1) * (a - m) * (b - m) / ((m + 1) * (m + 1) * (m + 2)));
    out->normal_low = out->chapman - LM_Z95 * out->se;
    out->normal_high = out->chapman + LM_Z95 * out->se;
    out->exact_low = lowest(out);
    out->exact_high = highest(out, &out->open);
    out->thin = both < 7;
    tell(out);
    return LM_OK;
}
