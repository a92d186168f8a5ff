/* Just at a bound and just beyond it: runs, ages, times, lengths, what an index asks for. */
#include "flock.h"

#include "lugmark/markplan.h"
#include "lugmark/stay.h"
#include "lugmark/time.h"
#include "race/explain_priv.h"

#include <stdlib.h>

#define FLOCK 90
#define DAY_MS INT64_C(86400000)
#define TODAY 20000 /* days since 1970 */

static struct {
    size_t most; /**< bytes of the largest allocation that was asked for */
} asked;

void *__real_calloc(size_t n, size_t size);
void *__wrap_calloc(size_t n, size_t size);

void *__wrap_calloc(size_t n, size_t size)
{
    asked.most = n * size > asked.most ? n * size : asked.most;
    return __real_calloc(n, size);
}

static void end(struct yard y)
{
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* --- core --- */

static void a_leap_second(void **state)
{
    (void) state;
    static const struct {
        const char *text, *becomes; /* NULL: refused */
    } rows[] = {{"2016-12-31T23:59:60Z", "2017-01-01T00:00:00.000Z"},
        {"2017-01-01T00:59:60+01:00", "2017-01-01T00:00:00.000Z"}, {"2016-12-31T12:00:60Z", NULL},
        {"1970-01-01T23:59:60Z", "1970-01-02T00:00:00.000Z"}, {"2016-12-31T23:59:61Z", NULL}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char text[LM_TIME_TEXT_SIZE];
        int64_t t = 0;
        enum lm_err err = lm_time_parse(rows[i].text, strlen(rows[i].text), &t);
        assert_int_equal(err, rows[i].becomes ? LM_OK : LM_EFRAME);
        if (rows[i].becomes)
            assert_string_equal(lm_time_format(t, text), rows[i].becomes);
    }
}

/* --- marking plan --- */

/* A pattern of any length that a plan can hold gives what a number has room for. */
static void a_long_pattern(void **state)
{
    (void) state;
    for (size_t len = 1; len <= LM_PLAN_VALUE_MAX; len++) {
        struct lm_markplan plan = {0};
        memset(plan.values[LM_PLAN_NUMBER], 'L', len);
        struct lm_mark mark =
            lm_markplan_for(&plan, &(struct lm_mark_for){.born = {2026, 1, 1}, .sex = 0});
        assert_int_equal(strlen(mark.number), len < LM_NAME_MAX ? len : LM_NAME_MAX - 1);
        assert_int_equal(strspn(mark.number, "@"), strlen(mark.number));
        assert_int_equal(mark.letter, 0);
    }
}

/* --- session --- */

/* Two passes that end together are two animals where a third one is as near, at its end or its
 * beginning. */
static void a_third_one_just_as_near(void **state)
{
    (void) state;
    for (long off = -1; off <= 1; off++) {
        for (int after = 0; after < 2; after++) {
            struct yard y = yard_of(3);
            if (!after) {
                read_at(y.s, 500, 3);
                read_at(y.s, 750 - off, 3);
            }
            read_at(y.s, 1000, 1);
            read_at(y.s, 1100, 2);
            if (after) {
                read_at(y.s, 1350 + off, 3);
                read_at(y.s, 1700, 3);
            }
            bool together = strstr(story_of(y.s).text, "codes-differ") != NULL;
            if (together != (off > 0))
                fail_msg("%s, %ld ms off: %d", after ? "after" : "before", off, together);
            end(y);
        }
    }
}

static void keep_again(const struct lm_finding *f, void *ctx)
{
    struct lm_finding *again = ctx;
    if (f->reason == LM_SAME_ANIMAL_AGAIN)
        *again = *f;
}

/* An animal that came past again: its code is told and no words, whatever was called before. */
static void again_without_words(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_finding again = {.reason = LM_REASONS};
    apply(y.s, call_at(0, "0999", (struct lm_eid){0}));
    read_at(y.s, 1000, 1);
    read_at(y.s, 100000, 1);
    assert_int_equal(lm_session_findings(y.s, NULL, keep_again, &again), LM_OK);
    assert_int_equal(again.reason, LM_SAME_ANIMAL_AGAIN);
    assert_null(again.text);
    assert_true(lm_eid_key(again.eid) == lm_eid_key(eid_of(1)));
    assert_true(again.other == LM_NO_ANIMAL);
    end(y);
}

/* Called long after it was here, then once more at once: taking the last back leaves the other. */
static void a_call_after_an_again_taken_back(void **state)
{
    (void) state;
    static const struct {
        unsigned undone;
        uint32_t times;
    } rows[] = {{0, 2}, {1, 2}, {2, 1}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = yard_of(1);
        struct lm_finding again = {.reason = LM_REASONS};
        static const long at[] = {0, 100000, 100500};
        for (unsigned k = 0; k < 3; k++)
            apply(y.s, call_at(at[k], "0101", (struct lm_eid){0}));
        for (unsigned k = 0; k < rows[i].undone; k++)
            apply(y.s, plain(LM_EVENT_UNDO));
        assert_int_equal(lm_session_findings(y.s, NULL, keep_again, &again), LM_OK);
        if (again.reason == LM_SAME_ANIMAL_AGAIN || rows[i].times > 1)
            assert_int_equal(again.times, rows[i].times);
        end(y);
    }
}

/* Of two with the same number, whom a call names: worn, on the farm, expected, not seen yet. */
static void whom_a_number_names(void **state)
{
    (void) state;
    static const struct {
        struct {
            bool removed, dead, elsewhere, seen;
        } a, b; /* A is put in the register first */
        const char *named;
    } rows[] = {
        {{false, false, false, false}, {false, false, false, false}, "A"},
        {{false, false, false, true}, {false, false, false, false}, "B"},
        {{false, false, true, false}, {false, false, false, false}, "B"},
        {{false, false, true, false}, {false, false, false, true}, "B"},
        {{false, true, false, false}, {false, false, true, true}, "B"},
        {{true, false, false, false}, {false, true, false, true}, "B"},
        {{false, false, false, true}, {false, false, true, false}, "A"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = {.roll = lm_roll_new()};
        const char *expected[2];
        size_t n = 0;
        for (unsigned k = 0; k < 2; k++) {
            struct lm_record rec = animal_of(k ? "B" : "A", 1 + k, "0101");
            bool removed = k ? rows[i].b.removed : rows[i].a.removed;
            rec.devices[0].gone = removed;
            rec.status = (k ? rows[i].b.dead : rows[i].a.dead) ? LM_DEAD : LM_ON_FARM;
            put(y.roll, rec);
            if (!(k ? rows[i].b.elsewhere : rows[i].a.elsewhere))
                expected[n++] = k ? "B" : "A";
        }
        assert_int_equal(lm_roll_expect_keys(y.roll, expected, n), n);
        y.s = lm_session_new(y.roll, NULL);
        if (rows[i].a.seen)
            read_at(y.s, 0, 1);
        if (rows[i].b.seen)
            read_at(y.s, 100000, 2);
        struct lm_verdict v = apply(y.s, call_at(200000, "0101", (struct lm_eid){0}));
        assert_true(v.animal != LM_NO_ANIMAL);
        const char *named = lm_roll_animal(y.roll, v.animal).key;
        if (strcmp(named, rows[i].named) != 0)
            fail_msg("row %zu: %s", i, named);
        end(y);
    }
}

/* Who was in the register when the count began was there before; who was written later came then.
 */
static void written_when_the_count_began(void **state)
{
    (void) state;
    for (int32_t written = 99; written <= 101; written++) {
        struct lm_stays s = {0};
        struct lm_record rec = animal_of("A", 1, "1");
        lm_stays_change(&s, &rec, "", written, 100);
        assert_int_equal(s.n, 1);
        assert_int_equal(s.stay[0].came, LM_CAME_UNSAID);
        assert_int_equal(s.stay[0].in_day, written > 100 ? written : LM_DAY_BEGIN);
        assert_int_equal(s.stay[0].in_last, written > 100 ? written : LM_DAY_BEGIN);
        assert_int_equal(s.stay[0].in_written, written > 100);
    }
}

/* When it left is the day said, or else the day on which that was written down. */
static void left_as_said_or_as_written(void **state)
{
    (void) state;
    for (int said = 0; said < 2; said++) {
        struct lm_stays s = {0};
        struct lm_record rec = animal_of("A", 1, "1");
        struct lm_date day = lm_date_of(TODAY * DAY_MS);
        lm_stays_change(&s, &rec, "", TODAY - 50, TODAY - 100);
        rec.status = LM_SOLD;
        if (said)
            rec.status_date = day;
        lm_stays_change(&s, &rec, "", TODAY + 9, TODAY - 100);
        assert_int_equal(s.n, 1);
        assert_int_equal(s.stay[0].left, LM_LEFT_SOLD);
        assert_int_equal(s.stay[0].out_written, !said);
        assert_int_equal(s.stay[0].out_day, said ? TODAY : TODAY + 9);
        assert_int_equal(s.stay[0].out.year, said ? day.year : 0);
    }
}

/* --- runs --- */

/** A1 up, codes 1001 up; from A@p first to A@p last the numbers are @p by places out, round. */
static struct yard shifted(unsigned first, unsigned last, int by, unsigned odd)
{
    struct yard y = {.roll = lm_roll_new()};
    int n = (int) last - (int) first + 1;
    for (unsigned i = 1; i <= FLOCK; i++) {
        char key[16], number[16];
        unsigned of = i;
        if (i >= first && i <= last)
            of = first + (unsigned) (((int) (i - first) + by + n) % n);
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", i == odd ? 999 : 200 + of);
        put(y.roll, animal_of(key, 1000 + i, number));
    }
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    assert_non_null(y.s);
    for (unsigned i = 1; i <= FLOCK; i++)
        read_at(y.s, -1, 1000 + i);
    return y;
}

/** The likely runs: how many, and the last one's offset, first animal and length. */
struct run {
    unsigned n;
    int offset;
    char first[16];
    uint32_t length;
};

/** What is told where the numbers on these animals are called, 0 after the last. */
static struct run run_of(struct yard *y, const unsigned *called)
{
    struct run out = {0};
    struct lm_explain *x = NULL;
    for (; *called; called++) {
        char number[16];
        snprintf(number, sizeof number, "%04u", 200 + *called);
        apply(y->s, call_at(-1, number, eid_of(1000 + *called)));
    }
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_explain(y->s, NULL, &x), LM_OK);
    for (uint32_t i = 0; i < lm_explain_count(x); i++) {
        const struct lm_explanation *e = lm_explain_at(x, i);
        if (e->kind != LM_EX_SHIFTED_RUN || e->probability < 0.5)
            continue;
        out.n++;
        out.offset = e->offset;
        out.length = e->n_animals;
        snprintf(out.first, sizeof out.first, "%s", lm_roll_animal(y->roll, e->animals[0]).key);
    }
    lm_explain_free(x);
    return out;
}

/* Twelve places out of step is a pairing out of step, thirteen is none. */
static void how_far_out_of_step(void **state)
{
    (void) state;
    static const int by[] = {12, -12, 13, -13};
    for (size_t i = 0; i < sizeof by / sizeof *by; i++) {
        static const unsigned called[] = {34, 36, 39, 41, 0};
        struct yard y = shifted(11, 70, by[i], 0);
        struct run r = run_of(&y, called);
        assert_int_equal(r.n, i < 2 ? 1 : 0);
        assert_int_equal(r.offset, i < 2 ? -by[i] : 0);
        end(y);
    }
}

/* Calls forty places apart are of one run, those further apart are not. */
static void how_far_apart_in_a_run(void **state)
{
    (void) state;
    for (unsigned apart = 39; apart <= 41; apart++) {
        struct yard y = shifted(11, 70, 1, 0);
        struct run r = run_of(&y, (const unsigned[]){20, 20 + apart, 0});
        assert_int_equal(r.n, apart <= 40);
        end(y);
    }
}

/* Where the number left over was called, both ends are known; an odd number beside is of no run. */
static void a_run_ends_where_its_number_is_left_over(void **state)
{
    (void) state;
    for (int whole = 0; whole < 2; whole++) {
        struct yard y = shifted(10, 17, 1, 18);
        struct run r = run_of(&y, (const unsigned[]){5, whole ? 10 : 13, 12, 15, 25, 0});
        assert_int_equal(r.n, 1);
        assert_int_equal(r.offset, -1);
        assert_string_equal(r.first, "A10");
        assert_int_equal(r.length, whole ? 8 : 9);
        end(y);
    }
}

/* --- ages --- */

static void gathered(struct ex *x, const struct yard *y, const struct lm_explain_options *options)
{
    *x = (struct ex){.s = y->s, .roll = y->roll, .options = options, .unknown_heads = -1.0};
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(ex_gather(x), LM_OK);
    assert_int_equal(ex_ages(x), LM_OK);
}

static void release(struct ex *x)
{
    void *all[] = {x->animals, x->items, x->clashes, x->places, x->node_of, x->calls_of,
        x->stock_sorted, x->swapped, x->numbers.slots, x->numbers.links};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
}

static struct yard yard_today(struct lm_roll *roll)
{
    struct yard y = {.roll = roll};
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    lm_roll_expect_mob(roll, NULL);
    y.s = lm_session_new(roll, NULL);
    ev.open = &open;
    ev.t_ms = TODAY * DAY_MS + 1000;
    apply(y.s, ev);
    return y;
}

/* A device put on today is a young one, not one of unknown age. */
static void put_on_today(void **state)
{
    (void) state;
    static const struct lm_explain_options none = {0};
    struct lm_roll *roll = lm_roll_new();
    static const int days[] = {0, 3650, -1, -40}; /* ago; -1: not known; else in days to come */
    for (unsigned i = 0; i < 4; i++) {
        char key[2] = {(char) ('A' + (int) i), '\0'};
        struct lm_record rec = animal_of(key, i + 1, key);
        if (days[i] != -1)
            rec.devices[0].applied = lm_date_of((TODAY - days[i]) * DAY_MS);
        put(roll, rec);
    }
    struct yard y = yard_today(roll);
    struct ex x;
    gathered(&x, &y, &none);
    assert_int_equal(x.n_animals, 4);
    assert_true(x.animals[0].days >= 0.0 && x.animals[0].days < 0.5);
    assert_true(x.animals[0].age < 0.5); /* far below the flock's mean */
    assert_true(x.animals[1].days > 3649.0 && x.animals[1].age > 1.5);
    assert_true(x.animals[2].days < 0.0 && x.animals[2].age >= 1.0 && x.animals[2].age <= 1.0);
    assert_true(x.animals[3].age < 0.5);
    release(&x);
    end(y);
}

/* The oldest device tells; of two put on the same day, the one listed first. */
static void which_device_tells_the_age(void **state)
{
    (void) state;
    static const struct lm_explain_life lives[] = {
        {"", LM_FLAG_TAG, LM_EXPLAIN_ANY, 50, 0, 900.0, NULL, 0},
        {"", LM_BOLUS, LM_EXPLAIN_ANY, 50, 0, 900.0, NULL, 0}};
    const struct lm_explain_options options = {.lives = lives, .n_lives = 2};
    for (int later = -1; later <= 1; later++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record rec = animal_of("A", 1, "1");
        rec.devices[0].form = LM_BOLUS;
        rec.devices[0].applied = lm_date_of((TODAY - 500) * DAY_MS);
        rec.devices[1] = animal_of("", 2, "2").devices[0];
        rec.devices[1].form = LM_FLAG_TAG;
        rec.devices[1].applied = lm_date_of((TODAY - 500 + later) * DAY_MS);
        rec.n_devices = 2;
        put(roll, rec);
        struct yard y = yard_today(roll);
        struct ex x;
        gathered(&x, &y, &options);
        assert_int_equal(x.n_animals, 1);
        assert_int_equal(x.animals[0].curve, later < 0 ? 0 : 1);
        release(&x);
        end(y);
    }
}

/* --- memory --- */

/* Registers of any size ask for memory by their size, loaded at once or one by one. */
static void memory_by_the_animal(void **state)
{
    (void) state;
    static const unsigned sizes[] = {1, 170, 171, 172, 341, 342, 5000};
    for (size_t i = 0; i < 2 * sizeof sizes / sizeof *sizes; i++) {
        unsigned n = sizes[i / 2];
        struct lm_roll *roll = lm_roll_new();
        asked.most = 0;
        if (i % 2)
            assert_int_equal(lm_roll_load_begin(roll, n, n), LM_OK);
        for (unsigned k = 1; k <= n; k++) {
            char key[16];
            snprintf(key, sizeof key, "A%u", k);
            put(roll, animal_of(key, k, key));
        }
        if (i % 2)
            assert_int_equal(lm_roll_load_end(roll), LM_OK);
        assert_true(asked.most > 0);
        assert_true(asked.most <= 4096 + 256 * (size_t) n);
        assert_int_equal(lm_roll_by_key(roll, "A1"), 0);
        lm_roll_free(roll);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_leap_second),
        cmocka_unit_test(a_long_pattern),
        cmocka_unit_test(a_third_one_just_as_near),
        cmocka_unit_test(again_without_words),
        cmocka_unit_test(a_call_after_an_again_taken_back),
        cmocka_unit_test(whom_a_number_names),
        cmocka_unit_test(written_when_the_count_began),
        cmocka_unit_test(left_as_said_or_as_written),
        cmocka_unit_test(how_far_out_of_step),
        cmocka_unit_test(how_far_apart_in_a_run),
        cmocka_unit_test(a_run_ends_where_its_number_is_left_over),
        cmocka_unit_test(put_on_today),
        cmocka_unit_test(which_device_tells_the_age),
        cmocka_unit_test(memory_by_the_animal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
