/*
 * Weights: how much likelier a pair is than both its sides alone, from the rates and the evidence.
 * The constants are odds; where they are not from the rates they are this program's own judgement,
 * held against pretended musters (tests/bench/calibrate.py).
 */
#include "race/explain_priv.h"

#include <math.h>
#include <string.h>

#define SAID_OWN 0.75     /* a new device is called by the number that the animal had */
#define SAID_PRINTED 0.45 /* ... by the number that the supply list prints on it */
#define SAID_OTHER 0.3    /* ... by a number of its own that no list knows */
#define PRINTED_SAME 0.4  /* a replacement is ordered with the number of the lost one */
#define START_SAME 0.3    /* the same, as the code's visual start digit tells: a hint */

/** Expected animals, at least one. */
static double flock(const struct ex *x)
{
    return fmax(1.0, x->sum.expected);
}

/** Chance that a given number is called by accident: of a stranger, or a slip of the tongue. */
static double any_number(const struct ex *x)
{
    return 1.0 / (4.0 * flock(x));
}

/** How much likelier a code is on a device put on here than on a stranger's. */
double ex_range_odds(const struct ex *x, const struct ex_item *item)
{
    static const double odds[] = {8.0, 1.5, 0.5, 0.05};
    if (item->stock != EX_NONE)
        return item->ahead < 3 ? 200.0 : 60.0;
    return odds[item->range] * (x->options->n_stock ? 0.4 : 1.0);
}

static bool prints_call(const struct ex *x, const struct ex_item *item)
{
    char a[LM_VISUAL_MAX + 1], b[LM_VISUAL_MAX + 1];
    if (item->stock == EX_NONE || !item->text)
        return false;
    lm_visual_fold_loose(x->options->stock[item->stock].visual, a);
    lm_visual_fold_loose(item->text, b);
    return strcmp(a, b) == 0;
}

/** Chance of what was called for a code, when a stranger wears it. */
static double call_of_stranger(const struct ex *x, const struct ex_item *item)
{
    return item->text ? any_number(x) : 1.0;
}

/** The same when an animal wears it whose number is neither that one nor like it. */
static double call_of_other(const struct ex *x, const struct ex_item *item)
{
    if (!item->text)
        return 1.0;
    if (prints_call(x, item))
        return SAID_PRINTED;
    double own = item->named == LM_NO_ANIMAL ? SAID_OTHER : 0.02;
    return (own + x->rates.slip) * any_number(x);
}

/** Where those walked that walk beside the animal: beside the code or elsewhere. */
static double of_place(const struct ex *x, const struct ex_pair *p)
{
    const struct ex_animal *a = &x->animals[p->animal];
    const struct ex_rates *r = &x->rates;
    double family = p->evidence & EV_FAMILY ? r->family.beside : a->dam_seen ? r->family.apart : 1;
    double before = p->evidence & EV_BEFORE ? r->before.beside
                    : a->friend_seen        ? r->before.apart
                                            : 1.0;
    return family * before;
}

/** Likelihood of the evidence for a code on this animal, against a stranger wearing the code. */
static double of_code(const struct ex *x, const struct ex_pair *p)
{
    const struct ex_item *item = &x->items[p->item];
    double said = call_of_other(x, item);
    double like = ex_range_odds(x, item);
    if (p->evidence & EV_CALLED)
        said = SAID_OWN;
    else if (p->evidence & EV_CONFUSED)
        said += x->rates.misread * p->confuse;
    if (p->evidence & EV_PRINTED)
        like *= PRINTED_SAME * fmin(2000.0, fmax(20.0, flock(x)));
    else if (p->evidence & EV_START)
        like *= START_SAME * fmin(2000.0, fmax(20.0, flock(x)));
    return like * p->mob * of_place(x, p) * said / call_of_stranger(x, item);
}

double ex_weight(const struct ex *x, const struct ex_pair *p)
{
    const struct ex_item *item = &x->items[p->item];
    const struct ex_animal *a = &x->animals[p->animal];
    const struct ex_rates *r = &x->rates;
    if (item->type == EX_CODE)
        return log(r->fresh * a->age * of_code(x, p) / (a->alone * r->stranger * flock(x)));
    double there = a->coded ? r->dead * a->age : 1.0;
    double said = p->evidence & EV_OWN ? 1.0 - r->misread : r->misread * p->confuse;
    return log(there * r->call_dead * said / (a->alone * item->alone));
}

void ex_weigh(struct ex *x)
{
    const struct ex_rates *r = &x->rates;
    double one = r->stranger * flock(x);
    for (uint32_t i = 0; i < x->n_animals; i++) {
        struct ex_animal *a = &x->animals[i];
        double silent = a->coded ? r->silent * a->age : 1.0 - r->call_dead + r->silent;
        a->alone = r->absent + silent;
        a->fresh = i < x->n_missing ? r->fresh * a->age / a->alone : 0.0;
        a->fresh *=
            (a->dam_seen ? r->family.apart : 1.0) * (a->friend_seen ? r->before.apart : 1.0);
    }
    for (uint32_t i = 0; i < x->n_items; i++) {
        struct ex_item *item = &x->items[i];
        if (item->type == EX_CODE) {
            item->alone = one * call_of_stranger(x, item);
            item->fresh = ex_range_odds(x, item) * call_of_other(x, item) / item->alone;
            item->fresh *= item->mob_other;
        } else {
            double again = item->type == EX_CALL && item->owner == EX_NONE ? r->again : 0.0;
            item->alone = one * any_number(x) * r->call_dead + again;
        }
    }
}
