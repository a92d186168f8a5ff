/* Taking a matching problem apart into components, and each to the method that fits it. */
#include "race/match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int by_left(const void *a, const void *b)
{
    const struct lm_match_edge *x = a, *y = b;
    if (x->left != y->left)
        return x->left < y->left ? -1 : 1;
    return (x->right > y->right) - (x->right < y->right);
}

void lm_match_sort(struct lm_match *m)
{
    if (m->n_edges)
        qsort(m->edges, m->n_edges, sizeof *m->edges, by_left);
    for (uint32_t e = 0; e < m->n_edges; e++)
        m->edges[e].log_w = fmax(-LM_MATCH_LOG_MAX, fmin(LM_MATCH_LOG_MAX, m->edges[e].log_w));
}

static uint32_t root_of(uint32_t *up, uint32_t v)
{
    while (up[v] != v) {
        up[v] = up[up[v]];
        v = up[v];
    }
    return v;
}

/** Edges in the order of their components, and the root of each. */
struct parts {
    struct lm_match_edge *edges;
    uint32_t *origin, *start, *up;
};

/** Counting sort of the edges by component. */
static void deal(const struct lm_match *m, struct parts *p)
{
    uint32_t nodes = m->n_left + m->n_right;
    for (uint32_t v = 0; v < nodes; v++)
        p->up[v] = v;
    for (uint32_t e = 0; e < m->n_edges; e++) {
        uint32_t a = root_of(p->up, m->edges[e].left);
        uint32_t b = root_of(p->up, m->n_left + m->edges[e].right);
        p->up[a > b ? a : b] = a > b ? b : a;
    }
    memset(p->start, 0, (nodes + 1u) * sizeof *p->start);
    for (uint32_t e = 0; e < m->n_edges; e++)
        p->start[root_of(p->up, m->edges[e].left) + 1]++;
    for (uint32_t v = 0; v < nodes; v++)
        p->start[v + 1] += p->start[v];
    for (uint32_t e = 0; e < m->n_edges; e++) {
        uint32_t at = p->start[root_of(p->up, m->edges[e].left)]++;
        p->edges[at] = m->edges[e];
        p->origin[at] = e;
    }
}

static int small_enough(const struct parts *p, uint32_t from, uint32_t to, uint32_t *mark,
    uint32_t n_left, uint32_t stamp)
{
    uint32_t lefts = 0, rights = 0;
    for (uint32_t e = from; e < to; e++) {
        uint32_t *l = &mark[p->edges[e].left], *r = &mark[n_left + p->edges[e].right];
        lefts += *l != stamp;
        *l = stamp;
        rights += *r != stamp;
        *r = stamp;
    }
    uint32_t small = lefts < rights ? lefts : rights, large = lefts < rights ? rights : lefts;
    return small <= LM_MATCH_EXACT_SIDE && (uint64_t) (large + 1) << small <= LM_MATCH_EXACT_CELLS;
}

static enum lm_err solve(const struct lm_match *m, struct parts *p, uint32_t *mark)
{
    enum lm_err err = LM_OK;
    uint32_t from = 0, stamp = 0;
    while (from < m->n_edges && !err) {
        uint32_t root = root_of(p->up, p->edges[from].left), to = p->start[root];
        err = small_enough(p, from, to, mark, m->n_left, ++stamp)
                  ? lm_match_exact(p->edges + from, to - from)
                  : lm_match_bethe(p->edges + from, to - from);
        from = to;
    }
    return err;
}

static void add_up(struct lm_match *m)
{
    for (uint32_t i = 0; m->left_p && i < m->n_left; i++)
        m->left_p[i] = 1.0;
    for (uint32_t i = 0; m->right_p && i < m->n_right; i++)
        m->right_p[i] = 1.0;
    for (uint32_t e = 0; e < m->n_edges; e++) {
        double *l = m->left_p ? &m->left_p[m->edges[e].left] : NULL;
        double *r = m->right_p ? &m->right_p[m->edges[e].right] : NULL;
        if (l)
            *l = fmax(0.0, *l - m->edges[e].p);
        if (r)
            *r = fmax(0.0, *r - m->edges[e].p);
    }
}

enum lm_err lm_match_marginals(struct lm_match *m)
{
    size_t nodes = (size_t) m->n_left + m->n_right + 1;
    struct parts p = {.edges = calloc(m->n_edges + 1u, sizeof *p.edges),
        .origin = calloc(m->n_edges + 1u, sizeof *p.origin),
        .start = calloc(nodes + 1, sizeof *p.start),
        .up = calloc(nodes, sizeof *p.up)};
    uint32_t *mark = calloc(nodes, sizeof *mark);
    enum lm_err err = p.edges && p.origin && p.start && p.up && mark ? LM_OK : LM_ENOMEM;
    if (!err) {
        lm_match_sort(m);
        deal(m, &p);
        err = solve(m, &p, mark);
    }
    for (uint32_t e = 0; e < m->n_edges && !err; e++)
        m->edges[p.origin[e]].p = p.edges[e].p;
    if (!err)
        add_up(m);
    free(p.edges);
    free(p.origin);
    free(p.start);
    free(p.up);
    free(mark);
    return err;
}
