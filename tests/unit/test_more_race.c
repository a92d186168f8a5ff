/* Corners of the fold, the roll and what stands beside them that no session of the other tests
 * goes round. */
#include "flock.h"

#include "lugmark/count.h"
#include "lugmark/estimate.h"
#include "lugmark/markplan.h"
#include "lugmark/stay.h"

#include "race/arena.h"

static void settings_of_the_open_event(void **state)
{
    (void) state;
    static const struct {
        const char *settings;
        bool repeat;           /* the same code 5 s later is the same pass */
        enum lm_attention att; /* of a code nobody has */
    } rows[] = {
        {"rearm_ms=30000", true, LM_HOLD},
        {"rearm_ms=4000", false, LM_HOLD},
        {"rearm_ms.1=4000", false, LM_HOLD},
        {"rearm_ms.2=4000", true, LM_HOLD},
        {"rearm_ms=-1 rearm_ms=4s rearm_ms= =5 x", true, LM_HOLD},
        {"rearm_ms=86400001", true, LM_HOLD},
        {"crossing_ms=1 together_ms=0 no-such-reason=go not-in-register=look", true, LM_LOOK},
        {"not-in-register=halt", true, LM_HOLD},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = yard_of(1);
        struct lm_open open = {.kind = LM_WALK};
        struct lm_event ev = plain(LM_EVENT_OPEN);
        snprintf(open.settings, sizeof open.settings, "%s", rows[i].settings);
        ev.open = &open;
        apply(y.s, ev);
        read_at(y.s, 0, 1);
        if (read_at(y.s, 5000, 1).repeat != rows[i].repeat)
            fail_msg("%s", rows[i].settings);
        assert_int_equal(read_at(y.s, 60000, 99).attention, rows[i].att);
        lm_session_free(y.s);
        lm_roll_free(y.roll);
    }
}

static void together_by_setting(void **state)
{
    (void) state;
    for (int narrow = 0; narrow < 2; narrow++) {
        struct yard y = yard_of(2);
        struct lm_open open = {.kind = LM_WALK};
        struct lm_event ev = plain(LM_EVENT_OPEN);
        snprintf(open.settings, sizeof open.settings, "together_ms=%d", narrow ? 10 : 200);
        ev.open = &open;
        apply(y.s, ev);
        read_at(y.s, 0, 1);
        read_at(y.s, 100, 2);
        apply(y.s, plain(LM_EVENT_CLOSE));
        struct story story = story_of(y.s);
        assert_int_equal(strstr(story.text, "codes-differ") != NULL, narrow == 0);
        lm_session_free(y.s);
        lm_roll_free(y.roll);
    }
}

/* An entry that changes while its animal is among those seen: tallies follow it. */
static void a_seen_animal_changes_its_entry(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    struct lm_summary before, after;
    struct lm_record rec = animal_of("A1", 1, "0101");
    struct lm_event ev = plain(LM_EVENT_REGISTER);
    read_at(y.s, 0, 1);
    lm_session_tally(y.s, &before);
    rec.status = LM_SOLD;
    ev.record = &rec;
    apply(y.s, ev);
    lm_session_tally(y.s, &after);
    assert_int_equal(before.present, 1);
    assert_int_equal(before.expected, 2);
    assert_int_equal(after.present, 0);
    assert_int_equal(after.expected, 1);
    assert_int_equal(after.identified, 1);
    ev.record = NULL;
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    ev.kind = (enum lm_event_kind) 99;
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* More lanes than there is room for share the last one; nothing is lost. */
static void too_many_lanes(void **state)
{
    (void) state;
    struct yard y = yard_of(60);
    for (unsigned i = 1; i <= 60; i++) {
        char lane[16];
        snprintf(lane, sizeof lane, "lane %u", i);
        apply(y.s, reading_at((long) i * 100000, lane, eid_of(i)));
    }
    struct story story = story_of(y.s);
    assert_int_equal(story.sum.present, 60);
    assert_int_equal(story.sum.passes, 60);
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static void a_cut_call_and_a_removed_number(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_record rec = animal_of("R1", 50, "0500");
    struct lm_event cut = call_at(0, "0101", (struct lm_eid){0});
    rec.n_devices = 2;
    snprintf(rec.devices[1].visual, sizeof rec.devices[1].visual, "0501");
    rec.devices[0].gone = true;
    put(y.roll, rec);
    lm_roll_expect_mob(y.roll, NULL);
    cut.cut = true;
    assert_true((apply(y.s, cut).reasons >> LM_DAMAGED_TEXT & 1u) != 0);
    struct lm_verdict v = apply(y.s, call_at(1000, "0500", (struct lm_eid){0}));
    assert_true((v.reasons >> LM_REMOVED_DEVICE & 1u) != 0);
    struct story story = story_of(y.s);
    assert_non_null(strstr(story.text, "doubtful/damaged-text A1;"));
    assert_non_null(strstr(story.text, "retired/removed-device R1;"));
    assert_int_equal(
        lm_eid_key(story.last.eid) == lm_eid_key(eid_of(50)) || story.last.text != NULL, 1);
    apply(y.s, plain(LM_EVENT_UNDO));
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_string_equal(story_of(y.s).text, "");
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* A second call that is taken back leaves no animal that went by twice. */
static void a_second_call_taken_back(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    read_at(y.s, 90000, 1);
    assert_non_null(strstr(story_of(y.s).text, "same-animal-again A1"));
    lm_session_free(y.s);
    lm_roll_free(y.roll);
    y = yard_of(1);
    apply(y.s, call_at(0, "0101", (struct lm_eid){0}));
    apply(y.s, call_at(90000, "0101", (struct lm_eid){0}));
    assert_non_null(strstr(story_of(y.s).text, "same-animal-again A1"));
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_null(strstr(story_of(y.s).text, "same-animal-again"));
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* One animal may wear a pair with one code and one number: that is no group of two animals. */
static void a_pair_on_each_of_two_animals(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    for (int i = 0; i < 3; i++) {
        char key[16];
        snprintf(key, sizeof key, "P%d", i);
        struct lm_record rec = animal_of(key, 70, "0700");
        rec.n_devices = 2;
        rec.devices[1] = rec.devices[0];
        put(y.roll, rec);
    }
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 70);
    struct story story = story_of(y.s);
    assert_string_equal(
        story.text, "duplicate/two-animals-one-code P0;duplicate/two-animals-one-number P0;");
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* Removed from one, worn by another: the wearer's. */
static void a_code_that_moved(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record old = animal_of("OLD", 80, "0800");
    old.devices[0].gone = true;
    put(y.roll, old);
    put(y.roll, animal_of("NEW", 80, "0801"));
    lm_roll_expect_mob(y.roll, NULL);
    struct lm_verdict v = read_at(y.s, 0, 80);
    assert_string_equal(lm_roll_animal(y.roll, v.animal).key, "NEW");
    assert_int_equal(v.reasons, 0);
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static void the_roll_answers(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    uint32_t animal = 77;
    struct lm_record rec = animal_of("A1", 1, "- -");
    assert_false(lm_roll_code_first(roll, eid_of(1), &it, &d));
    assert_false(lm_roll_visual_first(roll, "0101", &it, &d));
    assert_int_equal(lm_roll_put(roll, &rec, &animal), LM_OK);
    assert_int_equal(animal, 0);
    assert_int_equal(lm_roll_put(roll, &rec, &animal), LM_OK);
    assert_int_equal(animal, 0);
    assert_false(lm_roll_visual_first(roll, "- -", &it, &d)); /* a number of nothing but marks */
    assert_true(lm_roll_code_first(roll, eid_of(1), &it, &d));
    assert_false(lm_roll_code_next(roll, &it, &d));
    rec.key[0] = '\0';
    assert_int_equal(lm_roll_put(roll, &rec, &animal), LM_EARG);
    lm_roll_free(roll);
}

static void years_that_cannot_be(void **state)
{
    (void) state;
    struct lm_markplan plan = {0};
    struct lm_problem p = {0};
    static const char *const bad[] = {
        "20x6 orange", "1899 red", "20266 red", "20269 red", "20260 red", "2026", "202"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        if (lm_markplan_set(&plan, LM_PLAN_COLOURS, bad[i], &p) != LM_EINPUT)
            fail_msg("taken: %s", bad[i]);
        assert_true(p.what[0] != '\0' && lm_markplan_empty(&plan));
    }
    assert_int_equal(lm_markplan_set(&plan, LM_PLAN_COLOURS, "1900 red", &p), LM_OK);
    /* a register of another hand may hold a cycle that begins in no year: it says nothing */
    struct lm_mark_for whom = {.born = {2026, 0, 0}};
    snprintf(plan.values[LM_PLAN_COLOUR_CYCLE], sizeof plan.values[0], "black, white");
    assert_string_equal(lm_markplan_for(&plan, &whom).colour, "");
    snprintf(plan.values[LM_PLAN_COLOUR_CYCLE], sizeof plan.values[0], "2025 black, white");
    assert_string_equal(lm_markplan_for(&plan, &whom).colour, "white");
    whom.born.year = 2025;
    assert_string_equal(lm_markplan_for(&plan, &whom).colour, "black");
    whom.born.year = 2024;
    assert_string_equal(lm_markplan_for(&plan, &whom).colour, "white");
    assert_int_equal(lm_markplan_set(&plan, LM_PLAN_LETTERS, "2019 ,", &p), LM_EINPUT);
    assert_int_equal(lm_markplan_set(&plan, LM_PLAN_LETTERS, "2019 L", &p), LM_OK);
}

static void a_word_too_long_for_an_arena(void **state)
{
    (void) state;
    struct lm_arena a;
    uint32_t first, again, other;
    char word[5000];
    memset(word, 'w', sizeof word - 1);
    word[sizeof word - 1] = '\0';
    assert_int_equal(lm_arena_init(&a), LM_OK);
    assert_int_equal(lm_arena_intern(&a, "does", &first), LM_OK);
    for (int i = 0; i < 3000; i++) {
        char text[32];
        snprintf(text, sizeof text, "word %d", i);
        assert_int_equal(lm_arena_intern(&a, text, &other), LM_OK);
        assert_string_equal(lm_arena_at(&a, other), text);
    }
    assert_int_equal(lm_arena_intern(&a, word, &other), LM_OK);
    assert_string_equal(lm_arena_at(&a, other), word);
    assert_int_equal(lm_arena_intern(&a, "does", &again), LM_OK);
    assert_int_equal(first, again);
    assert_int_equal(lm_arena_intern(&a, "", &again), LM_OK);
    assert_int_equal(again, 0);
    lm_arena_free(&a);
}

static void a_mob_of_one_letter(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = animal_of("A1", 1, "1");
    put(roll, rec);
    snprintf(rec.key, sizeof rec.key, "A2");
    snprintf(rec.mob, sizeof rec.mob, "b");
    put(roll, rec);
    lm_roll_expect_mob(roll, "b");
    assert_int_equal(lm_roll_expected(roll), 1);
    lm_roll_expect_mob(roll, "");
    assert_int_equal(lm_roll_expected(roll), 2);
    lm_roll_free(roll);
}

static void most_devices_lost(void **state)
{
    (void) state;
    struct lm_two_devices d = lm_two_devices(1, 8, 0); /* 2 of 10 stayed: 0.64 lose both */
    assert_true(d.stays > 0.199 && d.stays < 0.201);
    assert_true(d.none_expected > 15.99 && d.none_expected < 16.01); /* 9 * 0.64 / 0.36 */
}

/* Sold and back again, more often than is remembered: the oldest stays are forgotten. */
static void more_stays_than_are_kept(void **state)
{
    (void) state;
    enum { ROUNDS = LM_STAYS_MAX + 3 };
    struct lm_stays s = {0};
    struct lm_record rec = animal_of("A1", 1, "1");
    rec.born = (struct lm_date){2000, 1, 1};
    lm_stays_change(&s, &rec, "", lm_date_days(rec.born, 0), lm_date_days(rec.born, 0));
    for (int i = 1; i <= ROUNDS; i++) {
        rec.status = LM_SOLD;
        rec.status_date = (struct lm_date){(int16_t) (2000 + i), 3, 1};
        int32_t day = lm_date_days(rec.status_date, 0);
        lm_stays_change(&s, &rec, "", day, 0);
        rec.status = LM_ON_FARM;
        rec.status_date = (struct lm_date){(int16_t) (2000 + i), 9, 1};
        day = lm_date_days(rec.status_date, 0);
        lm_stays_change(&s, &rec, "bought back", day, 0);
    }
    assert_int_equal(s.n, LM_STAYS_MAX);
    for (unsigned k = 0; k < LM_STAYS_MAX; k++)
        assert_int_equal(s.stay[k].in.year, 2000 + ROUNDS - (int) LM_STAYS_MAX + 1 + (int) k);
    struct lm_date gone = {2000 + ROUNDS, 5, 1}, back = {2000 + ROUNDS, 10, 1};
    assert_false(lm_stays_here(&s, lm_date_days(gone, 0)));
    assert_true(lm_stays_here(&s, lm_date_days(back, 0)));
}

/* Dates that come to be known, or are mended, without a change of status. */
static void stays_mended(void **state)
{
    (void) state;
    static const struct {
        struct {
            enum lm_status status;
            struct lm_date born, since;
            const char *why;
            int day; /* of 2026, when it was written down */
        } change[3];
        unsigned n;
        enum lm_came came;
        struct lm_date in;
    } rows[] = {
        /* the birth date became known */
        {{{LM_ON_FARM, {0}, {0}, "", 40}, {LM_ON_FARM, {2026, 1, 5}, {0}, "", 90}}, 1, LM_CAME_BORN,
            {2026, 1, 5}},
        /* it was bought on another day */
        {{{LM_ON_FARM, {2024, 1, 1}, {2026, 2, 1}, "bought", 40},
             {LM_ON_FARM, {2024, 1, 1}, {2026, 1, 20}, "", 90}},
            1, LM_CAME_BOUGHT, {2026, 1, 20}},
        /* of one that was born here the day since is not when it came */
        {{{LM_ON_FARM, {2024, 1, 1}, {0}, "", 40},
             {LM_ON_FARM, {2024, 1, 1}, {2026, 1, 20}, "", 90}},
            1, LM_CAME_BORN, {2024, 1, 1}},
        /* back before it went: it begins when it went */
        {{{LM_ON_FARM, {2024, 1, 1}, {0}, "", 10}, {LM_SOLD, {2024, 1, 1}, {2026, 3, 1}, "", 70},
             {LM_ON_FARM, {2024, 1, 1}, {2026, 2, 1}, "bought", 100}},
            2, LM_CAME_BOUGHT, {2026, 2, 1}},
    };
    int32_t year = lm_date_days((struct lm_date){2026, 1, 1}, 0);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_stays s = {0};
        for (size_t k = 0; k < 3 && rows[i].change[k].why; k++) {
            struct lm_record rec = animal_of("A1", 1, "1");
            rec.status = (uint8_t) rows[i].change[k].status;
            rec.born = rows[i].change[k].born;
            rec.status_date = rows[i].change[k].since;
            lm_stays_change(
                &s, &rec, rows[i].change[k].why, year + rows[i].change[k].day, year + 1);
        }
        const struct lm_stay *last = &s.stay[s.n - 1];
        if (s.n != rows[i].n || last->came != rows[i].came ||
            memcmp(&last->in, &rows[i].in, sizeof last->in) != 0)
            fail_msg("row %zu: %u stays, came %u in %d-%d-%d", i, (unsigned) s.n,
                (unsigned) last->came, last->in.year, last->in.month, last->in.day);
        if (s.n == 2) { /* never here twice at once */
            assert_true(last->in_day >= s.stay[0].out_day);
            assert_true(last->in_last >= s.stay[0].out_day);
        }
    }
}

static void a_removed_number_without_its_code(void **state)
{
    (void) state;
    struct yard y = {.roll = lm_roll_new()};
    struct lm_record rec = animal_of("A1", 1, "0101");
    rec.n_devices = 2;
    snprintf(rec.devices[1].visual, sizeof rec.devices[1].visual, "0777");
    rec.devices[1].gone = true;
    put(y.roll, rec);
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    apply(y.s, call_at(0, "0777", (struct lm_eid){0}));
    struct story story = story_of(y.s);
    assert_non_null(strstr(story.text, "removed-device A1;"));
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

/* Codes and numbers that no one animal of the book has are nobody's; a worn one goes before a
 * removed one. */
static void nobody_or_one_of_the_book(void **state)
{
    (void) state;
    static const struct {
        unsigned second;     /* code of B's device, besides that of A */
        bool a_gone, b_gone; /* of A's device 7, of B's */
        const char *number;  /* of both */
        unsigned present, identified;
    } rows[] = {
        {8, false, false, "", 1, 1}, /* A's alone */
        {7, false, false, "", 0, 0}, /* two wear it */
        {7, true, false, "", 1, 1},  /* B wears it, A did */
        {7, false, true, "", 1, 1},  /* A wears it, B did */
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        static struct lm_stays stays[2];
        struct lm_count_figures f;
        struct lm_roll *book = lm_roll_new(), *then = lm_roll_new();
        struct lm_record a = animal_of("A", 7, rows[i].number);
        struct lm_record b = animal_of("B", rows[i].second, rows[i].number);
        int32_t day = lm_date_days((struct lm_date){2026, 6, 1}, 0);
        a.devices[0].gone = rows[i].a_gone;
        b.devices[0].gone = rows[i].b_gone;
        memset(stays, 0, sizeof stays);
        lm_stays_change(&stays[0], &a, "", day - 90, day - 90);
        lm_stays_change(&stays[1], &b, "", day - 90, day - 90);
        put(book, a);
        put(book, b);
        lm_roll_expect_mob(then, NULL);
        struct lm_session *s = lm_session_new(then, NULL);
        read_at(s, 0, 7);
        apply(s, plain(LM_EVENT_CLOSE));
        struct lm_count *c = lm_count_new(book, stays, day);
        assert_int_equal(lm_count_session(c, s, day), LM_OK);
        assert_int_equal(lm_count_result(c, &f, NULL, NULL), LM_OK);
        if (f.present != rows[i].present || f.identified != rows[i].identified)
            fail_msg("row %zu: %u present, %u identified", i, f.present, f.identified);
        lm_count_free(c);
        lm_session_free(s);
        lm_roll_free(then);
        lm_roll_free(book);
    }
}

static void too_much_to_hold(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    assert_int_equal(lm_roll_load_end(roll), LM_EARG); /* nothing was begun */
    assert_int_equal(lm_roll_load_begin(roll, UINT32_MAX, 1), LM_ENOMEM);
    assert_int_equal(lm_roll_load_begin(roll, 1, UINT32_MAX), LM_ENOMEM);
    lm_roll_free(roll);
}

static void an_unknown_number_called_three_times(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    for (int i = 0; i < 3; i++)
        apply(y.s, call_at(i * 60000, i == 1 ? "77-77" : "7777", (struct lm_eid){0}));
    struct story story = story_of(y.s);
    assert_string_equal(story.text, "unmatched/not-in-register 7777;");
    assert_int_equal(story.last.times, 3);
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(settings_of_the_open_event),
        cmocka_unit_test(together_by_setting),
        cmocka_unit_test(a_seen_animal_changes_its_entry),
        cmocka_unit_test(too_many_lanes),
        cmocka_unit_test(a_cut_call_and_a_removed_number),
        cmocka_unit_test(a_second_call_taken_back),
        cmocka_unit_test(a_pair_on_each_of_two_animals),
        cmocka_unit_test(a_code_that_moved),
        cmocka_unit_test(the_roll_answers),
        cmocka_unit_test(years_that_cannot_be),
        cmocka_unit_test(a_word_too_long_for_an_arena),
        cmocka_unit_test(a_mob_of_one_letter),
        cmocka_unit_test(most_devices_lost),
        cmocka_unit_test(more_stays_than_are_kept),
        cmocka_unit_test(stays_mended),
        cmocka_unit_test(a_removed_number_without_its_code),
        cmocka_unit_test(nobody_or_one_of_the_book),
        cmocka_unit_test(too_much_to_hold),
        cmocka_unit_test(an_unknown_number_called_three_times),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
