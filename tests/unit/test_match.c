/* Matching with "nobody": marginals and the best matching against every matching there is. */
#include "race/match.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SIDE 7

#define assert_near(a, b, within) assert_true(fabs((a) - (b)) <= (within))

/** A random problem and what all its matchings add up to. */
struct problem {
    uint32_t n_left, n_right, n;
    double w[SIDE][SIDE]; /**< NAN: no edge */
    struct lm_match_edge edges[SIDE * SIDE];
    double total, pair[SIDE][SIDE], best;
};

static uint64_t next(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static void try_all(struct problem *p, uint32_t left, unsigned used, double log_w, int *of)
{
    if (left == p->n_left) {
        double w = exp(log_w);
        p->total += w;
        p->best = fmax(p->best, log_w);
        for (uint32_t i = 0; i < p->n_left; i++) {
            if (of[i] >= 0)
                p->pair[i][of[i]] += w;
        }
        return;
    }
    of[left] = -1;
    try_all(p, left + 1, used, log_w, of);
    for (uint32_t j = 0; j < p->n_right; j++) {
        if (used >> j & 1 || isnan(p->w[left][j]))
            continue;
        of[left] = (int) j;
        try_all(p, left + 1, used | 1u << j, log_w + p->w[left][j], of);
    }
}

static struct problem problem_of(uint64_t seed, double spread, unsigned percent)
{
    struct problem p = {0};
    int of[SIDE];
    p.n_left = 1 + (uint32_t) (next(&seed) % SIDE);
    p.n_right = 1 + (uint32_t) (next(&seed) % SIDE);
    for (uint32_t i = 0; i < p.n_left; i++) {
        for (uint32_t j = 0; j < p.n_right; j++) {
            p.w[i][j] = NAN;
            if (next(&seed) % 100 >= percent)
                continue;
            p.w[i][j] = ((double) (next(&seed) % 2001) - 1000.0) / 1000.0 * spread;
            p.edges[p.n++] = (struct lm_match_edge){i, j, p.w[i][j], 0.0};
        }
    }
    try_all(&p, 0, 0, 0.0, of);
    return p;
}

static void marginals_are_those_of_all_matchings(void **state)
{
    (void) state;
    for (uint64_t seed = 1; seed <= 300; seed++) {
        struct problem p = problem_of(seed, seed % 3 ? 4.0 : 20.0, 20 + (unsigned) (seed % 80));
        double left[SIDE], right[SIDE];
        struct lm_match m = {p.n_left, p.n_right, p.n, p.edges, left, right};
        assert_int_equal(lm_match_marginals(&m), LM_OK);
        double alone[SIDE];
        for (uint32_t i = 0; i < p.n_left; i++)
            alone[i] = 1.0;
        for (uint32_t e = 0; e < p.n; e++) {
            const struct lm_match_edge *x = &p.edges[e];
            assert_near(x->p, p.pair[x->left][x->right] / p.total, 1e-9);
            alone[x->left] -= x->p;
        }
        for (uint32_t i = 0; i < p.n_left; i++)
            assert_near(left[i], fmax(0.0, alone[i]), 1e-9);
    }
}

static double weight_of(const struct problem *p, const uint32_t *right_of)
{
    double sum = 0.0;
    unsigned used = 0;
    for (uint32_t i = 0; i < p->n_left; i++) {
        if (right_of[i] == LM_MATCH_NONE)
            continue;
        assert_int_equal(used >> right_of[i] & 1, 0); /* each right once */
        used |= 1u << right_of[i];
        assert_true(!isnan(p->w[i][right_of[i]]));
        sum += p->w[i][right_of[i]];
    }
    return sum;
}

static void the_best_is_the_best_of_all(void **state)
{
    (void) state;
    for (uint64_t seed = 1000; seed < 1400; seed++) {
        struct problem p = problem_of(seed, 9.0, 30 + (unsigned) (seed % 70));
        struct lm_match m = {p.n_left, p.n_right, p.n, p.edges, NULL, NULL};
        uint32_t right_of[SIDE];
        assert_int_equal(lm_match_best(&m, right_of), LM_OK);
        assert_near(weight_of(&p, right_of), p.best, 1e-9);
    }
}

/** Belief propagation alone, against the truth: exact on trees, near it elsewhere. */
static void bethe_is_near_and_exact_on_trees(void **state)
{
    (void) state;
    double worst = 0.0, sum = 0.0;
    unsigned n = 0;
    for (uint64_t seed = 2000; seed < 2300; seed++) {
        struct problem p = problem_of(seed, 3.0, 60);
        if (p.n == 0)
            continue;
        assert_int_equal(lm_match_bethe(p.edges, p.n), LM_OK);
        for (uint32_t e = 0; e < p.n; e++, n++) {
            double off = fabs(p.edges[e].p - p.pair[p.edges[e].left][p.edges[e].right] / p.total);
            worst = fmax(worst, off);
            sum += off;
        }
    }
    print_message("# belief propagation: off by %.4f on average, %.3f at worst\n", sum / n, worst);
    assert_true(sum / n < 0.02);
    assert_true(worst < 0.15);
    struct lm_match_edge path[] = {{0, 0, 1.0, 0}, {1, 0, 0.5, 0}, {1, 1, -1.0, 0}, {2, 1, 2.0, 0}};
    struct lm_match_edge same[4];
    memcpy(same, path, sizeof path);
    assert_int_equal(lm_match_bethe(path, 4), LM_OK);
    assert_int_equal(lm_match_exact(same, 4), LM_OK);
    for (int e = 0; e < 4; e++)
        assert_near(path[e].p, same[e].p, 1e-6);
}

/** Twelve to twelve is past the exact bound: the parts must still add up, whatever the method. */
static void large_components_add_up(void **state)
{
    (void) state;
    enum { N = 40 };
    static struct lm_match_edge edges[N * N];
    static double left[N], right[N];
    uint64_t seed = 5;
    uint32_t n = 0;
    for (uint32_t i = 0; i < N; i++) {
        for (uint32_t j = 0; j < N; j++)
            edges[n++] = (struct lm_match_edge){i, j, (double) (next(&seed) % 100) / 10.0 - 5.0, 0};
    }
    struct lm_match m = {N, N, n, edges, left, right};
    assert_int_equal(lm_match_marginals(&m), LM_OK);
    double by_left[N] = {0}, by_right[N] = {0};
    for (uint32_t e = 0; e < n; e++) {
        assert_true(edges[e].p >= 0.0 && edges[e].p <= 1.0);
        by_left[edges[e].left] += edges[e].p;
        by_right[edges[e].right] += edges[e].p;
    }
    for (uint32_t i = 0; i < N; i++) {
        assert_true(by_left[i] < 1.0 + 1e-6 && by_right[i] < 1.0 + 1e-6);
        assert_near(left[i], fmax(0.0, 1.0 - by_left[i]), 1e-9);
    }
}

static void extremes(void **state)
{
    (void) state;
    struct lm_match none = {3, 2, 0, NULL, NULL, NULL};
    uint32_t right_of[3] = {0, 0, 0};
    struct lm_match_edge one = {0, 0, 0, 0};
    none.edges = &one;
    assert_int_equal(lm_match_marginals(&none), LM_OK);
    assert_int_equal(lm_match_best(&none, right_of), LM_OK);
    assert_int_equal(right_of[2], LM_MATCH_NONE);
    struct lm_match_edge sure[] = {{0, 0, 1e9, 0}, {1, 0, -1e9, 0}};
    struct lm_match m = {2, 1, 2, sure, NULL, NULL};
    assert_int_equal(lm_match_marginals(&m), LM_OK);
    assert_near(sure[0].p, 1.0, 1e-12);
    assert_near(sure[1].p, 0.0, 1e-12);
}

/** For tests/system/test_assign.py: a file of "left right weight", and its best matching's weight.
 */
static int best_of_file(const char *path, const char *lefts, const char *rights)
{
    struct lm_match m = {.n_left = (uint32_t) atoi(lefts), .n_right = (uint32_t) atoi(rights)};
    uint32_t *right_of = calloc(m.n_left + 1u, sizeof *right_of), room = 0;
    struct lm_match_edge e = {0};
    FILE *in = fopen(path, "r");
    bool good = in && right_of;
    while (good && fscanf(in, "%u %u %lf", &e.left, &e.right, &e.log_w) == 3) {
        if (m.n_edges == room) {
            room = room ? room * 2 : 64;
            struct lm_match_edge *more = realloc(m.edges, room * sizeof *more);
            good = more != NULL;
            m.edges = more ? more : m.edges;
        }
        if (good)
            m.edges[m.n_edges++] = e;
    }
    double sum = 0.0;
    good = good && lm_match_best(&m, right_of) == LM_OK;
    for (uint32_t k = 0; k < m.n_edges && good; k++)
        sum += right_of[m.edges[k].left] == m.edges[k].right ? m.edges[k].log_w : 0.0;
    if (good)
        printf("%.9f\n", sum);
    if (in)
        fclose(in);
    free(m.edges);
    free(right_of);
    return good ? 0 : 1;
}

int main(int argc, char **argv)
{
    if (argc == 4)
        return best_of_file(argv[1], argv[2], argv[3]);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(marginals_are_those_of_all_matchings),
        cmocka_unit_test(the_best_is_the_best_of_all),
        cmocka_unit_test(bethe_is_near_and_exact_on_trees),
        cmocka_unit_test(large_components_add_up),
        cmocka_unit_test(extremes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
