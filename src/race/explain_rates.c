/*
 * The rates of what goes wrong: where they start, what this session makes of them, and how many of
 * the missing were there all the same.
 */
#include "race/explain_priv.h"

#include <math.h>

static double clamp(double v, double lo, double hi)
{
    return fmin(hi, fmax(lo, v));
}

/* Rates without any history, of an expected animal; misread: of a call. See explain.h. */
#define ABSENT 0.02
#define FRESH 0.01
#define DEAD 0.02
#define STRANGER 0.005
#define MISREAD 0.02

/** The rate that earlier sessions lead to expect; without them the default. */
static double usual(double before, double of, double without)
{
    return of > 0.0 ? clamp((before + 1.0) / (of + 1.0 / without), 1e-5, 0.5) : without;
}

/**
 * Gamma-Poisson: the rate seen here, drawn towards the usual one. That weighs as one case, and with
 * a history as @p more cases it might have been seen in; never as more than that and 400.
 */
static double rate(double seen, double n, double usual, double more)
{
    double weight = fmin(1.0 / usual, 400.0) + more;
    return (seen + usual * weight) / (n + weight);
}

/** One day is not like another: earlier sessions count for so many animals at most. */
static double carried(double before, double now)
{
    return fmin(before, 0.5 * now + 100.0);
}

static double bell(double log_off, double sd)
{
    return -log_off * log_off / (2.0 * sd * sd);
}

/** Poisson log-likelihood of a count, without its constant. */
static double poisson(double seen, double mean)
{
    return seen * log(mean) - mean;
}

#define GRID 12

/** How often a dead one is called, by its place in the grid: as others, always, or between. */
static double call_at(const struct ex *x, int c)
{
    return c == 0 ? x->rates.call : c == 1 ? 0.98 : ((double) c - 1.5) / (GRID - 2);
}

/**
 * Of the missing without other cause, the share that was there with a dead code and not called.
 * Nobody knows how often those are called (as often as others, always, or anything between), so the
 * three rates behind it are summed over instead of guessed.
 */
static double silent_share(const struct ex *x, double missing, double unread)
{
    double n = fmax(1.0, x->sum.expected), share = 0.0, sum = 0.0, top = -INFINITY;
    const struct lm_explain_history *h = &x->options->history;
    bool known = h->expected > 0.0;
    double sd = known ? 0.7 : 1.3;
    double usual_dead = known ? usual(h->dead, h->expected, DEAD) : 0.015;
    double usual_absent = usual(h->absent, h->expected, ABSENT);
    for (int pass = 0; pass < 2; pass++) {
        for (int k = 0; k < GRID * GRID * GRID; k++) {
            int c = k % GRID, i = k / GRID % GRID, j = k / GRID / GRID;
            double called = clamp(call_at(x, c), 0.01, 0.99);
            double prior = log(c == 0 ? 0.18 : c == 1 ? 0.67 : 0.15 / (GRID - 2));
            double off_dead = -2.7 + 5.0 * i / (GRID - 1);
            double off_absent = -3.0 + 5.5 * j / (GRID - 1);
            double dead = usual_dead * exp(off_dead), absent = usual_absent * exp(off_absent);
            double l = prior + bell(off_dead, sd) + bell(off_absent, sd) +
                       poisson(unread, n * dead * called) +
                       poisson(missing, n * (absent + dead * (1.0 - called)));
            if (pass == 0) {
                top = fmax(top, l);
                continue;
            }
            double w = exp(l - top), silent = dead * (1.0 - called);
            sum += w;
            share += w * silent / (silent + absent);
        }
    }
    return clamp(share / sum, 1e-4, 1.0 - 1e-4);
}

/** Beta-binomial with mean f * m and the weight of two animals, without its constant. */
static double prior_hidden(double d, double m, double f)
{
    double a = 2.0 * f, b = 2.0 - a;
    return lgamma(m + 1.0) - lgamma(d + 1.0) - lgamma(m - d + 1.0) + lgamma(d + a) +
           lgamma(m - d + b);
}

/** Expected animals there but unknown, of @p m missing, by the head count. */
static double hidden(double heads, double m, double f, double spread)
{
    double sum = 0.0, weighted = 0.0, top = -INFINITY;
    double lo = fmax(0.0, heads - 8.0 * spread), hi = fmin(m, heads + 8.0 * spread);
    if (lo >= m)
        return m;
    for (int pass = 0; pass < 2; pass++) {
        for (unsigned k = 0; floor(lo) + k <= hi; k++) {
            double d = floor(lo) + k;
            double z = (d - heads) / spread;
            double l = prior_hidden(d, m, f) - z * z / 2.0;
            if (pass == 0) {
                top = fmax(top, l);
            } else {
                sum += exp(l - top);
                weighted += d * exp(l - top);
            }
        }
    }
    return sum > 0.0 ? weighted / sum : 0.0;
}

/** Weight of "there, unread, uncalled" beside absent; with a head count it follows from that. */
static void set_silent(struct ex *x, double free_missing)
{
    struct ex_rates *r = &x->rates;
    double unread = x->n_animals - x->n_missing;
    double share = silent_share(x, free_missing, unread);
    if (x->unknown_heads > -0.5 && free_missing >= 0.5) {
        double m = ceil(free_missing), spread = 0.35 + fmin(0.35, 0.0008 * x->sum.heads);
        spread += 0.0002 * x->sum.heads;
        share = hidden(x->unknown_heads, m, share, spread) / m;
        share = clamp(share, 0.1 / (m + 1.0), 1.0 - 0.1 / (m + 1.0));
    }
    r->silent = r->absent * share / (1.0 - share);
}

static void count_animals(struct ex *x, struct lm_explain_history *t)
{
    const struct ex_rates *r = &x->rates;
    x->free_missing = 0.0;
    for (uint32_t i = 0; i < x->n_animals; i++) {
        const struct ex_animal *a = &x->animals[i];
        double absent = r->absent / a->alone;
        t->absent += a->p_alone * absent;
        t->dead += a->coded ? a->p_alone * (1.0 - absent) : 0.0;
        t->fresh += a->p_fresh;
        x->free_missing += i < x->n_missing ? a->p_alone : 0.0;
    }
}

void ex_rates_count(struct ex *x, const struct lm_match *m)
{
    struct lm_explain_history *t = &x->tally;
    *t = (struct lm_explain_history){.sessions = 1, .expected = x->sum.expected, .calls = x->calls};
    count_animals(x, t);
    for (uint32_t e = 0; e < m->n_edges; e++) {
        const struct ex_item *item = &x->items[m->edges[e].right];
        if (item->type == EX_CODE)
            t->fresh += m->edges[e].p;
        else if (m->edges[e].left == item->owner)
            t->dead += m->edges[e].p;
        else
            t->misread += m->edges[e].p;
    }
    for (uint32_t i = 0; i < x->n_codes; i++)
        t->stranger += x->items[i].p_alone;
    for (uint32_t i = 0; i < x->n_clashes; i++)
        t->misread += x->clashes[i].confuse > 0.0;
}

void ex_rates_learn(struct ex *x)
{
    struct ex_rates *r = &x->rates;
    const struct lm_explain_history *t = &x->tally, *h = &x->options->history;
    double n = fmax(1.0, x->sum.expected), m = h->expected, more = carried(m, n);
    r->absent = clamp(rate(t->absent, n, usual(h->absent, m, ABSENT), more), 1e-5, 0.9);
    r->fresh = clamp(rate(t->fresh, n, usual(h->fresh, m, FRESH), more), 1e-5, 0.5);
    r->dead = clamp(rate(t->dead, n, usual(h->dead, m, DEAD), more), 1e-5, 0.5);
    r->stranger = clamp(rate(t->stranger, n, usual(h->stranger, m, STRANGER), more), 1e-5, 5.0);
    r->misread = rate(t->misread, x->calls, usual(h->misread, h->calls, MISREAD),
        50.0 + carried(h->calls, x->calls));
    r->misread = clamp(r->misread, 1e-4, 0.3);
    set_silent(x, x->free_missing);
}

static void first_rates(struct ex *x)
{
    const struct lm_explain_history *h = &x->options->history;
    uint32_t with = 0;
    for (uint32_t i = 0; i < x->s->n_sightings; i++)
        with += !x->s->sightings[i].undone && x->s->sightings[i].with;
    double q = ((double) with + 1.0) / ((double) x->s->n_seen + 2.0);
    x->rates = (struct ex_rates){.absent = usual(h->absent, h->expected, ABSENT),
        .fresh = usual(h->fresh, h->expected, FRESH),
        .dead = usual(h->dead, h->expected, DEAD),
        .stranger = usual(h->stranger, h->expected, STRANGER),
        .call = fmin(1.0, q),
        .call_dead = 0.3 + 0.65 * fmin(1.0, q),
        .misread = usual(h->misread, h->calls, MISREAD),
        .slip = 0.002,
        .swap = 0.004,
        .run = 0.002,
        .family = x->rates.family,
        .before = x->rates.before,
        .again = 0.0002};
}

/** Heads that nobody knows: each strange code and number was one of those counted. */
static void set_heads(struct ex *x)
{
    x->unknown_heads = -1.0;
    if (!x->sum.has_heads)
        return;
    double known = x->sum.identified;
    for (uint32_t i = 0; i < x->n_items; i++) {
        const struct ex_item *item = &x->items[i];
        uint32_t node = item->named == LM_NO_ANIMAL ? 0 : x->node_of[item->named];
        bool counted = item->type == EX_CALL || (node && x->animals[node - 1].unread);
        known += counted ? 0.0 : 1.0;
    }
    x->unknown_heads = fmax(0.0, x->sum.heads - known);
}

void ex_rates_begin(struct ex *x)
{
    first_rates(x);
    set_heads(x);
    set_silent(x, x->n_missing);
}
