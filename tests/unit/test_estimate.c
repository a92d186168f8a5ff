/* Estimates against worked examples that others published; the source stands beside each. */
#include "lugmark/estimate.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>

#define N_OF(a) (sizeof(a) / sizeof((a)[0]))

static void near(double got, double want, double by)
{
    if (!(fabs(got - want) <= by))
        fail_msg("%.8f is not %.8f (+- %g)", got, want, by);
}

/* Wilson's score interval. 0/10 and 81/263, 15/148: Newcombe 1998, Statistics in Medicine 17:857,
 * table I, method 3. The last row: 92 of 96 animals read, reckoned with R. */
static void wilson(void **state)
{
    (void) state;
    static const struct {
        uint64_t hits, n;
        double low, high;
    } rows[] = {{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611},
        {1, 29, 0.0061, 0.1718}, {92, 96, 0.8977, 0.9837}};
    for (size_t i = 0; i < N_OF(rows); i++) {
        struct lm_proportion p = lm_wilson(rows[i].hits, rows[i].n);
        near(p.value, (double) rows[i].hits / (double) rows[i].n, 1e-12);
        near(p.low, rows[i].low, 6e-5);
        near(p.high, rows[i].high, 6e-5);
    }
    struct lm_proportion none = lm_wilson(0, 0), all = lm_wilson(7, 7), over = lm_wilson(9, 7);
    assert_true(isnan(none.value));
    assert_true(none.low == 0 && none.high == 1);
    assert_true(all.high == 1 && all.low > 0.6 && all.low < 0.7);
    assert_int_equal(over.hits, 7);
}

/* 87, 14, 7: rabbits of Skalski et al. 1983 as a wildlife course works them, 164.0 with 93.8-234.2;
 * the range 116-371 by SciPy's hypergeom. 346, 184, 49: textbook numbers, worked with R. 96, 95,
 * 92: a flock of 99 (invented), worked with R. The last two rows by SciPy's hypergeom. */
static void two_lists(void **state)
{
    (void) state;
    static const struct {
        uint32_t first, second, both;
        double chapman, se, low, high;
        uint32_t seen, heads, exact_low, exact_high;
        bool open, thin;
    } rows[] = {
        {87, 14, 7, 164.0, 35.8236, 93.79, 234.21, 94, 164, 116, 371, false, false},
        {346, 184, 49, 1282.90, 142.08, 1004.4, 1561.4, 481, 1283, 1049, 1669, false, false},
        {96, 95, 92, 99.129, 0.371, 98.40, 99.86, 99, 99, 99, 101, false, false},
        {40, 40, 40, 40, 0, 40, 40, 40, 40, 40, 40, false, false},
        {12, 9, 0, 129, 0, 0, 0, 21, 129, 0, 0, true, true},
        {0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, true, true},
    };
    for (size_t i = 0; i < N_OF(rows); i++) {
        struct lm_two_lists l;
        assert_int_equal(lm_two_lists(rows[i].first, rows[i].second, rows[i].both, &l), LM_OK);
        near(l.chapman, rows[i].chapman, 0.006);
        assert_int_equal(l.seen, rows[i].seen);
        assert_int_equal(l.heads, rows[i].heads);
        assert_int_equal(l.open, rows[i].open);
        assert_int_equal(l.thin, rows[i].thin);
        assert_true(l.low >= l.seen);
        assert_true(l.heads >= l.low);
        if (rows[i].se > 0) {
            near(l.se, rows[i].se, 0.006);
            near(l.normal_low, rows[i].low, 0.06);
            near(l.normal_high, rows[i].high, 0.06);
        }
        if (rows[i].exact_high > 0) {
            assert_int_equal(l.exact_low, rows[i].exact_low);
            assert_int_equal(l.exact_high, rows[i].exact_high);
        }
    }
    struct lm_two_lists told; /* many on both: the normal interval, but never below what was seen */
    assert_int_equal(lm_two_lists(96, 95, 92, &told), LM_OK);
    assert_int_equal(told.low, 99);
    assert_int_equal(told.high, 100);
    assert_int_equal(lm_two_lists(87, 14, 7, &told), LM_OK); /* few: the exact one */
    assert_int_equal(told.low, 116);
    assert_int_equal(told.high, 371);
    struct lm_two_lists bad;
    assert_int_equal(lm_two_lists(3, 9, 4, &bad), LM_EARG);
    assert_int_equal(lm_two_lists(9, 3, 4, &bad), LM_EARG);
}

/* The interval holds exactly the heads at which neither tail is below 2.5 per cent, added up here
 * term by term from the start, for every pair of small lists. */
static double choose(unsigned n, unsigned k)
{
    double c = 1;
    if (k > n)
        return 0;
    for (unsigned i = 1; i <= k; i++)
        c *= (double) (n - k + i) / (double) i;
    return c;
}

static double slow_tail(unsigned heads, unsigned a, unsigned b, unsigned from, unsigned to)
{
    double sum = 0;
    for (unsigned k = from; k <= to && k <= a && k <= b; k++)
        sum += choose(a, k) * choose(heads - a, b - k) / choose(heads, b);
    return sum;
}

static void two_lists_are_exact(void **state)
{
    (void) state;
    for (unsigned a = 1; a <= 12; a++) {
        for (unsigned b = 1; b <= 12; b++) {
            for (unsigned m = 1; m <= a && m <= b; m++) {
                struct lm_two_lists l;
                assert_int_equal(lm_two_lists(a, b, m, &l), LM_OK);
                for (unsigned n = l.seen; n <= l.exact_high + 40; n++) {
                    bool low = slow_tail(n, a, b, 0, m) > 0.025 - 1e-10;
                    bool high = slow_tail(n, a, b, m, b) > 0.025 - 1e-10;
                    assert_int_equal(low, n >= l.exact_low);
                    assert_int_equal(high, n <= l.exact_high);
                    if (n - l.seen > 200)
                        break;
                }
            }
        }
    }
}

static void two_large_lists(void **state)
{
    (void) state;
    struct lm_two_lists l;
    assert_int_equal(lm_two_lists(480000, 470000, 460000, &l), LM_OK);
    near(l.chapman, 490434.7, 1);
    near(l.normal_low, l.low, 3); /* so many that the normal curve is right */
    near(l.normal_high, l.high, 3);
    assert_int_equal(lm_two_lists(1000000000, 1000000000, 1, &l), LM_OK);
    assert_true(l.open || l.high >= l.low);
}

/* Freireich et al. 1963, the 6-MP arm, weeks, as Gehan 1965 gives it (n = 21); S(t), Greenwood's
 * standard error and the log-log interval by R survival 3.5. */
static const struct lm_life six_mp[] = {{0, 6, true}, {0, 6, true}, {0, 6, true}, {0, 7, true},
    {0, 10, true}, {0, 13, true}, {0, 16, true}, {0, 22, true}, {0, 23, true}, {0, 6, false},
    {0, 9, false}, {0, 10, false}, {0, 11, false}, {0, 17, false}, {0, 19, false}, {0, 20, false},
    {0, 25, false}, {0, 32, false}, {0, 32, false}, {0, 34, false}, {0, 35, false}};

static void life_table(void **state)
{
    (void) state;
    static const struct {
        double t;
        uint32_t risk, ended;
        double stays, se, low, high;
    } rows[] = {
        {6, 21, 3, 0.857143, 0.0764, 0.620, 0.952},
        {7, 17, 1, 0.806723, 0.0869, 0.563, 0.923},
        {10, 15, 1, 0.752941, 0.0963, 0.503, 0.889},
        {13, 12, 1, 0.690196, 0.1068, 0.432, 0.849},
        {16, 11, 1, 0.627451, 0.1141, 0.368, 0.805},
        {22, 7, 1, 0.537815, 0.1282, 0.268, 0.747},
        {23, 6, 1, 0.448179, 0.1346, 0.188, 0.680},
    };
    struct lm_life lives[N_OF(six_mp)];
    struct lm_life_step steps[16];
    for (size_t i = 0; i < N_OF(six_mp); i++)
        lives[i] = six_mp[N_OF(six_mp) - 1 - i]; /* the order must not matter */
    assert_int_equal(lm_life_table(lives, N_OF(lives), steps, N_OF(steps)), N_OF(rows));
    for (size_t i = 0; i < N_OF(rows); i++) {
        near(steps[i].t, rows[i].t, 0);
        assert_int_equal(steps[i].at_risk, rows[i].risk);
        assert_int_equal(steps[i].ended, rows[i].ended);
        near(steps[i].stays, rows[i].stays, 6e-7);
        near(steps[i].se, rows[i].se, 6e-5);
        near(steps[i].low, rows[i].low, 6e-4);
        near(steps[i].high, rows[i].high, 6e-4);
        assert_true(steps[i].has_interval);
    }
    assert_null(lm_life_at(steps, N_OF(rows), 5.9));
    near(lm_life_at(steps, N_OF(rows), 12)->t, 10, 0);
    near(lm_life_at(steps, N_OF(rows), 99)->t, 23, 0);
    assert_int_equal(
        lm_life_table(lives, N_OF(lives), steps, 2), N_OF(rows)); /* no room: counted */
}

/* The other arm has nobody censored: S is the plain share, 19/21 after the first week, 0 at last.
 */
static void life_table_to_the_end(void **state)
{
    (void) state;
    static const double weeks[] = {
        1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23};
    struct lm_life lives[N_OF(weeks)];
    struct lm_life_step steps[32];
    for (size_t i = 0; i < N_OF(weeks); i++)
        lives[i] = (struct lm_life){0, weeks[i], true};
    size_t n = lm_life_table(lives, N_OF(weeks), steps, N_OF(steps));
    assert_int_equal(n, 12);
    near(steps[0].stays, 19.0 / 21, 1e-12);
    near(lm_life_at(steps, n, 8)->stays, 8.0 / 21, 1e-12);
    near(steps[n - 1].stays, 0, 0);
    assert_false(steps[n - 1].has_interval);
}

/* Late entry: who entered at 5 is not at risk at 3. Worked by hand: 1 - 1/2, then 1 - 1/3. */
static void life_table_late(void **state)
{
    (void) state;
    struct lm_life lives[] = {{0, 3, true}, {0, 10, false}, {5, 8, true}, {5, 9, false},
        {8, 12, false}, {7, 7, true}, {-1, 4, true}, {0, NAN, true}};
    struct lm_life_step steps[8];
    assert_int_equal(lm_life_table(lives, N_OF(lives), steps, N_OF(steps)), 2);
    assert_int_equal(steps[0].at_risk, 2);
    near(steps[0].stays, 0.5, 1e-12);
    assert_int_equal(steps[1].at_risk, 3); /* the one that enters at 8 comes too late */
    near(steps[1].stays, 1.0 / 3, 1e-12);
}

/* 180 animals with both, 15 with one: 0.96, and 0.31 animals should have lost both; worked with R
 * after the idea of Seroussi et al. 2011. */
static void pairs(void **state)
{
    (void) state;
    struct lm_two_devices d = lm_two_devices(180, 15, 2);
    near(d.stays, 0.96, 1e-12);
    near(d.none_expected, 0.312, 0.001);
    assert_int_equal(d.none, 2);
    assert_true(isnan(lm_two_devices(0, 0, 3).stays));
    assert_true(isnan(lm_two_devices(0, 0, 3).none_expected));
    near(lm_two_devices(0, 5, 0).stays, 0, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wilson),
        cmocka_unit_test(two_lists),
        cmocka_unit_test(two_lists_are_exact),
        cmocka_unit_test(two_large_lists),
        cmocka_unit_test(life_table),
        cmocka_unit_test(life_table_to_the_end),
        cmocka_unit_test(life_table_late),
        cmocka_unit_test(pairs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
