/*
 * Probabilities by matching, with the pairs that nothing speaks for as one background: each animal
 * pulls on all codes and each code on all animals with a weight that is a product, so two sums
 * stand for all of them. Those sums, and the session's own rates, are found by going round.
 */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDS 14

static double clamp(double v, double lo, double hi)
{
    return fmin(hi, fmax(lo, v));
}

/** Gamma-Poisson: the rate seen here, drawn towards the default as if @p strength had been seen. */
static double rate(double seen, double n, double usual, double strength)
{
    return (seen + strength) / (n + strength / usual);
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

/**
 * Of the missing without other cause, the share that was there with a dead code and not called.
 * Nobody knows how often those are called (as often as others, always, or anything between), so the
 * three rates behind it are summed over instead of guessed.
 */
static double silent_share(const struct ex *x, double missing, double unread)
{
    double n = fmax(1.0, x->sum.expected), share = 0.0, sum = 0.0, top = -INFINITY;
    for (int pass = 0; pass < 2; pass++) {
        for (int k = 0; k < GRID * GRID * GRID; k++) {
            int c = k % GRID;
            double called = c == 0   ? x->rates.call
                            : c == 1 ? 0.98
                                     : ((double) c - 1.5) / (GRID - 2);
            double prior = log(c == 0 ? 0.27 : c == 1 ? 0.5 : 0.23 / (GRID - 2));
            double off_dead = -2.7 + 5.0 * (k / GRID % GRID) / (GRID - 1);
            double off_absent = -3.0 + 5.5 * (k / GRID / GRID) / (GRID - 1);
            double dead = 0.015 * exp(off_dead), absent = 0.02 * exp(off_absent);
            called = clamp(called, 0.01, 0.99);
            double l = prior + bell(off_dead, 1.3) + bell(off_absent, 1.3) +
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
        for (double d = floor(lo); d <= hi; d += 1.0) {
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

static void fill_edges(struct ex *x, struct lm_match *m)
{
    for (uint32_t i = 0; i < x->n_pairs; i++) {
        const struct ex_pair *p = &x->pairs[i];
        double w = ex_weight(x, p);
        if (x->items[p->item].type == EX_CODE)
            w -= log1p(x->items[p->item].fresh * x->pull_animals);
        w -= log1p(x->animals[p->animal].fresh * x->pull_codes);
        m->edges[i] = (struct lm_match_edge){p->animal, p->item, w, 0.0};
    }
}

/** What the codes pull when the animals pull @p animals, and the other way round. */
static double pull_of_codes(const struct ex *x, double animals)
{
    double sum = 0.0;
    for (uint32_t i = 0; i < x->n_codes; i++) {
        const struct ex_item *c = &x->items[i];
        sum += c->fresh * c->p_alone / (1.0 + c->fresh * animals);
    }
    return sum;
}

static double pull_of_animals(const struct ex *x, double codes)
{
    double sum = 0.0;
    for (uint32_t i = 0; i < x->n_missing; i++) {
        const struct ex_animal *a = &x->animals[i];
        sum += a->fresh * a->p_alone / (1.0 + a->fresh * codes);
    }
    return sum;
}

/** The two sums that agree with each other: by halving, as going round swings when odds are high.
 */
static void find_pulls(struct ex *x)
{
    double hi = pull_of_animals(x, 0.0), lo = hi * 1e-12;
    x->pull_animals = x->pull_codes = 0.0;
    if (!x->background || hi <= 0.0)
        return;
    for (int k = 0; k < 60; k++) {
        double mid = sqrt(lo * hi);
        if (pull_of_animals(x, pull_of_codes(x, mid)) > mid)
            lo = mid;
        else
            hi = mid;
    }
    x->pull_animals = hi;
    x->pull_codes = pull_of_codes(x, hi);
}

/** Share what no evidence took of each side between alone and the background. */
static void spread_background(struct ex *x)
{
    find_pulls(x);
    for (uint32_t i = 0; i < x->n_animals; i++) {
        struct ex_animal *a = &x->animals[i];
        double left = a->p_alone;
        a->p_alone = left / (1.0 + a->fresh * x->pull_codes);
        a->p_fresh = left - a->p_alone;
    }
    for (uint32_t i = 0; i < x->n_codes; i++) {
        struct ex_item *c = &x->items[i];
        double left = c->p_alone;
        c->p_alone = left / (1.0 + c->fresh * x->pull_animals);
        c->p_fresh = left - c->p_alone;
    }
}

static enum lm_err marginals(struct ex *x, struct lm_match *m, bool first)
{
    if (first) {
        for (uint32_t i = 0; i < x->n_animals; i++)
            x->animals[i].p_alone = 1.0;
        for (uint32_t i = 0; i < x->n_items; i++)
            x->items[i].p_alone = 1.0;
        find_pulls(x);
    }
    fill_edges(x, m);
    enum lm_err err = lm_match_marginals(m);
    for (uint32_t i = 0; i < x->n_animals && !err; i++)
        x->animals[i].p_alone = m->left_p[i];
    for (uint32_t i = 0; i < x->n_items && !err; i++)
        x->items[i].p_alone = m->right_p[i];
    if (!err)
        spread_background(x);
    return err;
}

struct tally {
    double absent, fresh, dead, stranger, misread, free_missing;
};

static struct tally count(const struct ex *x, const struct lm_match *m)
{
    struct tally t = {0};
    const struct ex_rates *r = &x->rates;
    for (uint32_t i = 0; i < x->n_animals; i++) {
        const struct ex_animal *a = &x->animals[i];
        double absent = r->absent / a->alone;
        t.absent += a->p_alone * absent;
        t.dead += a->coded ? a->p_alone * (1.0 - absent) : 0.0;
        t.fresh += a->p_fresh;
        t.free_missing += i < x->n_missing ? a->p_alone : 0.0;
    }
    for (uint32_t e = 0; e < m->n_edges; e++) {
        const struct ex_item *item = &x->items[m->edges[e].right];
        if (item->type == EX_CODE)
            t.fresh += m->edges[e].p;
        else if (m->edges[e].left == item->owner)
            t.dead += m->edges[e].p;
        else
            t.misread += m->edges[e].p;
    }
    for (uint32_t i = 0; i < x->n_codes; i++)
        t.stranger += x->items[i].p_alone;
    for (uint32_t i = 0; i < x->n_clashes; i++)
        t.misread += x->clashes[i].confuse > 0.0;
    return t;
}

static void learn(struct ex *x, struct tally t)
{
    struct ex_rates *r = &x->rates;
    double n = fmax(1.0, x->sum.expected);
    r->absent = clamp(rate(t.absent, n, 0.02, 1.0), 1e-5, 0.9);
    r->fresh = clamp(rate(t.fresh, n, 0.01, 1.0), 1e-5, 0.5);
    r->dead = clamp(rate(t.dead, n, 0.02, 1.0), 1e-5, 0.5);
    r->stranger = clamp(rate(t.stranger, n, 0.005, 1.0), 1e-5, 5.0);
    r->misread = clamp(rate(t.misread, x->calls, 0.02, 2.0), 1e-4, 0.3);
    set_silent(x, t.free_missing);
}

static void first_rates(struct ex *x)
{
    uint32_t with = 0, alone = 0;
    for (uint32_t i = 0; i < x->s->n_sightings; i++) {
        if (!x->s->sightings[i].undone)
            *(x->s->sightings[i].with ? &with : &alone) += 1;
    }
    double q = ((double) with + 1.0) / ((double) x->s->n_seen + 2.0);
    x->rates = (struct ex_rates){.absent = 0.02,
        .fresh = 0.01,
        .dead = 0.02,
        .stranger = 0.005,
        .call = fmin(1.0, q),
        .call_dead = 0.3 + 0.65 * fmin(1.0, q),
        .misread = 0.02,
        .slip = 0.002,
        .swap = 0.006,
        .run = 0.002,
        .family = x->rates.family,
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

enum lm_err ex_solve(struct ex *x)
{
    struct lm_match m = {.n_left = x->n_animals, .n_right = x->n_items, .n_edges = x->n_pairs};
    m.edges = calloc(x->n_pairs + 1u, sizeof *m.edges);
    m.left_p = calloc(x->n_animals + 1u, sizeof *m.left_p);
    m.right_p = calloc(x->n_items + 1u, sizeof *m.right_p);
    x->best = calloc(x->n_animals + 1u, sizeof *x->best);
    enum lm_err err = m.edges && m.left_p && m.right_p && x->best ? LM_OK : LM_ENOMEM;
    first_rates(x);
    set_heads(x);
    set_silent(x, x->n_missing);
    for (int k = 0; k < ROUNDS && !err; k++) {
        ex_weigh(x);
        err = marginals(x, &m, k == 0);
        if (!err && k + 1 < ROUNDS)
            learn(x, count(x, &m));
    }
    if (!err)
        err = lm_match_best(&m, x->best);
    x->edges = m.edges;
    free(m.left_p);
    free(m.right_p);
    return err;
}
