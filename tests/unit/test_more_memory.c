/*
 * Memory runs out at each allocation in turn, in each thing that the race is asked for: it says so,
 * nothing leaks (the sanitizers look), and asked again with memory it does what it would have done.
 */
#include "flock.h"
#include "lugmark/count.h"
#include "lugmark/explain.h"
#include "lugmark/family.h"
#include "nth.h"
#include "race/arena.h"
#include "race/match.h"

#include <stdlib.h>

#define FLOCK 70

struct yard_of_all {
    struct lm_roll *roll;
    struct lm_session *s;
};

/** A thing that is done, on what was made with memory enough. */
typedef enum lm_err deed(struct yard_of_all *y);

static void fill(struct lm_roll *roll)
{
    char key[16], number[16];
    for (unsigned i = 1; i <= FLOCK; i++) {
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", 200 + i);
        struct lm_record rec = animal_of(key, 1000 + i, number);
        snprintf(rec.mob, sizeof rec.mob, "%s", i % 3 ? "does" : "bucks");
        snprintf(rec.dam, sizeof rec.dam, "A%u", i > 50 ? i - 50 : 99);
        put(roll, rec);
    }
    lm_roll_expect_mob(roll, NULL);
}

/** A walk with something of everything that needs explaining. */
static enum lm_err walk(struct lm_session *s)
{
    static const struct {
        unsigned code;
        const char *number;
        bool alone;
    } calls[] = {{1019, "0204", false}, {1004, "0219", false}, {1030, "0231", false},
        {1035, "0236", false}, {1050, "0253", false}, {5001, "0207", false}, {1041, "9999", false},
        {1041, "0209", true}, {1041, "0277", true}, {1041, "0242", true}};
    enum lm_err err = LM_OK;
    for (unsigned i = 1; i <= FLOCK + 20 && !err; i++) {
        unsigned code = i > FLOCK ? 5000 + i - FLOCK : 1000 + i;
        struct lm_event ev = reading_at(2000L * i, i % 20 == 5 ? "2" : "1", eid_of(code));
        if (i > 6 && i < 14)
            continue;
        err = lm_session_apply(s, &ev, NULL);
        for (size_t k = 0; k < sizeof calls / sizeof calls[0] && !err; k++) {
            struct lm_event call = call_at(
                2000L * i + 9, calls[k].number, calls[k].alone ? (struct lm_eid){0} : ev.eid);
            if (calls[k].code == code)
                err = lm_session_apply(s, &call, NULL);
        }
    }
    for (int i = 0; i < 40 && !err; i++) { /* each on a lane of its own */
        struct lm_event ev = reading_at(300000L + 100 * i, "", eid_of(i % 2 ? 1001 : 1002));
        snprintf(ev.lane, sizeof ev.lane, "%d", i % 8);
        err = lm_session_apply(s, &ev, NULL);
    }
    return err;
}

static struct yard_of_all yard_full(bool walked)
{
    struct yard_of_all y = {.roll = lm_roll_new()};
    fill(y.roll);
    y.s = lm_session_new(y.roll, NULL);
    assert_non_null(y.s);
    if (walked) {
        assert_int_equal(walk(y.s), LM_OK);
        apply(y.s, plain(LM_EVENT_CLOSE));
    }
    return y;
}

static void free_yard(struct yard_of_all *y)
{
    lm_session_free(y->s);
    lm_roll_free(y->roll);
}

/** Do it with the first, the second, ... allocation failing, until none is left. */
static void each_fails(deed *d, bool walked)
{
    unsigned long calls = 0, n = 0;
    do {
        struct yard_of_all y = yard_full(walked);
        n++;
        nth_arm(NTH_MEMORY, n);
        enum lm_err err = d(&y);
        calls = nth_disarm();
        if (err != (calls < n ? LM_OK : LM_ENOMEM))
            fail_msg("allocation %lu of %lu failed: %d", n, calls, (int) err);
        free_yard(&y);
    } while (n <= calls);
    assert_true(n > 1);
}

static enum lm_err explains(struct yard_of_all *y)
{
    static const struct lm_life_step steps[] = {{.t = 300, .at_risk = 30, .ended = 9}};
    struct lm_explain_stock stock[] = {
        {"S1", 1, {.bits = 0}, "0299"}, {"S1", 2, {.bits = 0}, "0298"}};
    const struct lm_explain_life life[] = {
        {"", LM_EXPLAIN_ANY, LM_EXPLAIN_ANY, 30, 9, 400, steps, 1}};
    const struct lm_explain_beside beside[] = {{1, 2}, {2, 3}};
    stock[0].eid = eid_of(5003);
    stock[1].eid = eid_of(5004);
    struct lm_explain_options options = {
        .stock = stock, .n_stock = 2, .lives = life, .n_lives = 1, .beside = beside, .n_beside = 2};
    struct lm_explain *x = NULL;
    enum lm_err err = lm_explain(y->s, &options, &x);
    if (!err)
        assert_true(lm_explain_count(x) > 20);
    else
        assert_null(x);
    lm_explain_free(x);
    return err;
}

static enum lm_err walks(struct yard_of_all *y)
{
    return walk(y->s);
}

static enum lm_err begins(struct yard_of_all *y)
{
    struct lm_session *s = lm_session_new(y->roll, NULL);
    lm_session_free(s);
    return s ? LM_OK : LM_ENOMEM;
}

static enum lm_err makes_a_roll(struct yard_of_all *y)
{
    (void) y;
    struct lm_roll *roll = lm_roll_new();
    enum lm_err err = roll ? LM_OK : LM_ENOMEM;
    for (unsigned i = 1; i <= 600 && !err; i++) {
        char key[16], number[16];
        snprintf(key, sizeof key, "animal %u", i);
        snprintf(number, sizeof number, "%04u", i);
        struct lm_record rec = animal_of(key, 1000 + i, number);
        err = lm_roll_put(roll, &rec, NULL);
    }
    lm_roll_free(roll);
    return err;
}

static enum lm_err loads_a_roll(struct yard_of_all *y)
{
    (void) y;
    struct lm_roll *roll = lm_roll_new();
    enum lm_err err = roll ? lm_roll_load_begin(roll, 100, 100) : LM_ENOMEM;
    for (unsigned i = 1; i <= 100 && !err; i++) {
        char key[16];
        snprintf(key, sizeof key, "A%u", i);
        struct lm_record rec = animal_of(key, 1000 + i, key);
        err = lm_roll_put(roll, &rec, NULL);
    }
    if (!err)
        err = lm_roll_load_end(roll);
    lm_roll_free(roll);
    return err;
}

static void nothing(const struct lm_count_entry *entry, void *ctx)
{
    (void) entry;
    ++*(unsigned *) ctx;
}

static enum lm_err counts(struct yard_of_all *y)
{
    struct lm_count_figures figures;
    unsigned n = 0;
    static struct lm_stays none[FLOCK];
    struct lm_count *c = lm_count_new(y->roll, none, 20000);
    enum lm_err err = c ? LM_OK : LM_ENOMEM;
    for (int i = 0; i < 3 && !err; i++)
        err = lm_count_session(c, y->s, 20000);
    if (!err)
        err = lm_count_result(c, &figures, nothing, &n);
    lm_count_free(c);
    return err;
}

static void no_problem(const struct lm_family_problem *problem, void *ctx)
{
    (void) problem;
    (void) ctx;
}

static enum lm_err checks_a_family(struct yard_of_all *y)
{
    (void) y;
    struct lm_family *f = lm_family_new();
    enum lm_err err = f ? LM_OK : LM_ENOMEM;
    for (unsigned i = 1; i < 200 && !err; i++) {
        struct lm_record rec = {.sex = LM_SEX_FEMALE};
        snprintf(rec.key, sizeof rec.key, "A%u", i);
        snprintf(rec.dam, sizeof rec.dam, "A%u", i + 1);
        snprintf(rec.sire, sizeof rec.sire, "S%u", i);
        err = lm_family_add(f, &rec, (long) i);
    }
    if (!err)
        err = lm_family_check(f, no_problem, NULL);
    lm_family_free(f);
    return err;
}

/** A component too large for the exact sum, and a small one. */
static enum lm_err matches(struct yard_of_all *y)
{
    (void) y;
    struct lm_match_edge edges[145];
    double left[14], right[14];
    uint32_t best[14];
    struct lm_match m = {.n_left = 14, .n_right = 14, .edges = edges};
    m.left_p = left;
    m.right_p = right;
    for (uint32_t i = 0; i < 144; i++)
        edges[m.n_edges++] =
            (struct lm_match_edge){i / 12, i % 12, i % 12 == i / 12 ? 2.0 : -2.0, 0};
    edges[m.n_edges++] = (struct lm_match_edge){13, 13, 0.0, 0};
    enum lm_err err = lm_match_marginals(&m);
    if (!err)
        err = lm_match_best(&m, best);
    return err;
}

static enum lm_err keeps_texts(struct yard_of_all *y)
{
    (void) y;
    struct lm_arena a;
    uint32_t at = 0, again = 0;
    char text[64];
    enum lm_err err = lm_arena_init(&a);
    for (unsigned i = 0; i < 300 && !err; i++) {
        snprintf(text, sizeof text, "a text that is the %u. one", i);
        err = lm_arena_intern(&a, text, &at);
        if (!err)
            err = lm_arena_intern(&a, text, &again);
        if (!err)
            assert_int_equal(at, again);
    }
    if (a.text)
        lm_arena_free(&a);
    return err;
}

static void every_allocation(void **state)
{
    (void) state;
    static const struct {
        deed *d;
        bool walked;
    } rows[] = {{explains, true}, {begins, false}, {walks, false}, {makes_a_roll, false},
        {loads_a_roll, false}, {counts, true}, {checks_a_family, false}, {matches, false},
        {keeps_texts, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        each_fails(rows[i].d, rows[i].walked);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_allocation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
