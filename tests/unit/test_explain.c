/* Explanations: each kind from a small planted case, bad inputs, the same answer every time. */
#include "flock.h"
#include "lugmark/explain.h"
#include "lugmark/report.h"

#include <stdlib.h>

#define FLOCK 30

struct muster {
    struct lm_roll *roll;
    struct lm_session *s;
    bool read[FLOCK + 1];
};

/** Animals A1 up wear codes 1001 up and numbers 0201 up; all will be read unless told otherwise. */
static struct muster muster_of(void)
{
    struct muster y = {.roll = lm_roll_new()};
    char key[16], number[16];
    for (unsigned i = 1; i <= FLOCK; i++) {
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", 200 + i);
        put(y.roll, animal_of(key, 1000 + i, number));
        y.read[i] = true;
    }
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    assert_non_null(y.s);
    return y;
}

static void walk(struct muster *y)
{
    for (unsigned i = 1; i <= FLOCK; i++) {
        if (y->read[i])
            read_at(y->s, -1, 1000 + i);
    }
}

static struct lm_explain *explained(
    struct muster *y, const struct lm_explain_stock *stock, uint32_t n)
{
    struct lm_explain_options options = {.stock = stock, .n_stock = n};
    struct lm_explain *x = NULL;
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_explain(y->s, &options, &x), LM_OK);
    for (uint32_t i = 1; i < lm_explain_count(x); i++)
        assert_true(lm_explain_at(x, i - 1)->probability >= lm_explain_at(x, i)->probability);
    return x;
}

static void end(struct muster *y, struct lm_explain *x)
{
    lm_explain_free(x);
    lm_session_free(y->s);
    lm_roll_free(y->roll);
}

/** The likeliest one is of this kind, about this animal (0: none), and at least so sure. */
static const struct lm_explanation *first(const struct muster *y, const struct lm_explain *x,
    enum lm_explain_kind kind, unsigned animal, double least)
{
    char key[16];
    assert_true(lm_explain_count(x) > 0);
    const struct lm_explanation *e = lm_explain_at(x, 0);
    assert_string_equal(lm_explain_kind_name(e->kind), lm_explain_kind_name(kind));
    if (animal) {
        snprintf(key, sizeof key, "A%u", animal);
        assert_string_equal(lm_roll_animal(y->roll, e->animals[0]).key, key);
    }
    assert_true(e->probability >= least);
    assert_true(e->n_because > 0);
    return e;
}

static bool says(const struct lm_explanation *e, const char *words)
{
    for (uint32_t i = 0; i < e->n_because; i++) {
        if (strstr(e->because[i], words))
            return true;
    }
    return false;
}

static void new_device(void **state)
{
    (void) state;
    struct muster y = muster_of();
    y.read[7] = false;
    walk(&y);
    read_at(y.s, -1, 1777);
    apply(y.s, call_at(-1, "0207", eid_of(1777)));
    struct lm_explain *x = explained(&y, NULL, 0);
    const struct lm_explanation *e = first(&y, x, LM_EX_NEW_DEVICE, 7, 0.98);
    assert_string_equal(e->sighting, "0207");
    assert_null(e->as);
    assert_true(e->best);
    assert_int_equal(lm_eid_key(e->eid[0]), lm_eid_key(eid_of(1777)));
    end(&y, x);
}

/** Supply list and strip order: an unused device next on its strip is likelier put on than one far
 * along it, and both likelier than a stranger. */
static void supply_list(void **state)
{
    (void) state;
    struct lm_explain_stock stock[200];
    double p[2];
    for (unsigned i = 0; i < 200; i++)
        stock[i] = (struct lm_explain_stock){"S1", i + 1, eid_of(1001 + i), ""};
    for (int far = 0; far < 2; far++) {
        struct muster y = muster_of();
        y.read[7] = false;
        walk(&y);
        read_at(y.s, -1, far ? 1190 : 1031);
        struct lm_explain *x = explained(&y, stock, 200);
        const struct lm_explanation *e = first(&y, x, LM_EX_NEW_DEVICE, 7, 0.9);
        assert_int_equal(says(e, "next unused one of strip S1"), !far);
        assert_int_equal(says(e, "unused ones of its strip come before it"), far);
        p[far] = e->probability;
        end(&y, x);
    }
    assert_true(p[0] > p[1]);
}

static void misread(void **state)
{
    (void) state;
    struct muster y = muster_of();
    walk(&y);
    apply(y.s, call_at(-1, "0201", eid_of(1007)));
    struct lm_explain *x = explained(&y, NULL, 0);
    const struct lm_explanation *e = first(&y, x, LM_EX_MISREAD, 7, 0.8);
    assert_string_equal(e->sighting, "0201");
    assert_string_equal(e->as, "0207");
    end(&y, x);
}

static void misread_alone(void **state)
{
    (void) state;
    struct muster y = muster_of();
    y.read[23] = y.read[15] = false;
    walk(&y);
    apply(y.s, call_at(-1, "0228", (struct lm_eid){0})); /* A28's: it is read, so who was this? */
    apply(y.s, call_at(-1, "0253", (struct lm_eid){0})); /* nobody's, and like no missing one */
    apply(y.s, call_at(-1, "0275", (struct lm_eid){0})); /* nobody's; 7 for the 1 of A15 */
    struct lm_explain *x = explained(&y, NULL, 0);
    bool found = false;
    for (uint32_t i = 0; i < lm_explain_count(x); i++) {
        const struct lm_explanation *e = lm_explain_at(x, i);
        if (e->kind != LM_EX_MISREAD || strcmp(e->sighting, "0275") != 0)
            continue;
        found = true;
        assert_string_equal(e->as, "0215");
        assert_true(e->probability > 0.5);
    }
    assert_true(found);
    end(&y, x);
}

static void swapped(void **state)
{
    (void) state;
    struct muster y = muster_of();
    walk(&y);
    apply(y.s, call_at(-1, "0219", eid_of(1004)));
    apply(y.s, call_at(-1, "0204", eid_of(1019)));
    struct lm_explain *x = explained(&y, NULL, 0);
    const struct lm_explanation *e = first(&y, x, LM_EX_SWAPPED, 4, 0.95);
    assert_int_equal(e->n_animals, 2);
    assert_int_equal(e->n_eid, 2);
    end(&y, x);
}

/** The calls name the animals two further along; the numbers tell where the stretch ends. */
static void shifted_run(void **state)
{
    (void) state;
    struct muster y = muster_of();
    char number[16], key[16];
    enum { FROM = 10, LONG = 9, BY = 2 };
    for (unsigned i = 0; i < LONG; i++) {
        snprintf(key, sizeof key, "A%u", FROM + i);
        snprintf(number, sizeof number, "%04u", 200 + FROM + (i + LONG - BY) % LONG);
        put(y.roll, animal_of(key, 1000 + FROM + i, number));
    }
    walk(&y);
    static const unsigned called[] = {3, 9, 11, 13, 14, 19, 25};
    for (size_t i = 0; i < sizeof called / sizeof called[0]; i++) {
        snprintf(number, sizeof number, "%04u", 200 + called[i]);
        apply(y.s, call_at(-1, number, eid_of(1000 + called[i])));
    }
    struct lm_explain *x = explained(&y, NULL, 0);
    const struct lm_explanation *e = first(&y, x, LM_EX_SHIFTED_RUN, FROM, 0.95);
    assert_int_equal(e->n_animals, LONG);
    assert_int_equal(e->offset, BY);
    end(&y, x);
}

/** The number left over at the run's end went to nobody: its call is part of the run all the same.
 */
static void run_whose_end_is_nobodys(void **state)
{
    (void) state;
    struct muster y = muster_of();
    char number[16], key[16];
    for (unsigned i = 10; i < 18; i++) { /* each has the number of the next: 0210 is on no animal */
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", 201 + i);
        put(y.roll, animal_of(key, 1000 + i, number));
    }
    walk(&y);
    static const unsigned called[] = {9, 10, 12, 15, 18, 19};
    for (size_t i = 0; i < sizeof called / sizeof called[0]; i++) {
        snprintf(number, sizeof number, "%04u", 200 + called[i]);
        apply(y.s, call_at(-1, number, eid_of(1000 + called[i])));
    }
    struct lm_explain *x = explained(&y, NULL, 0);
    const struct lm_explanation *e = first(&y, x, LM_EX_SHIFTED_RUN, 10, 0.9);
    assert_int_equal(e->n_animals, 8);
    assert_int_equal(e->offset, -1);
    end(&y, x);
}

/** A right call between two that are out in the same way: they are no one stretch. */
static void right_calls_part_runs(void **state)
{
    (void) state;
    for (int between = 0; between < 2; between++) {
        struct muster y = muster_of();
        walk(&y);
        apply(y.s, call_at(-1, "0206", eid_of(1005)));
        apply(y.s, call_at(-1, "0211", eid_of(1010)));
        if (between)
            apply(y.s, call_at(-1, "0208", eid_of(1008)));
        struct lm_explain *x = explained(&y, NULL, 0);
        uint32_t longest = 0;
        for (uint32_t i = 0; i < lm_explain_count(x); i++) {
            const struct lm_explanation *e = lm_explain_at(x, i);
            if (e->kind == LM_EX_SHIFTED_RUN && e->n_animals > longest)
                longest = e->n_animals;
        }
        assert_int_equal(longest > 2, !between);
        end(&y, x);
    }
}

static void stranger(void **state)
{
    (void) state;
    struct muster y = muster_of();
    struct lm_eid other;
    assert_int_equal(lm_eid_make(982, 5, &other), LM_OK);
    walk(&y);
    apply(y.s, reading_at(-1, "1", other));
    struct lm_explain *x = explained(&y, NULL, 0);
    first(&y, x, LM_EX_STRANGER, 0, 0.95);
    end(&y, x);
}

static void failed_and_absent(void **state)
{
    (void) state;
    struct muster y = muster_of();
    y.read[7] = y.read[9] = false;
    walk(&y);
    apply(y.s, call_at(-1, "0207", (struct lm_eid){0}));
    apply(y.s, heads_of(FLOCK - 1));
    struct lm_explain *x = explained(&y, NULL, 0);
    first(&y, x, LM_EX_FAILED_EID, 7, 0.95);
    const struct lm_explanation *e = lm_explain_at(x, 1);
    assert_int_equal(e->kind, LM_EX_ABSENT);
    assert_string_equal(lm_roll_animal(y.roll, e->animals[0]).key, "A9");
    assert_true(e->probability > 0.9);
    end(&y, x);
}

/** The head count moves a missing animal between absent and there. */
static void heads_tell(void **state)
{
    (void) state;
    double there[2] = {0, 0};
    for (int all = 0; all < 2; all++) {
        struct muster y = muster_of();
        y.read[9] = false;
        walk(&y);
        apply(y.s, heads_of((uint32_t) (FLOCK - 1 + all)));
        struct lm_explain *x = explained(&y, NULL, 0);
        for (uint32_t i = 0; i < lm_explain_count(x); i++) {
            if (lm_explain_at(x, i)->kind == LM_EX_FAILED_EID)
                there[all] = lm_explain_at(x, i)->probability;
        }
        end(&y, x);
    }
    assert_true(there[0] < 0.1);
    assert_true(there[1] > 0.7);
}

static void confusions(void **state)
{
    (void) state;
    static const struct {
        const char *printed, *called;
        double least, most;
    } rows[] = {
        {"0417", "0411", 0.05, 0.6},  /* 1 for 7 */
        {"0417", "0471", 0.05, 0.2},  /* neighbours turned */
        {"0417", "017", 0.02, 0.1},   /* a digit lost */
        {"0417", "417", 0.04, 0.06},  /* leading zero */
        {"0417", "0412", 1e-4, 0.01}, /* no confusion, but one digit */
        {"0417", "0417", 0, 0},
        {"0417", "9317", 0, 0},
        {"", "1", 0, 0.01},
        {"", "", 0, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double p = lm_confuse(rows[i].printed, rows[i].called);
        assert_true(p >= rows[i].least && p <= rows[i].most);
    }
}

/** All that can be called instead of a number adds up to no more than certainty. */
static void confusions_are_a_distribution(void **state)
{
    (void) state;
    double sum = 0.0;
    char text[16];
    for (unsigned i = 0; i < 100000; i++) {
        for (int width = 3; width <= 5; width++) {
            snprintf(text, sizeof text, "%0*u", width, i);
            if (strlen(text) == (size_t) width)
                sum += lm_confuse("0868", text);
        }
    }
    assert_true(sum > 0.7 && sum <= 1.01);
}

static void bad_inputs(void **state)
{
    (void) state;
    struct muster y = muster_of();
    char number[LM_VISUAL_MAX + 1];
    memset(number, '8', LM_VISUAL_MAX);
    number[LM_VISUAL_MAX] = '\0';
    put(y.roll, animal_of("long", 3000, number));
    put(y.roll, animal_of("none", 0, ""));
    put(y.roll, animal_of("kid", 3001, "\xd0\xba\xd0\xbe\xd0\xb7\xd0\xb0"));
    lm_roll_expect_mob(y.roll, NULL);
    walk(&y);
    read_at(y.s, -1, 4000);
    number[3] = '6';
    apply(y.s, call_at(-1, number, eid_of(4000)));
    apply(y.s, call_at(-1, "\xd0\xba\xd0\xbe\xd0\xb7\xd0\xbe", (struct lm_eid){0}));
    struct lm_explain_stock stock[] = {
        {"", 1, {0}, ""}, {"S", 1, eid_of(4000), number}, {"S", 2, eid_of(4000), number}};
    struct lm_explain *x = explained(&y, stock, 3);
    assert_true(lm_explain_count(x) >= 3);
    end(&y, x);
    struct muster empty = {.roll = lm_roll_new()};
    empty.s = lm_session_new(empty.roll, NULL);
    read_at(empty.s, -1, 1);
    x = explained(&empty, NULL, 0);
    assert_int_equal(lm_explain_at(x, 0)->kind, LM_EX_STRANGER);
    end(&empty, x);
    lm_explain_free(NULL);
}

/** A call that was taken back is no evidence; before the close nobody is missing. */
static void undone_and_open(void **state)
{
    (void) state;
    struct muster y = muster_of();
    struct lm_explain *x = NULL;
    y.read[7] = false;
    walk(&y);
    apply(y.s, call_at(-1, "0219", eid_of(1004)));
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_int_equal(lm_explain(y.s, NULL, &x), LM_OK);
    assert_int_equal(lm_explain_count(x), 0);
    end(&y, x);
}

static char *as_json(void)
{
    struct muster y = muster_of();
    char *text = NULL;
    size_t size = 0;
    y.read[3] = y.read[4] = y.read[5] = false;
    walk(&y);
    read_at(y.s, -1, 5001);
    read_at(y.s, -1, 5002);
    apply(y.s, call_at(-1, "0204", eid_of(5001)));
    apply(y.s, call_at(-1, "it's", (struct lm_eid){0}));
    apply(y.s, call_at(-1, "0211", eid_of(1017)));
    struct lm_explain *x = explained(&y, NULL, 0);
    FILE *out = open_memstream(&text, &size);
    assert_int_equal(lm_report_json_explained(out, y.s, x), LM_OK);
    fclose(out);
    end(&y, x);
    return text;
}

static void same_bytes(void **state)
{
    (void) state;
    char *a = as_json(), *b = as_json();
    assert_string_equal(a, b);
    assert_non_null(strstr(a, "\"explanations\":[{\"id\":\"X1\",\"kind\":"));
    free(a);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(new_device),
        cmocka_unit_test(supply_list),
        cmocka_unit_test(misread),
        cmocka_unit_test(misread_alone),
        cmocka_unit_test(swapped),
        cmocka_unit_test(shifted_run),
        cmocka_unit_test(run_whose_end_is_nobodys),
        cmocka_unit_test(right_calls_part_runs),
        cmocka_unit_test(stranger),
        cmocka_unit_test(failed_and_absent),
        cmocka_unit_test(heads_tell),
        cmocka_unit_test(confusions),
        cmocka_unit_test(confusions_are_a_distribution),
        cmocka_unit_test(bad_inputs),
        cmocka_unit_test(undone_and_open),
        cmocka_unit_test(same_bytes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
