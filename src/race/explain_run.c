/*
 * Shifted runs: calls that each name the animal the same number of places further along the strip.
 * Found from two such calls with no right call between; reaches on over uncalled animals whose
 * registered numbers are out of step in the same way.
 */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define OFFSET_MAX 12 /* further apart is no pairing out of step */
#define GAP_MAX 40u   /* places between two calls of one run */

/** Of each animal its last place, plus one; then of each place the animal's one before. */
static uint32_t *places_of(const struct ex *x)
{
    size_t n = (size_t) lm_roll_animals(x->roll) + 1;
    uint32_t *of = calloc(n + x->n_places, sizeof *of);
    for (uint32_t i = 0; of && i < x->n_places; i++) {
        of[n + i] = of[x->places[i].animal];
        of[x->places[i].animal] = i + 1;
    }
    return of;
}

/** The place of an animal's device: the one of this code, or (code 0) one on this strip. */
static uint32_t place_of(
    const struct ex *x, const uint32_t *of, uint32_t animal, uint64_t key, uint32_t strip)
{
    if (animal == LM_NO_ANIMAL)
        return EX_NONE;
    const uint32_t *before = of + lm_roll_animals(x->roll) + 1;
    for (uint32_t i = of[animal]; i; i = before[i - 1]) {
        const struct ex_place *p = &x->places[i - 1];
        if (key ? p->key == key : p->strip == strip)
            return i - 1;
    }
    return EX_NONE;
}

static int offset_of(const struct ex *x, const struct ex_clash *c)
{
    if (c->place == EX_NONE || c->other_place == EX_NONE)
        return 0;
    int64_t d = x->places[c->other_place].position - x->places[c->place].position;
    return d >= -OFFSET_MAX && d <= OFFSET_MAX ? (int) d : 0;
}

static int by_offset(const void *a, const void *b, void *ctx)
{
    const struct ex *x = ctx;
    uint32_t i = *(const uint32_t *) a, k = *(const uint32_t *) b;
    int p = offset_of(x, &x->clashes[i]), q = offset_of(x, &x->clashes[k]);
    if (p != q)
        return p < q ? -1 : 1;
    uint32_t m = x->clashes[i].place, n = x->clashes[k].place;
    if (m != n)
        return m < n ? -1 : 1;
    return (i > k) - (i < k);
}

/** A right call of an animal that no call contradicts: it is in no run. */
static bool is_right(const struct ex *x, uint32_t place)
{
    return x->calls_of[x->places[place].animal] == 1;
}

static bool reaches(const struct ex *x, uint32_t from, uint32_t to)
{
    if (x->places[from].strip != x->places[to].strip || to - from > GAP_MAX)
        return false;
    for (uint32_t i = from; i <= to; i++) {
        if (is_right(x, i))
            return false;
    }
    return true;
}

/** Places joined by the clashes of a run: the animals read and those named. */
static void widen(struct ex_run *r, uint32_t place)
{
    r->first = place < r->first ? place : r->first;
    r->last = place > r->last ? place : r->last;
}

/** How far a registered number is from the place: constant along a strip put on in order. */
static bool step_at(const struct ex *x, uint32_t place, uint32_t strip, long long *step)
{
    const struct ex_place *p = place < x->n_places ? &x->places[place] : NULL;
    if (!p || p->strip != strip || p->number < 0 || is_right(x, place))
        return false;
    *step = p->number - p->position;
    return true;
}

/** Whether the supply list prints another number on a device than the register says: 1, 0 or -1. */
static int differs(const struct ex *x, uint32_t place)
{
    const struct ex_place *p = &x->places[place];
    const char *printed = p->stock == EX_NONE ? "" : x->options->stock[p->stock].visual;
    if (!printed[0])
        return -1;
    return !ex_has_number(x->roll, p->animal, printed);
}

/** Whether a place beside a run belongs to it, by the supply list: it decides alone. */
static bool differs_at(const struct ex *x, uint32_t place, uint32_t strip)
{
    return place < x->n_places && x->places[place].strip == strip && differs(x, place) == 1;
}

static void reach_printed(const struct ex *x, struct ex_run *r)
{
    uint32_t strip = x->places[r->first].strip;
    while (r->first < r->last && differs(x, r->first) == 0)
        r->first++;
    while (r->last > r->first && differs(x, r->last) == 0)
        r->last--;
    while (r->first > 0 && differs_at(x, r->first - 1, strip))
        r->first--;
    while (differs_at(x, r->last + 1, strip))
        r->last++;
}

/**
 * Reach on over uncalled animals. @p out is the true step, as the calls tell it, @p in the one
 * inside the run, where numbers run along the strip.
 */
static void reach_on(const struct ex *x, struct ex_run *r, long long in, long long out)
{
    uint32_t strip = x->places[r->first].strip;
    long long step;
    while (r->first > 0 && step_at(x, r->first - 1, strip, &step) && step == in)
        r->first--;
    while (step_at(x, r->last + 1, strip, &step) && step == in)
        r->last++;
    /* the run's end took the number left over at its other end */
    for (int k = 0; k < OFFSET_MAX && step_at(x, r->last + 1, strip, &step) && step != out; k++)
        r->last++;
    for (int k = 0;
         k < OFFSET_MAX && r->first > 0 && step_at(x, r->first - 1, strip, &step) && step != out;
         k++)
        r->first--;
}

/** Uncalled animals beside the run that may belong to it as well, as many as are to be expected. */
static double beyond(const struct ex *x, uint32_t place, int way)
{
    double q = ((double) x->calls + 1.0) / ((double) x->s->n_seen + 2.0);
    double most = fmin(12.0, (1.0 - fmin(1.0, q)) / q), n = 0.0;
    uint32_t strip = x->places[place].strip;
    for (;;) {
        place += (uint32_t) way;
        if (place >= x->n_places || x->places[place].strip != strip || is_right(x, place) ||
            n >= most)
            return n;
        n += 1.0;
    }
}

/** How surely the stretch is the whole one, where neither list nor numbers tell its ends. */
static double ends_known(const struct ex *x, const struct ex_run *r)
{
    double n = (double) (r->last - r->first + 1);
    double more = beyond(x, r->first, -1) + beyond(x, r->last, 1);
    return n / (n + 0.7 * more);
}

/**
 * How far the called numbers are from their places; false when they do not agree, or the numbers
 * are none.
 */
static bool true_step(const struct ex *x, const uint32_t *order, uint32_t n, long long *out)
{
    for (uint32_t i = 0; i < n; i++) {
        const struct ex_place *a = &x->places[x->clashes[order[i]].place];
        const struct ex_place *b = &x->places[x->clashes[order[i]].other_place];
        if (b->number < 0 || (i > 0 && b->number - a->position != *out))
            return false;
        *out = b->number - a->position;
    }
    return true;
}

static enum lm_err make_run(struct ex *x, const uint32_t *order, uint32_t n)
{
    long long out = 0;
    enum lm_err err = ex_grow(&x->runs, &x->cap_runs, x->n_runs, sizeof *x->runs);
    if (err)
        return err;
    struct ex_run r = {.first = EX_NONE, .last = 0, .calls = n};
    r.offset = offset_of(x, &x->clashes[order[0]]);
    for (uint32_t i = 0; i < n; i++) {
        struct ex_clash *c = &x->clashes[order[i]];
        widen(&r, c->place);
        widen(&r, c->other_place);
        c->group = x->n_runs;
    }
    r.ends = 1.0;
    if (differs(x, r.first) >= 0 && differs(x, r.last) >= 0) {
        reach_printed(x, &r);
        if (r.first == r.last) { /* the list agrees with the register: the calls were wrong */
            for (uint32_t i = 0; i < n; i++)
                x->clashes[order[i]].group = EX_NONE;
            return LM_OK;
        }
    } else if (true_step(x, order, n, &out))
        reach_on(x, &r, out - r.offset, out);
    else
        r.ends = ends_known(x, &r);
    x->runs[x->n_runs++] = r;
    return LM_OK;
}

/** Each run's places, and as many beside it as it is out of step: whose run a place is, plus one.
 */
static uint32_t *runs_by_place(const struct ex *x)
{
    uint32_t *run_of = calloc((size_t) x->n_places + 1, sizeof *run_of);
    for (uint32_t g = 0; run_of && g < x->n_runs; g++) {
        const struct ex_run *r = &x->runs[g];
        uint32_t by = (uint32_t) abs(r->offset);
        uint32_t from = r->first > by ? r->first - by : 0;
        for (uint32_t i = from; i <= r->last + by && i < x->n_places; i++) {
            if (!run_of[i] && x->places[i].strip == x->places[r->first].strip)
                run_of[i] = g + 1;
        }
    }
    return run_of;
}

/**
 * Out of step by one, the last animal of the stretch has the number of its first: where that was
 * called, both ends are known, and what was reached for beyond them is no part of it.
 */
static void end_at(const struct ex *x, struct ex_run *r, uint32_t run, const struct ex_clash *c)
{
    uint32_t first = c->place < c->other_place ? c->place : c->other_place;
    uint32_t last = c->place < c->other_place ? c->other_place : c->place;
    bool wraps = abs(r->offset) == 1 && (r->offset > 0) == (c->other_place < c->place);
    for (uint32_t i = 0; i < x->n_clashes && wraps; i++) {
        const struct ex_clash *o = &x->clashes[i];
        wraps = o == c || o->group != run ||
                (o->place >= first && o->place <= last && o->other_place >= first &&
                    o->other_place <= last);
    }
    if (!wraps)
        return;
    r->first = first;
    r->last = last;
    r->ends = 1.0;
}

/**
 * The calls at the ends of runs belong to them too: the number left over went to the other end, or
 * to nobody.
 */
static enum lm_err join_ends(struct ex *x)
{
    uint32_t *run_of = runs_by_place(x);
    if (!run_of)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < x->n_clashes; i++) {
        struct ex_clash *c = &x->clashes[i];
        uint32_t g = c->place == EX_NONE ? 0 : run_of[c->place];
        bool nobodys = c->other == LM_NO_ANIMAL && c->confuse < 0.01;
        bool inside = c->other_place != EX_NONE && run_of[c->other_place] == g;
        if (c->group != EX_NONE || !g || (!nobodys && !inside))
            continue;
        c->group = g - 1;
        x->runs[g - 1].calls++;
        widen(&x->runs[g - 1], c->place);
        if (inside)
            end_at(x, &x->runs[g - 1], g - 1, c);
    }
    free(run_of);
    return LM_OK;
}

static enum lm_err find_runs(struct ex *x, const uint32_t *order)
{
    enum lm_err err = LM_OK;
    for (uint32_t i = 0; i < x->n_clashes && !err;) {
        const struct ex_clash *c = &x->clashes[order[i]];
        int k = offset_of(x, c);
        uint32_t n = 1;
        while (k && i + n < x->n_clashes && offset_of(x, &x->clashes[order[i + n]]) == k &&
               reaches(x, x->clashes[order[i + n - 1]].place, x->clashes[order[i + n]].place))
            n++;
        bool fresh = k != 0 && n >= 2 && c->group == EX_NONE &&
                     x->clashes[order[i + n - 1]].place != c->place;
        if (fresh)
            err = make_run(x, order + i, n);
        i += n;
    }
    return err;
}

enum lm_err ex_runs(struct ex *x)
{
    uint32_t *of = places_of(x);
    uint32_t *order = calloc(x->n_clashes + 1u, sizeof *order);
    enum lm_err err = of && order ? LM_OK : LM_ENOMEM;
    for (uint32_t i = 0; i < x->n_clashes && !err; i++) {
        struct ex_clash *c = &x->clashes[i];
        order[i] = i;
        c->place = place_of(x, of, c->animal, lm_eid_key(c->eid), 0);
        if (c->place != EX_NONE)
            c->other_place = place_of(x, of, c->other, 0, x->places[c->place].strip);
    }
    if (!err && x->n_clashes)
        qsort_r(order, x->n_clashes, sizeof *order, by_offset, x);
    if (!err)
        err = find_runs(x, order);
    if (!err)
        err = join_ends(x);
    free(of);
    free(order);
    return err;
}
