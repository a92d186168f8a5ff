/*
 * How likely a device of some age was lost or failed lately: by how long devices stayed on in this
 * flock where that was watched, drawn towards a usual curve where little was.
 */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define YEAR 365.25
#define USUAL_WEIGHT 20.0 /* devices at risk that the usual curve counts for */
#define AGE_MOST 4.0      /* what age alone can do to the odds, either way */

/** Cumulative hazard of the usual curve. */
static double usual(double days)
{
    return 0.05 * pow(fmax(0.0, days) / YEAR, 1.3);
}

/** A curve with its cumulative hazard after each step. */
struct ex_curve {
    const struct lm_explain_life *life;
    double *sum; /* n + 1: before the first step, after it, ... */
    double scale;
};

/** Steps at or before @p t. */
static size_t steps_until(const struct lm_explain_life *life, double t)
{
    size_t lo = 0, hi = life->n;
    while (lo < hi) {
        size_t mid = (lo + hi) / 2;
        if (life->steps[mid].t <= t)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

static double at_risk(const struct lm_explain_life *life, size_t step)
{
    if (step < life->n)
        return life->steps[step].at_risk;
    const struct lm_life_step *last = &life->steps[life->n - 1];
    return last->at_risk - last->ended;
}

/** Chance (small) that a device of @p days ended within the last @p interval days. */
static double ended_lately(const struct ex_curve *c, double days, double interval)
{
    double span = fmax(interval, YEAR), share = interval / span;
    if (!c)
        return usual(days) - usual(days - interval);
    double to = fmin(days, fmax(c->life->until, span)), from = fmax(0.0, to - span);
    double plain = (usual(to) - usual(from)) * c->scale;
    if (!c->life->n)
        return share * plain * USUAL_WEIGHT / (USUAL_WEIGHT + c->life->devices);
    size_t i = steps_until(c->life, from), k = steps_until(c->life, to);
    double risk = at_risk(c->life, i), seen = c->sum[k] - c->sum[i];
    return share * (seen * risk + plain * USUAL_WEIGHT) / (risk + USUAL_WEIGHT);
}

static enum lm_err make_curve(struct ex_curve *c, const struct lm_explain_life *life)
{
    *c = (struct ex_curve){.life = life, .sum = calloc(life->n + 1, sizeof *c->sum)};
    if (!c->sum)
        return LM_ENOMEM;
    for (size_t i = 0; i < life->n; i++) {
        const struct lm_life_step *s = &life->steps[i];
        c->sum[i + 1] = c->sum[i] + (double) s->ended / fmax(1.0, s->at_risk);
    }
    c->scale = (c->sum[life->n] + 0.1) / (usual(life->until) + 0.1);
    return LM_OK;
}

static uint32_t curve_of(const struct ex *x, struct lm_roll_device d)
{
    const struct lm_explain_options *o = x->options;
    uint32_t stock = o->n_lives ? ex_stock_of(x, d.eid) : EX_NONE;
    const char *strip = stock == EX_NONE ? "" : o->stock[stock].strip;
    for (uint32_t i = 0; i < o->n_lives; i++) {
        const struct lm_explain_life *l = &o->lives[i];
        if ((!l->strip[0] || strcmp(l->strip, strip) == 0) &&
            (l->form == LM_EXPLAIN_ANY || l->form == d.form) &&
            (l->place == LM_EXPLAIN_ANY || l->place == d.place))
            return i;
    }
    return EX_NONE;
}

int64_t lm_explain_now_ms(const struct lm_session *s)
{
    if (s->opened_ms != LM_TIME_NONE)
        return s->opened_ms;
    return s->n_seen ? s->seen[0].first_t : LM_TIME_NONE;
}

/** The oldest worn device with a code; its age in days is negative when not known. */
static double oldest(const struct ex *x, uint32_t animal, struct lm_roll_device *out)
{
    int64_t now = lm_explain_now_ms(x->s);
    int32_t first = INT32_MAX;
    uint32_t n = lm_roll_animal(x->roll, animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(x->roll, animal, k);
        int32_t day = lm_date_days(d.applied, 0);
        if (!d.gone && d.eid.known && d.applied.year && day < first) {
            first = day;
            *out = d;
        }
    }
    if (first == INT32_MAX || now == LM_TIME_NONE)
        return -1.0;
    int64_t today = now / 86400000;
    return fmax(0.0, (double) today - first);
}

static double hazard_of(
    const struct ex *x, const struct ex_curve *curves, uint32_t animal, struct ex_animal *a)
{
    struct lm_roll_device d = {0};
    double interval = x->options->interval > 0.0 ? x->options->interval : YEAR;
    double days = oldest(x, animal, &d);
    uint32_t curve = days < 0.0 ? EX_NONE : curve_of(x, d);
    if (a) {
        a->days = days;
        a->curve = curve;
    }
    if (days < 0.0)
        return -1.0;
    const struct ex_curve *c = curve == EX_NONE ? NULL : &curves[curve];
    return ended_lately(c, fmax(days, 30.0), fmin(1500.0, fmax(30.0, interval)));
}

static void set_ages(struct ex *x, const struct ex_curve *curves)
{
    double sum = 0.0;
    uint32_t n = 0;
    for (uint32_t i = 0; i < lm_roll_animals(x->roll); i++) {
        double h = lm_roll_animal(x->roll, i).expected ? hazard_of(x, curves, i, NULL) : -1.0;
        sum += fmax(0.0, h);
        n += h >= 0.0;
    }
    for (uint32_t i = 0; i < x->n_animals; i++) {
        struct ex_animal *a = &x->animals[i];
        double h = hazard_of(x, curves, a->animal, a);
        bool known = h >= 0.0 && sum > 0.0;
        x->aged |= known;
        a->age = known ? fmin(AGE_MOST, fmax(1.0 / AGE_MOST, h * n / sum)) : 1.0;
    }
}

enum lm_err ex_ages(struct ex *x)
{
    uint32_t n = x->options->n_lives;
    struct ex_curve *curves = calloc(n + 1u, sizeof *curves);
    enum lm_err err = curves ? LM_OK : LM_ENOMEM;
    for (uint32_t i = 0; i < n && !err; i++)
        err = make_curve(&curves[i], &x->options->lives[i]);
    if (!err)
        set_ages(x, curves);
    for (uint32_t i = 0; i < n && curves; i++)
        free(curves[i].sum);
    free(curves);
    return err;
}
