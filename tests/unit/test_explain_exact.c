/* Explanations on cases small enough to be worked out by hand from the rates in explain.h. */
#include "flock.h"
#include "race/explain_priv.h"
#include "race/match.h"

#include <math.h>
#include <stdlib.h>

static void near_to(const char *what, double is, double should)
{
    if (fabs(is - should) > 1e-9 * fmax(1.0, fabs(should)))
        fail_msg("%s: %.12f, not %.12f", what, is, should);
}

/* 55 % of misreadings are one character for one like it, shared by all that the number allows; 20 %
 * neighbours turned; 12 % a digit lost; 5 % a leading zero; 4 % any other digit; 1 % one added. */
static void which_number_is_called(void **state)
{
    (void) state;
    static const struct {
        const char *printed, *called;
        double p;
    } rows[] = {
        {"0417", "0411", 0.55 / 5 + 0.04 / 36}, /* 0: 8, 6; 4: 9; 1: 7; 7: 1 */
        {"0417", "8417", 0.55 / 5 + 0.04 / 36},
        {"0417", "0917", 0.55 / 5 + 0.04 / 36},
        {"0417", "0412", 0.04 / 36},
        {"0417", "0471", 0.2 / 3},
        {"0417", "4017", 0.2 / 3},
        {"0447", "0474", 0.2 / 2}, /* the two fours turned are the same number */
        {"0417", "017", 0.12 / 4},
        {"0417", "041", 0.12 / 4},
        {"0417", "417", 0.05},
        {"417", "0417", 0.05},
        {"417", "00417", 0.05},
        {"0417", "04177", 0.01 / 50},
        {"0417", "90417", 0.01 / 50},
        {"8", "3", 0.55 / 3 + 0.04 / 9}, /* 8: 0, 6, 3 */
        {"8", "2", 0.04 / 9},
        {"B1", "81", 0.55 / 2 + 0.04 / 18}, /* B: 8; 1: 7 */
        {"0417", "0741", 0.0},
        {"0417", "47", 0.0},
        {"0417", "0417", 0.0},
        {"12", "21", 0.2},
        {"0", "00", 0.05},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        near_to(rows[i].called, lm_confuse(rows[i].printed, rows[i].called), rows[i].p);
}

/** One missing animal and one strange code, in a flock of fifty. */
struct two {
    struct ex x;
    struct ex_animal animal;
    struct ex_item item;
    struct lm_explain_options options;
};

static void two_of(struct two *t)
{
    memset(t, 0, sizeof *t);
    t->x.options = &t->options;
    t->x.animals = &t->animal;
    t->x.items = &t->item;
    t->x.n_animals = t->x.n_items = t->x.n_missing = t->x.n_codes = 1;
    t->x.sum.expected = 50;
    t->x.rates = (struct ex_rates){.absent = 0.02,
        .fresh = 0.01,
        .dead = 0.02,
        .stranger = 0.005,
        .call = 0.5,
        .call_dead = 0.6,
        .misread = 0.02,
        .slip = 0.002,
        .family = {6.0, 0.5},
        .before = {3.0, 0.25},
        .again = 0.0002,
        .silent = 0.01};
    t->animal = (struct ex_animal){.coded = true, .age = 1.0, .number = "0207"};
    t->item = (struct ex_item){.type = EX_CODE,
        .named = LM_NO_ANIMAL,
        .stock = EX_NONE,
        .owner = EX_NONE,
        .mob_other = 1.0};
}

/** The odds of the pair, as they stand. */
static double odds(struct two *t, struct ex_pair pair)
{
    ex_weigh(&t->x);
    return exp(ex_weight(&t->x, &pair));
}

/* Alone: absent or silent, 0.02 + 0.01, and a stranger, 0.005 of 50 = 0.25. A new device: 0.01, a
 * code near the flock's 8 times as likely, so 0.08 / 0.0075 = 32 / 3 to one. */
static void a_new_device_or_a_stranger(void **state)
{
    (void) state;
    static const struct {
        unsigned range, evidence;
        double age, mob;
        bool dam_seen, friend_seen;
        double odds;
    } rows[] = {
        {EX_RANGE_NEAR, 0, 1.0, 1.0, false, false, 32.0 / 3.0},
        {EX_RANGE_COUNTRY, 0, 1.0, 1.0, false, false, 2.0},
        {EX_RANGE_FAR, 0, 1.0, 1.0, false, false, 2.0 / 3.0},
        {EX_RANGE_FOREIGN, 0, 1.0, 1.0, false, false, 1.0 / 15.0},
        {EX_RANGE_COUNTRY, 0, 1.0, 2.5, false, false, 5.0},
        {EX_RANGE_COUNTRY, EV_FAMILY, 1.0, 1.0, true, false, 12.0},
        {EX_RANGE_COUNTRY, 0, 1.0, 1.0, true, false, 1.0},
        {EX_RANGE_COUNTRY, EV_BEFORE, 1.0, 1.0, false, true, 6.0},
        {EX_RANGE_COUNTRY, 0, 1.0, 1.0, false, true, 0.5},
        /* printed: 0.4 of 50; the start digit: 0.3 of 50, and nothing beside the other */
        {EX_RANGE_COUNTRY, EV_PRINTED, 1.0, 1.0, false, false, 40.0},
        {EX_RANGE_COUNTRY, EV_START, 1.0, 1.0, false, false, 30.0},
        {EX_RANGE_COUNTRY, EV_PRINTED | EV_START, 1.0, 1.0, false, false, 40.0},
        /* an old device: new 0.04 of 0.02 + 0.04 */
        {EX_RANGE_COUNTRY, 0, 4.0, 1.0, false, false, 4.0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct two t;
        two_of(&t);
        t.item.range = rows[i].range;
        t.animal.age = rows[i].age;
        t.animal.dam_seen = rows[i].dam_seen;
        t.animal.friend_seen = rows[i].friend_seen;
        struct ex_pair pair = {.evidence = rows[i].evidence, .mob = rows[i].mob};
        double got = odds(&t, pair);
        char row[16];
        snprintf(row, sizeof row, "row %zu", i);
        near_to(row, got, rows[i].odds);
        struct lm_match_edge edge = {0, 0, log(got), 0};
        double alone = 0.0;
        struct lm_match m = {
            .n_left = 1, .n_right = 1, .n_edges = 1, .edges = &edge, .left_p = &alone};
        assert_int_equal(lm_match_marginals(&m), LM_OK);
        near_to(row, edge.p, rows[i].odds / (1.0 + rows[i].odds));
        near_to(row, alone, 1.0 / (1.0 + rows[i].odds));
    }
}

/* A stranger is called by any of 200 numbers; its own number is called for a new device in 75 %. */
static void what_was_called_for_the_code(void **state)
{
    (void) state;
    static const struct {
        unsigned evidence;
        uint32_t named;
        double confuse, odds;
    } rows[] = {
        {EV_CALLED, LM_NO_ANIMAL, 0.0, 2.0 * 0.75 * 200.0},
        {EV_CONFUSED, LM_NO_ANIMAL, 0.1, 2.0 * (0.302 / 200.0 + 0.002) * 200.0},
        {0, LM_NO_ANIMAL, 0.0, 2.0 * 0.302}, {0, 7, 0.0, 2.0 * 0.022}, /* the number of another */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct two t;
        two_of(&t);
        t.item.range = EX_RANGE_COUNTRY;
        t.item.text = "0201";
        t.item.named = rows[i].named;
        struct ex_pair pair = {
            .evidence = rows[i].evidence, .confuse = rows[i].confuse, .mob = 1.0};
        near_to("odds", odds(&t, pair), rows[i].odds);
        near_to("a stranger", t.item.alone, 0.25 / 200.0);
        near_to("background", t.item.fresh,
            1.5 * (rows[i].named == LM_NO_ANIMAL ? 0.302 : 0.022) / 200.0 / (0.25 / 200.0));
    }
}

/* The supply list: 200 to one within three of the next, 60 beyond, and 0.4 of the rest off it. */
static void on_the_list(void **state)
{
    (void) state;
    struct lm_explain_stock one = {.strip = "S", .visual = "0 201"};
    struct two t;
    two_of(&t);
    t.options.stock = &one;
    t.options.n_stock = 1;
    near_to("off the list", ex_range_odds(&t.x, &t.item), 8.0 * 0.4);
    t.item.stock = 0;
    for (unsigned ahead = 0; ahead < 6; ahead++) {
        t.item.ahead = ahead;
        near_to("on the list", ex_range_odds(&t.x, &t.item), ahead < 3 ? 200.0 : 60.0);
    }
    t.item.text = "0201"; /* what is printed on it was called: 45 % */
    struct ex_pair pair = {.mob = 1.0};
    near_to("printed", odds(&t, pair), 0.01 * 60.0 * 0.45 * 200.0 / (0.03 * 0.25));
}

/* A call without a code: the animal's own, or another's misread. Alone it is a stranger's, 0.25 of
 * 200 numbers, called in 60 %; or once more called without need, 0.0002. */
static void a_call_alone(void **state)
{
    (void) state;
    struct two t;
    two_of(&t);
    t.item.type = EX_CALL;
    t.item.text = "0207";
    t.item.owner = 0;
    struct ex_pair own = {.evidence = EV_OWN}, other = {.evidence = EV_CONFUSED, .confuse = 0.1};
    near_to("own", odds(&t, own), 0.02 * 0.6 * 0.98 / (0.03 * (0.25 / 200.0 * 0.6)));
    t.item.owner = EX_NONE;
    near_to("other", odds(&t, other), 0.02 * 0.6 * 0.002 / (0.03 * (0.25 / 200.0 * 0.6 + 0.0002)));
    t.item.type = EX_NUMBER;
    near_to("nobody's", odds(&t, other), 0.02 * 0.6 * 0.002 / (0.03 * (0.25 / 200.0 * 0.6)));
    t.animal.coded = false; /* there is nothing that could have been read */
    near_to("no code", odds(&t, other),
        1.0 * 0.6 * 0.002 / ((0.02 + 0.4 + 0.01) * (0.25 / 200.0 * 0.6)));
}

/* Equal probabilities: by kind, then animal, then code, then the number called. */
static void order_of_ties(void **state)
{
    (void) state;
    static const struct {
        enum lm_explain_kind kind;
        double p;
        unsigned animal, code; /* 0: none */
        const char *called;
        unsigned place;
    } rows[] = {
        {LM_EX_ABSENT, 0.5, 1, 0, NULL, 7},
        {LM_EX_SWAPPED, 0.5004, 3, 5, NULL, 5}, /* shown as 0.500 */
        {LM_EX_SWAPPED, 0.5, 2, 6, NULL, 4},
        {LM_EX_SWAPPED, 0.5, 2, 5, "b", 3},
        {LM_EX_SWAPPED, 0.5, 2, 5, "a", 2},
        {LM_EX_SWAPPED, 0.5, 2, 0, NULL, 1},
        {LM_EX_ABSENT, 0.5006, 9, 9, NULL, 0}, /* shown as 0.501 */
        {LM_EX_STRANGER, 0.5, 0, 4, NULL, 6},
        {LM_EX_STRANGER, 2.0, 0, 4, NULL, 99}, /* held to 0.999 */
        {LM_EX_STRANGER, -1.0, 0, 4, NULL, 99},
    };
    struct lm_explain *out = calloc(1, sizeof *out);
    const size_t n = sizeof rows / sizeof rows[0];
    assert_non_null(out);
    for (size_t i = 0; i < n; i++) {
        struct ex_draft d;
        ex_draft(&d, out, rows[i].kind, rows[i].p);
        ex_draft_animal(&d, rows[i].animal ? rows[i].animal : LM_NO_ANIMAL);
        if (rows[i].code)
            ex_draft_code(&d, eid_of(rows[i].code));
        d.e.sighting = rows[i].called;
        ex_against(&d, "%d", 2);
        ex_because(&d, "first");
        for (unsigned k = 2; k < EX_BECAUSE_MAX + 3; k++) /* more than there is room for */
            ex_because(&d, "line %u", k);
        assert_int_equal(d.e.n_because, EX_BECAUSE_MAX);
        ex_keep(out, &d);
    }
    ex_order(out);
    assert_int_equal(lm_explain_count(out), n);
    near_to("most", lm_explain_at(out, 0)->probability, 0.999);
    near_to("least", lm_explain_at(out, (uint32_t) n - 1)->probability, 0.001);
    for (size_t i = 0; i < n; i++) {
        if (rows[i].place == 99)
            continue;
        const struct lm_explanation *e = lm_explain_at(out, rows[i].place + 1);
        if (e->kind != rows[i].kind || e->n_animals != (rows[i].animal > 0) ||
            (e->n_animals && e->animals[0] != rows[i].animal) || e->n_eid != (rows[i].code > 0) ||
            (e->n_eid && lm_eid_key(e->eid[0]) != lm_eid_key(eid_of(rows[i].code))))
            fail_msg("place %u", rows[i].place);
        assert_string_equal(e->because[0], "first");
        assert_string_equal(e->because[EX_BECAUSE_MAX - 1], "speaks against it: 2");
        assert_true((e->sighting != NULL) == (rows[i].called != NULL));
        if (e->sighting)
            assert_string_equal(e->sighting, rows[i].called);
    }
    lm_explain_free(out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(which_number_is_called),
        cmocka_unit_test(a_new_device_or_a_stranger),
        cmocka_unit_test(what_was_called_for_the_code),
        cmocka_unit_test(on_the_list),
        cmocka_unit_test(a_call_alone),
        cmocka_unit_test(order_of_ties),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
