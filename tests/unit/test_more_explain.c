/* Corners of the explanations: strips and runs where animals wear two codes, numbers of one
 * character, of none, of very many. */
#include "flock.h"

#include "race/explain_priv.h"
#include "race/match.h"

#include <stdlib.h>

#define FLOCK 30

static struct yard walked(struct lm_roll *roll)
{
    struct yard y = {.roll = roll};
    lm_roll_expect_mob(roll, NULL);
    y.s = lm_session_new(roll, NULL);
    assert_non_null(y.s);
    for (unsigned i = 1; i <= FLOCK; i++)
        read_at(y.s, -1, 1000 + i);
    return y;
}

static void end(struct yard y)
{
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/** A1 up with codes 1001 up and, each on a strip of its own country, a second code in front. */
static struct lm_roll *flock(bool two, const int shift[FLOCK + 1])
{
    struct lm_roll *roll = lm_roll_new();
    for (unsigned i = 1; i <= FLOCK; i++) {
        char key[16], number[16];
        int of = (int) i + (shift ? shift[i] : 0);
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04d", 200 + of);
        struct lm_record rec = animal_of(key, 1000 + i, number);
        if (two) {
            rec.n_devices = 2;
            rec.devices[1] = rec.devices[0];
            rec.devices[0] = (struct lm_device){.form = LM_BOLUS};
            assert_int_equal(lm_eid_make(998, 5000 - i * 7 % 31, &rec.devices[0].eid), LM_OK);
            rec.devices[2] = (struct lm_device){.form = LM_BOLUS};
            rec.n_devices = 3;
            assert_int_equal(lm_eid_make(997, i * 11 % 31, &rec.devices[2].eid), LM_OK);
        }
        put(roll, rec);
    }
    return roll;
}

static void call(struct yard *y, unsigned printed, unsigned code)
{
    char number[16];
    snprintf(number, sizeof number, "%04u", 200 + printed);
    apply(y->s, call_at(-1, number, eid_of(1000 + code)));
}

struct runs {
    unsigned n;
    int offset[4];
    char first[4][16];
    uint32_t length[4];
};

static struct runs runs_of(struct yard *y, const struct lm_explain_options *options)
{
    struct runs out = {0};
    struct lm_explain *x = NULL;
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_explain(y->s, options, &x), LM_OK);
    for (uint32_t i = 0; i < lm_explain_count(x); i++) {
        const struct lm_explanation *e = lm_explain_at(x, i);
        if (e->kind != LM_EX_SHIFTED_RUN || e->probability < 0.5)
            continue;
        assert_true(out.n < 4);
        out.offset[out.n] = e->offset;
        out.length[out.n] = e->n_animals;
        snprintf(out.first[out.n++], sizeof out.first[0], "%s",
            lm_roll_animal(y->roll, e->animals[0]).key);
    }
    lm_explain_free(x);
    return out;
}

/* The device of the code that was called for tells the strip, whichever of an animal's it is. */
static void runs_of_animals_with_three_codes(void **state)
{
    (void) state;
    struct lm_explain_stock stock[2 * FLOCK];
    for (unsigned i = 0; i < FLOCK; i++) { /* their other codes are on strips that come later */
        stock[i] = (struct lm_explain_stock){"Y", i + 1, {0}, ""};
        stock[FLOCK + i] = (struct lm_explain_stock){"Z", i + 1, {0}, ""};
        assert_int_equal(lm_eid_make(998, 5000 - (i + 1) * 7 % 31, &stock[i].eid), LM_OK);
        assert_int_equal(lm_eid_make(997, (i + 1) * 11 % 31, &stock[FLOCK + i].eid), LM_OK);
    }
    const struct lm_explain_options listed = {.stock = stock, .n_stock = 2 * FLOCK};
    for (int way = 0; way < 3; way++) {
        int shift[FLOCK + 1] = {0};
        for (unsigned i = 10; i < 18; i++)
            shift[i] = i == 17 ? -7 : 1; /* each has the number of the next, the last the first's */
        struct yard y = walked(flock(way > 0, shift));
        static const unsigned called[] = {5, 10, 12, 15, 20};
        for (size_t i = 0; i < sizeof called / sizeof *called; i++)
            call(&y, called[i], called[i]);
        struct runs r = runs_of(&y, way == 2 ? &listed : NULL);
        assert_int_equal(r.n, 1);
        assert_int_equal(r.offset[0], -1);
        assert_string_equal(r.first[0], "A10");
        assert_int_equal(r.length[0], 8);
        end(y);
    }
}

/* Calls of two runs, out by different numbers of places, in turn: each run is found. */
static void two_runs_called_in_turn(void **state)
{
    (void) state;
    static const struct {
        int near, far; /* how far the registered numbers are out, of 3-9 and of 20-26 */
    } rows[] = {{1, 2}, {2, 1}, {-1, 2}, {2, -1}, {-2, -1}, {1, 1}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        int shift[FLOCK + 1] = {0};
        for (int k = 0; k < 7; k++) {
            int to = (k + 7 + rows[i].near) % 7;
            shift[3 + k] = to - k;
            to = (k + 7 + rows[i].far) % 7;
            shift[20 + k] = to - k;
        }
        struct yard y = walked(flock(false, shift));
        static const unsigned called[] = {22, 5, 24, 6, 23, 7, 14, 28};
        for (size_t k = 0; k < sizeof called / sizeof *called; k++)
            call(&y, called[k], called[k]);
        struct runs r = runs_of(&y, NULL);
        if (r.n != 2)
            fail_msg("row %zu: %u runs", i, r.n);
        for (unsigned k = 0; k < 2; k++) {
            bool near = strcmp(r.first[k], "A3") == 0;
            assert_true(near || strcmp(r.first[k], "A20") == 0);
            assert_int_equal(r.offset[k], -(near ? rows[i].near : rows[i].far));
            assert_int_equal(r.length[k], 7);
        }
        end(y);
    }
}

/* A large piece after a small one comes out as it does alone. */
static void a_large_piece_behind_a_small_one(void **state)
{
    (void) state;
    enum { SIDE = 12 };
    struct lm_match_edge alone[SIDE * SIDE], *both = calloc(SIDE * SIDE + 1, sizeof *both);
    double left[2][SIDE + 1], right[2][SIDE + 1];
    assert_non_null(both);
    both[0] = (struct lm_match_edge){0, 0, 1.0, 0};
    for (uint32_t i = 0; i < SIDE * SIDE; i++) {
        uint32_t l = i / SIDE, r = i % SIDE;
        alone[i] = (struct lm_match_edge){l, r, l == r ? 2.0 : -2.0 + 0.01 * l, 0};
        both[i + 1] = alone[i];
        both[i + 1].left++;
        both[i + 1].right++;
    }
    struct lm_match one = {.n_left = SIDE, .n_right = SIDE, .edges = alone};
    struct lm_match two = {.n_left = SIDE + 1, .n_right = SIDE + 1, .edges = both};
    one.n_edges = SIDE * SIDE;
    two.n_edges = SIDE * SIDE + 1;
    one.left_p = left[0];
    one.right_p = right[0];
    two.left_p = left[1];
    two.right_p = right[1];
    assert_int_equal(lm_match_marginals(&one), LM_OK);
    assert_int_equal(lm_match_marginals(&two), LM_OK);
    for (unsigned i = 0; i < SIDE; i++) {
        assert_true(left[0][i] == left[1][i + 1]);
        assert_true(right[0][i] == right[1][i + 1]);
    }
    free(both);
}

/** What a struct ex holds, freed. */
static void release(struct ex *x)
{
    void *all[] = {x->animals, x->items, x->clashes, x->places, x->node_of, x->calls_of,
        x->stock_sorted, x->swapped, x->numbers.slots, x->numbers.links};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
}

static void gathered(struct ex *x, const struct yard *y)
{
    static const struct lm_explain_options none = {0};
    *x = (struct ex){.s = y->s, .roll = y->roll, .options = &none, .unknown_heads = -1.0};
    assert_int_equal(ex_gather(x), LM_OK);
    assert_int_equal(ex_index_build(x), LM_OK);
}

/* Numbers that run along a strip: digits only, 15 at most. */
static void which_numbers_are_integers(void **state)
{
    (void) state;
    static const struct {
        const char *visual;
        long long number;
    } rows[] = {{"0417", 417}, {"4-17", 417}, {"", -1}, {"--", -1}, {"4A", -1}, {"0", 0},
        {"123456789012345", 123456789012345}, {"1234567890123456", -1}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = {.roll = lm_roll_new()};
        struct ex x;
        put(y.roll, animal_of("A1", 1, rows[i].visual));
        y.s = lm_session_new(y.roll, NULL);
        gathered(&x, &y);
        assert_int_equal(x.n_places, 1);
        if (x.places[0].number != rows[i].number)
            fail_msg("\"%s\": %lld", rows[i].visual, x.places[0].number);
        release(&x);
        end(y);
    }
}

/* Numbers of missing animals that may be called so, each animal once. */
static void whose_number_it_may_be(void **state)
{
    (void) state;
    static const struct {
        const char *called, *keys;
    } rows[] = {{"7", "A"}, {"8", ""}, {"12", "BD"}, {"21", "EBD"}, {"1", "BD"}, {"012", "BD"},
        {"1123", "C"}, {"113", "CE"}, {"9999", ""}, {"--", ""}, {"0001", "BDF"}, {"000", "F"},
        {"321", "E"}, {"5566", "G"},
        {"556", "G"}}; /* D, 01, as 1: what is left of 12 without the 2 */
    static const char *const numbers[] = {"7", "12", "1123", "01", "213", "0000"};
    struct yard y = {.roll = lm_roll_new()};
    struct ex x;
    for (unsigned i = 0; i < 6; i++) {
        char key[2] = {(char) ('A' + (int) i), '\0'};
        put(y.roll, animal_of(key, i + 1, numbers[i]));
    }
    struct lm_record gone = animal_of("G", 9, "7");
    gone.devices[0].gone = true;
    gone.devices[1] = animal_of("", 10, "5566").devices[0]; /* it wears another one */
    gone.n_devices = 2;
    put(y.roll, gone);
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    apply(y.s, plain(LM_EVENT_CLOSE));
    gathered(&x, &y);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        uint32_t out[EX_KEY_HITS];
        char keys[16] = "";
        uint32_t n = ex_index_find(&x, rows[i].called, out);
        for (uint32_t k = 0; k < n; k++)
            strcat(keys, lm_roll_animal(y.roll, x.animals[out[k]].animal).key);
        if (strcmp(keys, rows[i].keys) != 0)
            fail_msg("%s: %s", rows[i].called, keys);
    }
    assert_true(ex_has_number(y.roll, 0, " 7"));
    assert_false(ex_has_number(y.roll, 0, "8"));
    assert_false(ex_has_number(y.roll, 0, "--"));
    assert_false(ex_has_number(y.roll, 6, "7")); /* it is gone */
    assert_string_equal(ex_number_of(y.roll, 6), "5566");
    assert_string_equal(ex_number_of(y.roll, LM_NO_ANIMAL), "");
    release(&x);
    end(y);
}

static void when_it_is(void **state)
{
    (void) state;
    struct yard y = yard_of(3);
    assert_int_equal(lm_explain_now_ms(y.s), LM_TIME_NONE);
    read_at(y.s, 5000, 2);
    read_at(y.s, 9000, 1);
    assert_int_equal(lm_explain_now_ms(y.s), 5000); /* the first, in the order they came */
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    ev.open = &open;
    ev.t_ms = 3000;
    apply(y.s, ev);
    assert_int_equal(lm_explain_now_ms(y.s), 3000);
    end(y);
}

/* A number that contradicted a code; then nobody has the code any more: it was called all the same.
 */
static void a_code_that_went_away(void **state)
{
    (void) state;
    for (int goes = 0; goes < 2; goes++) {
        struct yard y = walked(flock(false, NULL));
        call(&y, 1, 7);
        if (goes) {
            struct lm_record rec = animal_of("A7", 7777, "0207");
            struct lm_event ev = plain(LM_EVENT_REGISTER);
            ev.record = &rec;
            apply(y.s, ev);
        }
        struct lm_explain *x = NULL;
        assert_int_equal(lm_explain(y.s, NULL, &x), LM_OK);
        unsigned misread = 0;
        for (uint32_t i = 0; i < lm_explain_count(x); i++)
            misread += lm_explain_at(x, i)->kind == LM_EX_MISREAD;
        assert_int_equal(misread, 1);
        lm_explain_free(x);
        end(y);
    }
}

/* What was taken back is passed over; what was called after it is not. */
static void a_call_after_one_taken_back(void **state)
{
    (void) state;
    struct yard y = walked(flock(false, NULL));
    call(&y, 9, 4);
    apply(y.s, plain(LM_EVENT_UNDO));
    call(&y, 1, 7);
    struct lm_explain *x = NULL;
    assert_int_equal(lm_explain(y.s, NULL, &x), LM_OK);
    assert_int_equal(lm_explain_count(x), 1);
    assert_int_equal(lm_explain_at(x, 0)->kind, LM_EX_MISREAD);
    assert_string_equal(lm_explain_at(x, 0)->sighting, "0201");
    lm_explain_free(x);
    end(y);
}

static bool says(const struct lm_explain *x, enum lm_explain_kind kind, const char *words)
{
    for (uint32_t i = 0; i < lm_explain_count(x); i++) {
        const struct lm_explanation *e = lm_explain_at(x, i);
        for (uint32_t k = 0; k < e->n_because && e->kind == kind; k++)
            if (strcmp(e->because[k], words) == 0)
                return true;
    }
    return false;
}

/* Where the register or the supply list has no number, that is said; where it has one, that. */
static void numbers_that_are_not_known(void **state)
{
    (void) state;
    for (int known = 0; known < 2; known++) {
        struct lm_roll *roll = flock(false, NULL);
        struct lm_explain_stock stock[60];
        char printed[60][16];
        put(roll, animal_of("A31", 1031, known ? "0231" : ""));
        for (unsigned i = 0; i < 60; i++) {
            snprintf(printed[i], sizeof printed[i], "%u", known ? 7001 + i : 0);
            stock[i] =
                (struct lm_explain_stock){"S1", i + 1, eid_of(1001 + i), known ? printed[i] : ""};
        }
        const struct lm_explain_options options = {.stock = stock, .n_stock = 60};
        struct yard y = walked(roll);
        read_at(y.s, -1, 1040);
        apply(y.s, call_at(-1, "0999", eid_of(1040)));
        call(&y, 1, 7);
        if (!known) {
            struct lm_record rec = animal_of("A7", 1007, "");
            struct lm_event ev = plain(LM_EVENT_REGISTER);
            ev.record = &rec;
            apply(y.s, ev);
        }
        apply(y.s, plain(LM_EVENT_CLOSE));
        struct lm_explain *x = NULL;
        assert_int_equal(lm_explain(y.s, &options, &x), LM_OK);
        assert_true(says(x, LM_EX_MISREAD,
            known ? "0201 was called for the code of A7, whose number is 0207"
                  : "0201 was called for the code of A7, whose number is not known"));
        assert_true(says(x, LM_EX_NEW_DEVICE,
            known ? "speaks against it: 0999 was called, its number is 0231"
                  : "speaks against it: 0999 was called, its number is not known"));
        assert_true(says(x, LM_EX_NEW_DEVICE,
            known ? "the code is an unused one of strip S1 in the supply list, position 40, "
                    "printed 7040"
                  : "the code is an unused one of strip S1 in the supply list, position 40"));
        lm_explain_free(x);
        end(y);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(runs_of_animals_with_three_codes),
        cmocka_unit_test(two_runs_called_in_turn),
        cmocka_unit_test(a_large_piece_behind_a_small_one),
        cmocka_unit_test(which_numbers_are_integers),
        cmocka_unit_test(whose_number_it_may_be),
        cmocka_unit_test(when_it_is),
        cmocka_unit_test(a_code_that_went_away),
        cmocka_unit_test(a_call_after_one_taken_back),
        cmocka_unit_test(numbers_that_are_not_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
