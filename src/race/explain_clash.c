/* Numbers that contradict a code: misread, swapped, or part of a shifted run. */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>

#define NEAR_PLACES 3   /* devices taken so close from one strip are in the hand together */
#define LONGEST 24u     /* places of a run that one call only stands for */
#define THIS_OFFSET 0.4 /* share of the runs that are out by just so much */

static double flock(const struct ex *x)
{
    return fmax(1.0, x->sum.expected);
}

static int64_t apart(const struct ex *x, const struct ex_clash *c)
{
    if (c->place == EX_NONE || c->other_place == EX_NONE)
        return INT64_MAX;
    return llabs((long long) (x->places[c->other_place].position - x->places[c->place].position));
}

/** Weight of the two animals' devices being crossed, before what was called for the other. */
static double swap_prior(const struct ex *x, const struct ex_clash *c)
{
    static const double at[NEAR_PLACES + 1] = {0.0, 0.19, 0.04, 0.02};
    int64_t d = apart(x, c);
    double near = d <= NEAR_PLACES ? at[d] : 0.0;
    return x->rates.swap * (0.5 / flock(x) + near);
}

/** Weight of a call being wrong: confused, or another number altogether. */
static double misread_prior(const struct ex *x, const struct ex_clash *c)
{
    double near = apart(x, c) <= NEAR_PLACES ? 0.02 : 0.0;
    double any = c->other == LM_NO_ANIMAL ? 0.25 / flock(x) : 0.5 / flock(x);
    return x->rates.misread * c->confuse + x->rates.slip * (any + near);
}

/** What was called for the other animal's code, crossed against not crossed. */
static double other_call(const struct ex *x, const struct ex_clash *c)
{
    uint8_t calls = x->calls_of[c->other];
    if (calls & 1)
        return x->rates.misread * 0.05; /* its own number was called for its own code */
    if (calls & 2)
        return c->partner != EX_NONE ? 1.0 : 0.05;
    return 1.0;
}

static double crossed(const struct ex *x, const struct ex_clash *c)
{
    return c->other == LM_NO_ANIMAL ? 0.0 : swap_prior(x, c) * other_call(x, c);
}

static enum lm_err find_partners(struct ex *x)
{
    uint32_t *of = calloc((size_t) lm_roll_animals(x->roll) + 1, sizeof *of);
    if (!of)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < x->n_clashes; i++)
        of[x->clashes[i].animal] = i + 1;
    for (uint32_t i = 0; i < x->n_clashes; i++) {
        struct ex_clash *c = &x->clashes[i];
        uint32_t k = c->other == LM_NO_ANIMAL ? 0 : of[c->other];
        if (k && x->clashes[k - 1].other == c->animal && k - 1 != i)
            c->partner = k - 1;
    }
    free(of);
    return LM_OK;
}

/** Places beside one that nobody was called for: a run may reach over them unseen. */
static uint32_t silent_beside(const struct ex *x, uint32_t place, int way)
{
    uint32_t strip = x->places[place].strip, n = 0;
    for (uint32_t at = place + (uint32_t) way; at < x->n_places && n < LONGEST;
         at += (uint32_t) way, n++) {
        if (x->places[at].strip != strip || x->calls_of[x->places[at].animal])
            break;
    }
    return n;
}

/** Runs of any length that hold both places and no other call. */
static double runs_of_one_call(const struct ex *x, struct ex_clash *c)
{
    uint32_t first = c->place < c->other_place ? c->place : c->other_place;
    uint32_t last = c->place < c->other_place ? c->other_place : c->place;
    uint32_t before = silent_beside(x, first, -1), after = silent_beside(x, last, 1);
    uint32_t least = last - first + 1;
    double sum = 0.0;
    for (uint32_t length = least; length <= LONGEST; length++) {
        uint32_t more = length - least;
        uint32_t from = more > after ? more - after : 0, to = more < before ? more : before;
        sum += to >= from ? to - from + 1.0 : 0.0;
    }
    c->ends = (double) least / (least + 0.7 * (before + after));
    return x->rates.run * THIS_OFFSET * sum / LONGEST;
}

static void weigh_alone(struct ex *x, struct ex_clash *c)
{
    c->misread = misread_prior(x, c);
    c->swap = crossed(x, c);
    bool runs = apart(x, c) >= 1 && apart(x, c) <= 2 && !(x->calls_of[c->other] & 1);
    c->run = runs ? runs_of_one_call(x, c) : 0.0;
    if (x->calls_of[c->animal] & 1) { /* the right number was called for it as well */
        c->corrected = true;
        c->swap *= x->rates.misread * 0.05;
        c->run *= x->rates.misread * 0.05;
    }
    double other = c->other == LM_NO_ANIMAL ? 0.1 * x->rates.slip / flock(x) : 0.0;
    double all = c->misread + c->swap + c->run + other;
    c->misread /= all;
    c->swap /= all;
    c->run /= all;
}

/** Both ways round: one swap explains two calls, else both were misread. */
static void weigh_both(struct ex *x, struct ex_clash *c, struct ex_clash *d)
{
    double swap = swap_prior(x, c);
    double misread = misread_prior(x, c) * misread_prior(x, d);
    if ((x->calls_of[c->animal] | x->calls_of[d->animal]) & 1)
        swap *= x->rates.misread * 0.05;
    c->swap = d->swap = swap / (swap + misread);
    c->misread = d->misread = misread / (swap + misread);
    c->run = d->run = 0.0;
}

static void weigh_runs(struct ex *x)
{
    for (uint32_t g = 0; g < x->n_runs; g++)
        x->runs[g].p = -log(x->rates.run / 20.0);
    for (uint32_t i = 0; i < x->n_clashes; i++) {
        const struct ex_clash *c = &x->clashes[i];
        if (c->group != EX_NONE)
            x->runs[c->group].p += log(misread_prior(x, c) + crossed(x, c));
    }
    for (uint32_t g = 0; g < x->n_runs; g++)
        x->runs[g].p = 1.0 / (1.0 + exp(fmin(60.0, fmax(-60.0, x->runs[g].p))));
}

/**
 * What this session tells of the two rates: a number that the right animal was called by as well
 * was called wrongly; two that name each other are crossed.
 */
static void learn(struct ex *x)
{
    double slips = 0.0, pairs = 0.0, n = flock(x), q = x->rates.call;
    for (uint32_t i = 0; i < x->n_clashes; i++) {
        const struct ex_clash *c = &x->clashes[i];
        if (c->group != EX_NONE || c->other == LM_NO_ANIMAL)
            continue;
        slips += c->confuse <= 0.0 && (x->calls_of[c->other] & 1);
        pairs += c->partner != EX_NONE ? 0.5 : 0.0;
    }
    x->rates.slip *= (slips + 1.0) / (x->calls * q * x->rates.slip + 1.0);
    x->rates.swap *= (2.0 * pairs + 1.0) / (n * q * q * x->rates.swap + 1.0);
}

enum lm_err ex_clash_weigh(struct ex *x)
{
    if (find_partners(x))
        return LM_ENOMEM;
    learn(x);
    weigh_runs(x);
    for (uint32_t i = 0; i < x->n_clashes; i++) {
        struct ex_clash *c = &x->clashes[i];
        bool pair = c->partner != EX_NONE && x->clashes[c->partner].group == c->group;
        if (pair && c->partner > i)
            weigh_both(x, c, &x->clashes[c->partner]);
        else if (!pair)
            weigh_alone(x, c);
        if (c->group != EX_NONE && (!pair || c->partner < i)) {
            double rest = 1.0 - x->runs[c->group].p;
            c->misread *= rest;
            c->swap *= rest;
            c->run = 0.0;
            if (pair) {
                x->clashes[c->partner].misread = c->misread;
                x->clashes[c->partner].swap = c->swap;
            }
        }
        if (c->swap > 0.0 && c->other != LM_NO_ANIMAL)
            x->swapped[c->other] = fmax(x->swapped[c->other], c->swap);
    }
    return LM_OK;
}
