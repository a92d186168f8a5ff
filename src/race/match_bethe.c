/*
 * Marginals of a large component by belief propagation. For matchings with "nobody" the messages
 * have one fixed point, reached from anywhere; sweeps from either side in turn, until still.
 */
#include "race/match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SWEEPS 200
#define STILL 1e-7

/** Messages towards one side: out = 1 / (1 + sum of w * in over the other edges of the node). */
static double sweep(const struct lm_match_edge *edges, uint32_t n, const double *w, double *sum,
    const double *in, double *out, int right)
{
    double moved = 0.0;
    for (uint32_t e = 0; e < n; e++)
        sum[right ? edges[e].right : edges[e].left] = 0.0;
    for (uint32_t e = 0; e < n; e++)
        sum[right ? edges[e].right : edges[e].left] += w[e] * in[e];
    for (uint32_t e = 0; e < n; e++) {
        double rest = sum[right ? edges[e].right : edges[e].left] - w[e] * in[e];
        double next = 1.0 / (1.0 + fmax(rest, 0.0));
        moved = fmax(moved, fabs(next - out[e]));
        out[e] = next;
    }
    return moved;
}

enum lm_err lm_match_bethe(struct lm_match_edge *edges, uint32_t n)
{
    uint32_t top = 0;
    for (uint32_t e = 0; e < n; e++) {
        top = edges[e].left > top ? edges[e].left : top;
        top = edges[e].right > top ? edges[e].right : top;
    }
    double *w = calloc(n, sizeof *w), *to_left = calloc(n, sizeof *w);
    double *to_right = calloc(n, sizeof *w), *sum = calloc((size_t) top + 1, sizeof *sum);
    enum lm_err err = w && to_left && to_right && sum ? LM_OK : LM_ENOMEM;
    for (uint32_t e = 0; e < n && !err; e++) {
        w[e] = exp(edges[e].log_w);
        to_left[e] = to_right[e] = 1.0;
    }
    for (int k = 0; k < SWEEPS && !err; k++) {
        double moved = sweep(edges, n, w, sum, to_left, to_right, 0);
        moved = fmax(moved, sweep(edges, n, w, sum, to_right, to_left, 1));
        if (moved < STILL)
            break;
    }
    for (uint32_t e = 0; e < n && !err; e++) {
        double x = w[e] * to_left[e] * to_right[e];
        edges[e].p = x / (1.0 + x);
    }
    free(w);
    free(to_left);
    free(to_right);
    free(sum);
    return err;
}
