/* Explanations: what earlier sessions, the age of devices, and who walks beside whom say. */
#include "flock.h"
#include "lugmark/explain.h"
#include "lugmark/report.h"

#include <stdlib.h>

#define FLOCK 60
#define DAY_MS 86400000L
#define TODAY 20000L /* days since 1970 */

/** A to be A1 to A60: codes 1001 up, numbers 0201 up; two mobs, two ages of devices. */
struct muster {
    struct lm_roll *roll;
    struct lm_session *s;
    unsigned reads[FLOCK + 1]; /**< code read at this animal's place, 0 for none */
};

static struct muster muster_of(bool mobs)
{
    struct muster y = {.roll = lm_roll_new()};
    char key[16], number[16];
    for (unsigned i = 1; i <= FLOCK; i++) {
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", 200 + i);
        struct lm_record rec = animal_of(key, 1000 + i, number);
        long years = i % 2 ? 9 : 1;
        rec.devices[0].applied = lm_date_of((TODAY - 365 * years) * DAY_MS);
        rec.devices[0].form = LM_FLAG_TAG;
        if (mobs)
            snprintf(rec.mob, sizeof rec.mob, "%s", i <= FLOCK / 2 ? "does" : "bucks");
        put(y.roll, rec);
        y.reads[i] = 1000 + i;
    }
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    assert_non_null(y.s);
    return y;
}

static struct lm_explain *explained(struct muster *y, const struct lm_explain_options *options)
{
    struct lm_explain *x = NULL;
    for (unsigned i = 1; i <= FLOCK; i++) {
        if (y->reads[i])
            read_at(y->s, TODAY * DAY_MS + 2000L * i, y->reads[i]);
    }
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_explain(y->s, options, &x), LM_OK);
    return x;
}

static void end(struct muster *y, struct lm_explain *x)
{
    lm_explain_free(x);
    lm_session_free(y->s);
    lm_roll_free(y->roll);
}

/** The explanation of one kind about one animal, or NULL. */
static const struct lm_explanation *of(
    const struct muster *y, const struct lm_explain *x, enum lm_explain_kind kind, unsigned animal)
{
    char key[16];
    snprintf(key, sizeof key, "A%u", animal);
    for (uint32_t i = 0; i < lm_explain_count(x); i++) {
        const struct lm_explanation *e = lm_explain_at(x, i);
        if (e->kind == kind && e->n_animals == 1 &&
            strcmp(lm_roll_animal(y->roll, e->animals[0]).key, key) == 0)
            return e;
    }
    return NULL;
}

static double p_of(
    const struct muster *y, const struct lm_explain *x, enum lm_explain_kind kind, unsigned animal)
{
    const struct lm_explanation *e = of(y, x, kind, animal);
    return e ? e->probability : 0.0;
}

static bool says(const struct lm_explanation *e, const char *words)
{
    for (uint32_t i = 0; e && i < e->n_because; i++) {
        if (strstr(e->because[i], words))
            return true;
    }
    return false;
}

/** One missing, nobody called: earlier sessions tell how likely it was there with a dead code. */
static void earlier_sessions(void **state)
{
    (void) state;
    static const struct lm_explain_history rows[] = {
        {.sessions = 0},
        {.sessions = 5, .expected = 3000, .absent = 150, .dead = 1, .calls = 100, .misread = 2},
        {.sessions = 5, .expected = 3000, .absent = 1, .dead = 150, .calls = 100, .misread = 2},
    };
    double p[3];
    for (size_t i = 0; i < 3; i++) {
        struct muster y = muster_of(false);
        char basis[LM_EXPLAIN_BASIS_MAX];
        struct lm_explain_options options = {.history = rows[i]};
        y.reads[7] = 0;
        struct lm_explain *x = explained(&y, &options);
        p[i] = p_of(&y, x, LM_EX_ABSENT, 7);
        const struct lm_explanation *e = of(&y, x, LM_EX_ABSENT, 7);
        assert_int_equal(says(e, "in 5 earlier sessions"), i > 0);
        lm_explain_basis(x, basis);
        assert_non_null(
            strstr(basis, i ? "5 earlier ones: of 100 expected" : "no earlier session"));
        assert_non_null(strstr(basis, "on a usual curve"));
        end(&y, x);
    }
    assert_true(p[1] > p[0] + 0.05);
    assert_true(p[2] < p[0] - 0.2);
}

/** What a session most likely was is added to what is known already. */
static void tally_adds_up(void **state)
{
    (void) state;
    struct muster y = muster_of(false);
    struct lm_explain_history sum = {.sessions = 2, .expected = 100.0, .absent = 4.0};
    y.reads[7] = 0;
    y.reads[9] = 0;
    apply(y.s, call_at(TODAY * DAY_MS, "0209", (struct lm_eid){0}));
    apply(y.s, heads_of(FLOCK - 1));
    struct lm_explain *x = explained(&y, NULL);
    lm_explain_tally(x, &sum);
    assert_int_equal(sum.sessions, 3);
    assert_true(sum.expected > 159.9 && sum.expected < 160.1);
    assert_true(sum.absent > 4.9 && sum.absent < 5.1);
    assert_true(sum.dead > 0.9 && sum.dead < 1.1);
    assert_true(sum.calls > 0.9 && sum.calls < 1.1 && sum.misread < 0.1);
    end(&y, x);
}

/** An old device is likelier lost; how much, the flock's own devices tell, else a usual curve. */
static void age_of_devices(void **state)
{
    (void) state;
    /* all were lost in the ninth year; and the other way round, all in the first */
    static const struct lm_life_step late[] = {{.t = 3200, .at_risk = 200, .ended = 60}};
    static const struct lm_life_step early[] = {{.t = 300, .at_risk = 300, .ended = 90}};
    const struct lm_explain_life curves[] = {
        {"", LM_FLAG_TAG, LM_EXPLAIN_ANY, 300, 60, 4000, late, 1},
        {"", LM_FLAG_TAG, LM_EXPLAIN_ANY, 300, 90, 4000, early, 1},
    };
    double ratio[3];
    for (int k = 0; k < 3; k++) {
        struct muster y = muster_of(false);
        struct lm_explain_options options = {.lives = k ? &curves[k - 1] : NULL, .n_lives = k > 0};
        y.reads[7] = 5001; /* nine years; A8: one year */
        y.reads[8] = 0;
        struct lm_explain *x = explained(&y, &options);
        double p7 = p_of(&y, x, LM_EX_NEW_DEVICE, 7), p8 = p_of(&y, x, LM_EX_NEW_DEVICE, 8);
        ratio[k] = p7 / p8;
        const struct lm_explanation *e = of(&y, x, LM_EX_NEW_DEVICE, 7);
        assert_true(says(e, "its device is 9.0 years old"));
        assert_int_equal(says(e, "speaks against it: its device"), k == 2);
        assert_int_equal(says(e, "usual curve"), k == 0);
        assert_int_equal(says(e, "300 like it watched here"), k > 0);
        end(&y, x);
    }
    assert_true(ratio[0] > 1.5);
    assert_true(ratio[1] > ratio[0]);
    assert_true(ratio[2] < 0.5);
}

/** Two missing, of two mobs; the code walked among the does. */
static void mobs(void **state)
{
    (void) state;
    for (int known = 0; known < 2; known++) {
        struct muster y = muster_of(known);
        y.reads[11] = 5001;
        y.reads[51] = 0;
        struct lm_explain *x = explained(&y, NULL);
        const struct lm_explanation *e = of(&y, x, LM_EX_NEW_DEVICE, 11);
        assert_non_null(e);
        assert_int_equal(says(e, "those beside the code are of its mob, does"), known);
        assert_int_equal(e->probability > 0.8, known);
        if (!known) /* nothing but the mob tells the two apart */
            assert_true(p_of(&y, x, LM_EX_NEW_DEVICE, 51) > e->probability - 0.02);
        end(&y, x);
    }
}

/** Those beside it in the session before are beside the code. */
static void beside_before(void **state)
{
    (void) state;
    struct lm_explain_beside pairs[FLOCK];
    uint32_t n = 0;
    for (uint32_t i = 0; i + 1 < FLOCK; i++)
        pairs[n++] = (struct lm_explain_beside){i, i + 1};
    for (int known = 0; known < 2; known++) {
        struct muster y = muster_of(false);
        struct lm_explain_options options = {.beside = pairs, .n_beside = known ? n : 0};
        y.reads[11] = 5001;
        y.reads[51] = 0;
        struct lm_explain *x = explained(&y, &options);
        const struct lm_explanation *e = of(&y, x, LM_EX_NEW_DEVICE, 11);
        assert_non_null(e);
        assert_int_equal(says(e, "one that walked beside it in the session before"), known);
        assert_int_equal(e->probability > 0.75, known);
        const struct lm_explanation *other = of(&y, x, LM_EX_NEW_DEVICE, 51);
        assert_int_equal(says(other, "beside it in the session before walked elsewhere"),
            known && other != NULL);
        end(&y, x);
    }
}

/** Beside whom it walked before counts, not beside whom those walked that are beside the code now.
 */
static void beside_somebody_else_before(void **state)
{
    (void) state;
    struct lm_explain_beside pairs[FLOCK] = {{39, 10}};
    uint32_t n = 1;
    for (uint32_t i = 0; i + 1 < FLOCK; i++) {
        if (i != 38 && i != 39)
            pairs[n++] = (struct lm_explain_beside){i, i + 1};
    }
    const struct lm_explain_options options = {.beside = pairs, .n_beside = n};
    for (int near = 0; near < 2; near++) { /* A40 is missing; A11 walks in its place */
        struct muster y = muster_of(false);
        y.reads[40] = 1011;
        y.reads[11] = near ? 1041 : 5001;
        y.reads[41] = near ? 5001 : 1041;
        struct lm_explain *x = explained(&y, &options);
        const struct lm_explanation *e = of(&y, x, LM_EX_NEW_DEVICE, 40);
        assert_non_null(e);
        assert_int_equal(says(e, "one that walked beside it in the session before"), near);
        end(&y, x);
    }
}

/** Pairs of animals that are not there, and curves without a step: no crash, no effect. */
static void odd_options(void **state)
{
    (void) state;
    const struct lm_explain_beside pairs[] = {{0, UINT32_MAX}, {FLOCK, 3}, {5, 5}};
    const struct lm_explain_life lives[] = {{"S1", LM_BOLUS, LM_RUMEN, 0, 0, 0, NULL, 0},
        {"", LM_EXPLAIN_ANY, LM_EXPLAIN_ANY, 0, 0, 0, NULL, 0}};
    struct muster y = muster_of(true);
    struct lm_explain_options options = {.beside = pairs,
        .n_beside = 3,
        .lives = lives,
        .n_lives = 2,
        .interval = -5.0,
        .history = {.sessions = 1}};
    y.reads[7] = 0;
    y.reads[8] = 5001;
    struct lm_explain *x = explained(&y, &options);
    assert_true(lm_explain_count(x) > 0);
    end(&y, x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(earlier_sessions),
        cmocka_unit_test(tally_adds_up),
        cmocka_unit_test(age_of_devices),
        cmocka_unit_test(mobs),
        cmocka_unit_test(beside_before),
        cmocka_unit_test(beside_somebody_else_before),
        cmocka_unit_test(odd_options),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
