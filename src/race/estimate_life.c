/*
 * How long devices stay on: Kaplan-Meier with late entry, and the share from pairs.
 */
#include "lugmark/estimate.h"

#include <math.h>
#include <stdlib.h>

static bool usable(const struct lm_life *l)
{
    return l->from >= 0 && l->until > l->from && isfinite(l->until);
}

/** Usable ones first, by the time they end; at one time, the ended before the others. */
static int by_until(const void *a, const void *b)
{
    const struct lm_life *x = a, *y = b;
    if (usable(x) != usable(y))
        return usable(x) ? -1 : 1;
    if (!usable(x))
        return 0;
    if (x->until < y->until || x->until > y->until)
        return x->until < y->until ? -1 : 1;
    return (int) y->ended - (int) x->ended;
}

static void judge(struct lm_life_step *step, double stays, double greenwood)
{
    step->stays = stays;
    step->has_interval = stays > 0 && stays < 1;
    step->se = stays * sqrt(greenwood);
    if (!step->has_interval) {
        step->low = step->high = stays;
        step->se = 0;
        return;
    }
    double spread = exp(LM_Z95 * sqrt(greenwood) / fabs(log(stays)));
    step->low = pow(stays, spread);
    step->high = pow(stays, 1 / spread);
}

/**
 * How many of the sorted lives are watched just before the time of life @p i: those that end then
 * or later and entered before. Late entry is rare, so it is counted only where there is some.
 */
static uint32_t at_risk(const struct lm_life *lives, size_t n, size_t i, bool late)
{
    uint32_t risk = 0;
    if (!late)
        return (uint32_t) (n - i);
    for (size_t k = i; k < n; k++)
        risk += lives[k].from < lives[i].until;
    return risk;
}

size_t lm_life_table(struct lm_life *lives, size_t n, struct lm_life_step *steps, size_t max)
{
    size_t made = 0;
    double stays = 1, greenwood = 0;
    bool late = false;
    qsort(lives, n, sizeof *lives, by_until);
    while (n > 0 && !usable(&lives[n - 1]))
        n--;
    for (size_t i = 0; i < n; i++)
        late |= lives[i].from > 0;
    for (size_t i = 0; i < n;) {
        size_t end = i;
        while (end < n && lives[end].ended && lives[end].until <= lives[i].until)
            end++;
        if (end == i) {
            i++;
            continue;
        }
        struct lm_life_step step = {.t = lives[i].until, .ended = (uint32_t) (end - i)};
        step.at_risk = at_risk(lives, n, i, late);
        double d = step.ended, r = step.at_risk;
        stays = step.at_risk > step.ended ? stays * (1 - d / r) : 0;
        greenwood += step.at_risk > step.ended ? d / (r * (r - d)) : 0;
        judge(&step, stays, greenwood);
        if (made < max)
            steps[made] = step;
        made++;
        i = end;
    }
    return made;
}

const struct lm_life_step *lm_life_at(const struct lm_life_step *steps, size_t n, double t)
{
    const struct lm_life_step *found = NULL;
    for (size_t i = 0; i < n && steps[i].t <= t; i++)
        found = &steps[i];
    return found;
}

struct lm_two_devices lm_two_devices(uint32_t both, uint32_t one, uint32_t none)
{
    struct lm_two_devices out = {.both = both, .one = one, .none = none, .stays = NAN};
    double kept = 2.0 * both, all = kept + one;
    out.none_expected = NAN;
    if (all <= 0)
        return out;
    out.stays = kept / all;
    double lost = (1 - out.stays) * (1 - out.stays);
    if (lost < 1)
        out.none_expected = ((double) both + one) * lost / (1 - lost);
    return out;
}
