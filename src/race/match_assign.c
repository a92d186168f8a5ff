/*
 * The matching of the greatest weight: shortest augmenting paths with potentials, on the sparse
 * graph. Each left has a place of its own where it is alone, at cost 0; the rights come first, then
 * those places. Source of the method: Jonker and Volgenant (1987); written anew for sparse rows.
 */
#include "race/match.h"

#include <stdlib.h>
#include <string.h>

struct spot {
    double d;
    uint32_t right;
};

struct solver {
    const struct lm_match *m;
    uint32_t *first;    /**< edges of each left: [first[i], first[i + 1]) */
    uint32_t *left_of;  /**< of each right or own place: the left that has it */
    uint32_t *right_of; /**< of each left */
    double *v, *d;      /**< potentials and distances of the rights */
    uint32_t *from;     /**< the left from which a right was reached */
    uint8_t *done;
    uint32_t *touched, n_touched;
    struct spot *heap;
    uint32_t n_heap;
};

static void push(struct solver *s, double d, uint32_t right)
{
    uint32_t i = s->n_heap++;
    while (i && s->heap[(i - 1) / 2].d > d) {
        s->heap[i] = s->heap[(i - 1) / 2];
        i = (i - 1) / 2;
    }
    s->heap[i] = (struct spot){d, right};
}

static struct spot pop(struct solver *s)
{
    struct spot top = s->heap[0], last = s->heap[--s->n_heap];
    uint32_t i = 0;
    for (uint32_t k = 1; k < s->n_heap; k = 2 * i + 1) {
        if (k + 1 < s->n_heap && s->heap[k + 1].d < s->heap[k].d)
            k++;
        if (s->heap[k].d >= last.d)
            break;
        s->heap[i] = s->heap[k];
        i = k;
    }
    s->heap[i] = last;
    return top;
}

static double cost_of(const struct solver *s, uint32_t left, uint32_t right)
{
    if (right >= s->m->n_right)
        return 0.0;
    for (uint32_t e = s->first[left]; e < s->first[left + 1]; e++) {
        if (s->m->edges[e].right == right)
            return -s->m->edges[e].log_w;
    }
    return 0.0;
}

static void reach(struct solver *s, uint32_t left, uint32_t right, double d)
{
    if (s->from[right] == LM_MATCH_NONE)
        s->touched[s->n_touched++] = right;
    else if (s->done[right] || d >= s->d[right])
        return;
    s->from[right] = left;
    s->d[right] = d;
    push(s, d, right);
}

/** Look from a left whose own place in the tree costs @p base. */
static void scan(struct solver *s, uint32_t left, double base)
{
    uint32_t own = s->m->n_right + left;
    for (uint32_t e = s->first[left]; e < s->first[left + 1]; e++) {
        uint32_t right = s->m->edges[e].right;
        reach(s, left, right, base - s->m->edges[e].log_w - s->v[right]);
    }
    reach(s, left, own, base - s->v[own]);
}

static void augment(struct solver *s, uint32_t start)
{
    uint32_t end = LM_MATCH_NONE;
    double least = 0.0;
    s->n_touched = s->n_heap = 0;
    scan(s, start, 0.0);
    while (s->n_heap) {
        struct spot top = pop(s);
        if (s->done[top.right] || top.d > s->d[top.right])
            continue;
        s->done[top.right] = 1;
        least = top.d;
        end = top.right;
        uint32_t left = s->left_of[top.right];
        if (left == LM_MATCH_NONE)
            break;
        scan(s, left, top.d - (cost_of(s, left, top.right) - s->v[top.right]));
    }
    for (uint32_t k = 0; k < s->n_touched; k++) {
        uint32_t right = s->touched[k];
        if (s->done[right])
            s->v[right] += s->d[right] - least;
    }
    while (end != LM_MATCH_NONE) {
        uint32_t left = s->from[end], next = s->right_of[left];
        s->left_of[end] = left;
        s->right_of[left] = end;
        end = left == start ? LM_MATCH_NONE : next;
    }
    for (uint32_t k = 0; k < s->n_touched; k++) {
        s->from[s->touched[k]] = LM_MATCH_NONE;
        s->done[s->touched[k]] = 0;
    }
}

static void release(struct solver *s)
{
    free(s->first);
    free(s->left_of);
    free(s->right_of);
    free(s->v);
    free(s->d);
    free(s->from);
    free(s->done);
    free(s->touched);
    free(s->heap);
}

static enum lm_err prepare(struct solver *s)
{
    size_t places = (size_t) s->m->n_right + s->m->n_left + 1;
    s->first = calloc(s->m->n_left + 2u, sizeof *s->first);
    s->left_of = malloc(places * sizeof *s->left_of);
    s->right_of = malloc((s->m->n_left + 1u) * sizeof *s->right_of);
    s->v = calloc(places, sizeof *s->v);
    s->d = calloc(places, sizeof *s->d);
    s->from = malloc(places * sizeof *s->from);
    s->done = calloc(places, 1);
    s->touched = calloc(places, sizeof *s->touched);
    s->heap = calloc(places + s->m->n_edges, sizeof *s->heap);
    if (!s->first || !s->left_of || !s->right_of || !s->v || !s->d || !s->from || !s->done ||
        !s->touched || !s->heap)
        return LM_ENOMEM;
    memset(s->left_of, 0xff, places * sizeof *s->left_of);
    memset(s->right_of, 0xff, (s->m->n_left + 1u) * sizeof *s->right_of);
    memset(s->from, 0xff, places * sizeof *s->from);
    for (uint32_t e = 0; e < s->m->n_edges; e++)
        s->first[s->m->edges[e].left + 1]++;
    for (uint32_t i = 0; i < s->m->n_left; i++)
        s->first[i + 1] += s->first[i];
    return LM_OK;
}

enum lm_err lm_match_best(struct lm_match *m, uint32_t *right_of)
{
    struct solver s = {.m = m};
    lm_match_sort(m);
    enum lm_err err = prepare(&s);
    for (uint32_t i = 0; i < m->n_left && !err; i++) {
        augment(&s, i);
    }
    for (uint32_t i = 0; i < m->n_left && !err; i++)
        right_of[i] = s.right_of[i] < m->n_right ? s.right_of[i] : LM_MATCH_NONE;
    release(&s);
    return err;
}
