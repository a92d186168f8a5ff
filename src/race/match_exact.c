/*
 * Exact marginals of one component: the rows of the larger side are taken in turn, the subsets of
 * the smaller side that are used up so far are the states. Forward times backward gives each pair.
 */
#include "race/match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct table {
    uint32_t rows, cols;
    double *w;              /**< rows x cols, each row divided by its scale */
    double *alone;          /**< of each row, divided likewise */
    double *before, *after; /**< (rows + 1) x 2^cols */
};

static int by_number(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *) a, y = *(const uint32_t *) b;
    return (x > y) - (x < y);
}

static uint32_t distinct(uint32_t *v, uint32_t n)
{
    uint32_t k = 0;
    qsort(v, n, sizeof *v, by_number);
    for (uint32_t i = 0; i < n; i++) {
        if (!k || v[k - 1] != v[i])
            v[k++] = v[i];
    }
    return k;
}

static uint32_t place_of(const uint32_t *v, uint32_t n, uint32_t x)
{
    uint32_t lo = 0, hi = n;
    while (lo + 1 < hi) {
        uint32_t mid = (lo + hi) / 2;
        if (v[mid] <= x)
            lo = mid;
        else
            hi = mid;
    }
    return lo;
}

static void scale_rows(struct table *t)
{
    for (uint32_t i = 0; i < t->rows; i++) {
        double top = 1.0;
        for (uint32_t j = 0; j < t->cols; j++)
            top = fmax(top, t->w[i * t->cols + j]);
        for (uint32_t j = 0; j < t->cols; j++)
            t->w[i * t->cols + j] /= top;
        t->alone[i] = 1.0 / top;
    }
}

static void forward(struct table *t)
{
    size_t states = (size_t) 1 << t->cols;
    t->before[0] = 1.0;
    for (uint32_t i = 0; i < t->rows; i++) {
        const double *from = t->before + i * states;
        double *to = t->before + (i + 1) * states;
        for (size_t s = 0; s < states; s++) {
            if (from[s] == 0.0)
                continue;
            to[s] += from[s] * t->alone[i];
            for (uint32_t j = 0; j < t->cols; j++) {
                if (!(s >> j & 1))
                    to[s | (size_t) 1 << j] += from[s] * t->w[i * t->cols + j];
            }
        }
    }
}

static void backward(struct table *t)
{
    size_t states = (size_t) 1 << t->cols;
    for (size_t s = 0; s < states; s++)
        t->after[t->rows * states + s] = 1.0;
    for (uint32_t i = t->rows; i-- > 0;) {
        const double *from = t->after + (i + 1) * states;
        double *to = t->after + i * states;
        for (size_t s = 0; s < states; s++) {
            double sum = from[s] * t->alone[i];
            for (uint32_t j = 0; j < t->cols; j++) {
                if (!(s >> j & 1))
                    sum += from[s | (size_t) 1 << j] * t->w[i * t->cols + j];
            }
            to[s] = sum;
        }
    }
}

static double pair(const struct table *t, uint32_t i, uint32_t j)
{
    size_t states = (size_t) 1 << t->cols, bit = (size_t) 1 << j;
    const double *before = t->before + i * states, *after = t->after + (i + 1) * states;
    double sum = 0.0;
    for (size_t s = 0; s < states; s++) {
        if (!(s & bit))
            sum += before[s] * after[s | bit];
    }
    return sum * t->w[i * t->cols + j] / t->after[0];
}

static enum lm_err make(struct table *t)
{
    size_t states = (size_t) 1 << t->cols;
    t->w = calloc((size_t) t->rows * t->cols, sizeof *t->w);
    t->alone = calloc(t->rows, sizeof *t->alone);
    t->before = calloc((t->rows + 1) * states, sizeof *t->before);
    t->after = calloc((t->rows + 1) * states, sizeof *t->after);
    return t->w && t->alone && t->before && t->after ? LM_OK : LM_ENOMEM;
}

enum lm_err lm_match_exact(struct lm_match_edge *edges, uint32_t n)
{
    uint32_t *side[2] = {calloc(n, sizeof(uint32_t)), calloc(n, sizeof(uint32_t))};
    struct table t = {0};
    enum lm_err err = side[0] && side[1] ? LM_OK : LM_ENOMEM;
    uint32_t count[2] = {0, 0};
    if (!err) {
        for (uint32_t e = 0; e < n; e++) {
            side[0][e] = edges[e].left;
            side[1][e] = edges[e].right;
        }
        count[0] = distinct(side[0], n);
        count[1] = distinct(side[1], n);
    }
    unsigned small = count[1] < count[0];
    t.rows = count[1 - small];
    t.cols = count[small];
    if (!err)
        err = make(&t);
    for (int pass = 0; pass < 2 && !err; pass++) {
        for (uint32_t e = 0; e < n; e++) {
            uint32_t ends[2] = {edges[e].left, edges[e].right};
            uint32_t i = place_of(side[1 - small], t.rows, ends[1 - small]);
            uint32_t j = place_of(side[small], t.cols, ends[small]);
            if (pass == 0)
                t.w[i * t.cols + j] = exp(edges[e].log_w);
            else
                edges[e].p = pair(&t, i, j);
        }
        if (pass == 0) {
            scale_rows(&t);
            forward(&t);
            backward(&t);
        }
    }
    free(side[0]);
    free(side[1]);
    free(t.w);
    free(t.alone);
    free(t.before);
    free(t.after);
    return err;
}
