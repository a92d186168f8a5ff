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

enum lm_err ex_solve(struct ex *x)
{
    struct lm_match m = {.n_left = x->n_animals, .n_right = x->n_items, .n_edges = x->n_pairs};
    m.edges = calloc(x->n_pairs + 1u, sizeof *m.edges);
    m.left_p = calloc(x->n_animals + 1u, sizeof *m.left_p);
    m.right_p = calloc(x->n_items + 1u, sizeof *m.right_p);
    x->best = calloc(x->n_animals + 1u, sizeof *x->best);
    enum lm_err err = m.edges && m.left_p && m.right_p && x->best ? LM_OK : LM_ENOMEM;
    ex_rates_begin(x);
    for (int k = 0; k < ROUNDS && !err; k++) {
        ex_weigh(x);
        err = marginals(x, &m, k == 0);
        if (!err)
            ex_rates_count(x, &m);
        if (!err && k + 1 < ROUNDS)
            ex_rates_learn(x);
    }
    if (!err)
        err = lm_match_best(&m, x->best);
    x->edges = m.edges;
    free(m.left_p);
    free(m.right_p);
    return err;
}
