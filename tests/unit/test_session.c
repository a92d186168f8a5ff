/* The session fold: passes, sightings, strangers, bounds. */
#include "flock.h"

static void missing_and_bounds(void **state)
{
    (void) state;
    struct yard y = yard_of(4);
    read_at(y.s, 0, 1);
    read_at(y.s, 5000, 2);
    apply(y.s, heads_of(3));
    struct lm_summary sum = ends_as(y, "missing/not-seen A3;missing/not-seen A4;");
    assert_int_equal(sum.expected, 4);
    assert_int_equal(sum.present, 2);
    assert_int_equal(sum.identified, 2);
    assert_int_equal(sum.absent_min, 1); /* one head that nobody identified may be A3 or A4 */
    assert_int_equal(sum.absent_max, 2);
    assert_false(sum.heads_short);
    assert_int_equal(sum.counts[LM_MISSING], 2);
}

static void bounds_table(void **state)
{
    (void) state;
    static const struct {
        unsigned animals, read;
        int heads;
        unsigned min, max, short_;
    } rows[] = {
        {5, 3, -1, 0, 2, 0}, /* no head count: nothing is known */
        {5, 3, 3, 2, 2, 0},  /* every head was identified: both are away */
        {5, 3, 4, 1, 2, 0},
        {5, 3, 5, 0, 2, 0},
        {5, 3, 9, 0, 2, 0}, /* strangers or unread animals */
        {5, 3, 2, 2, 2, 1}, /* fewer heads than animals identified */
        {5, 5, 5, 0, 0, 0},
        {5, 0, 0, 5, 5, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct yard y = yard_of(rows[i].animals);
        for (unsigned k = 1; k <= rows[i].read; k++)
            read_at(y.s, 5000 * (long) k, k);
        if (rows[i].heads >= 0)
            apply(y.s, heads_of((uint32_t) rows[i].heads));
        apply(y.s, plain(LM_EVENT_CLOSE));
        struct story story = story_of(y.s);
        assert_int_equal(story.sum.absent_min, rows[i].min);
        assert_int_equal(story.sum.absent_max, rows[i].max);
        assert_int_equal(story.sum.heads_short, rows[i].short_);
        lm_session_free(y.s);
        lm_roll_free(y.roll);
    }
}

static void missing_only_after_the_close(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, 0, 1);
    assert_string_equal(story_of(y.s).text, "");
    ends_as(y, "missing/not-seen A2;");
}

static void repeats_are_one_pass(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    assert_true(read_at(y.s, 0, 1).new_pass);
    for (long ms = 100; ms < 3600000; ms += 20000)
        assert_true(read_at(y.s, ms, 1).repeat); /* an hour at the antenna */
    struct lm_summary sum = ends_as(y, "");
    assert_int_equal(sum.passes, 1);
    assert_int_equal(sum.readings, 181);
}

static void again_after_the_rearm_time(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    assert_true(read_at(y.s, 30000, 1).repeat);
    struct lm_verdict v = read_at(y.s, 60001, 1);
    assert_true(v.new_pass);
    assert_int_equal(v.attention, LM_LOOK);
    assert_int_equal(v.reasons, 1u << LM_SAME_ANIMAL_AGAIN);
    read_at(y.s, 120000, 1);
    struct lm_summary sum = ends_as(y, "duplicate/same-animal-again A1;");
    assert_int_equal(sum.passes, 3);
}

static void without_time_another_code_between_ends_a_pass(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, -1, 1);
    read_at(y.s, -1, 1);
    read_at(y.s, -1, 2);
    read_at(y.s, -1, 1);
    struct lm_summary sum = ends_as(y, "duplicate/same-animal-again A1;");
    assert_int_equal(sum.passes, 3);
}

static void stranger(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    struct lm_eid eid;
    assert_int_equal(lm_eid_make(900, 7, &eid), LM_OK);
    struct lm_verdict v = apply(y.s, reading_at(5000, "1", eid));
    assert_int_equal(v.attention, LM_HOLD);
    assert_int_equal(v.animal, LM_NO_ANIMAL);
    apply(y.s, reading_at(5100, "1", eid));
    struct lm_summary sum = ends_as(y, "unmatched/not-in-register 900000000000007;");
    assert_int_equal(sum.identified, 1);
    assert_int_equal(sum.passes, 2);
}

static void test_code_is_doubtful_too(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1); /* 999 as well, but the register knows it */
    read_at(y.s, 5000, 77);
    ends_as(y, "unmatched/not-in-register 999000000000077;doubtful/test-code 999000000000077;");
}

static void unexpected_by_mob_and_status(void **state)
{
    (void) state;
    struct yard y = {.roll = lm_roll_new()};
    static const char *const keys[] = {"OF", "SO", "DE", "SL", "LO", "MO"};
    for (unsigned i = 0; i < 6; i++) {
        struct lm_record rec = animal_of(keys[i], i + 1, keys[i]);
        strcpy(rec.mob, i == 5 ? "other" : "does");
        rec.status = (uint8_t) (i < 5 ? i : 0);
        put(y.roll, rec);
    }
    y.s = lm_session_new(y.roll, NULL);
    struct lm_open open = {.kind = LM_WALK, .mob = "does"};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    ev.open = &open;
    apply(y.s, ev);
    for (unsigned i = 0; i < 6; i++)
        assert_int_equal(read_at(y.s, 5000 * (long) i, i + 1).attention, i == 0 ? LM_GO : LM_HOLD);
    struct lm_summary sum = ends_as(y,
        "unexpected/sold SO;unexpected/dead DE;unexpected/slaughtered SL;unexpected/lost LO;"
        "unexpected/other-mob MO;");
    assert_int_equal(sum.expected, 1);
    assert_int_equal(sum.present, 1);
    assert_int_equal(sum.identified, 6);
}

static void sale_holds_everything(void **state)
{
    (void) state;
    struct yard y = yard_of(3);
    const char *keys[] = {"A1", "A2"};
    struct lm_open open = {.kind = LM_SALE, .lot = "lot 1", .keys = keys, .n_keys = 2};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    ev.open = &open;
    apply(y.s, ev);
    assert_int_equal(read_at(y.s, 0, 1).attention, LM_GO);
    assert_int_equal(read_at(y.s, 40000, 1).attention, LM_HOLD);
    assert_int_equal(read_at(y.s, 45000, 3).attention, LM_HOLD);
    struct lm_summary sum =
        ends_as(y, "missing/not-seen A2;duplicate/same-animal-again A1;unexpected/other-lot A3;");
    assert_int_equal(sum.counts_attention[LM_HOLD], 3);
}

static void sighted_but_not_read(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    put(y.roll, animal_of("B1", 0, "0300")); /* has no electronic code: nothing to be unread */
    struct lm_verdict v = apply(y.s, call_at(0, "0102", (struct lm_eid){0}));
    assert_int_equal(v.reasons, 1u << LM_NO_READING);
    apply(y.s, call_at(0, "300", (struct lm_eid){0}));
    read_at(y.s, 5000, 1);
    struct lm_summary sum = ends_as(y, "unread/no-reading A2;");
    assert_int_equal(sum.present, 3);
    assert_int_equal(sum.absent_max, 0);
}

static void number_of_nobody(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    apply(y.s, call_at(1000, "9999", (struct lm_eid){0}));
    apply(y.s, call_at(2000, "99-99", (struct lm_eid){0}));
    ends_as(y, "unmatched/not-in-register 9999;");
}

static void number_differs(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, 0, 1);
    struct lm_verdict v = apply(y.s, call_at(1000, "0102", eid_of(1)));
    assert_int_equal(v.attention, LM_HOLD);
    assert_int_equal(v.animal, 0);
    apply(y.s, plain(LM_EVENT_CLOSE));
    struct story story = story_of(y.s);
    /* the called number may be misread, so it makes A2 present for nobody */
    assert_string_equal(story.text, "missing/not-seen A2;conflict/number-differs A1;");
    assert_int_equal(story.last.other, 1);
    assert_string_equal(story.last.text, "0102");
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static void number_agrees_with_zeros_dropped(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    assert_int_equal(apply(y.s, call_at(1000, "101", eid_of(1))).attention, LM_GO);
    ends_as(y, "");
}

static void number_for_a_stranger(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_eid eid;
    assert_int_equal(lm_eid_make(900, 5, &eid), LM_OK);
    apply(y.s, reading_at(0, "1", eid));
    apply(y.s, call_at(1000, "0101", eid)); /* A1 with a code nobody knows: a new device? */
    struct lm_summary sum =
        ends_as(y, "unmatched/not-in-register 900000000000005;unread/no-reading A1;");
    assert_int_equal(sum.present, 1);
}

static void two_devices_one_animal(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_record rec = animal_of("B1", 50, "0500");
    rec.n_devices = 2;
    rec.devices[1].eid = eid_of(51);
    put(y.roll, rec);
    read_at(y.s, 0, 50);
    assert_true(read_at(y.s, 200, 51).repeat);
    read_at(y.s, 5000, 1);
    struct lm_summary sum = ends_as(y, "");
    assert_int_equal(sum.passes, 2);
    assert_int_equal(sum.identified, 2);
}

static void codes_of_two_animals_in_one_pass(void **state)
{
    (void) state;
    struct yard y = yard_of(4);
    read_at(y.s, 0, 1);
    struct lm_verdict v = read_at(y.s, 100, 2);
    assert_int_equal(v.reasons, 1u << LM_CODES_DIFFER);
    read_at(y.s, 5000, 3);
    read_at(y.s, 9000, 4);
    ends_as(y, "conflict/codes-differ A1;");
}

static void times_cut_to_seconds_say_less(void **state)
{
    (void) state;
    struct yard y = yard_of(4);
    read_at(y.s, 0, 1);
    read_at(y.s, 0, 2); /* two animals in one second, the next one two seconds later */
    read_at(y.s, 2000, 3);
    read_at(y.s, 4000, 4);
    ends_as(y, "");
    y = yard_of(3);
    read_at(y.s, 5000, 1);
    read_at(y.s, 5000, 2); /* far from everybody */
    read_at(y.s, 60000, 3);
    ends_as(y, "conflict/codes-differ A1;");
}

static void a_buffer_let_go_is_no_conflict(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    struct lm_event ev = reading_at(1001, "1", eid_of(1));
    strcpy(ev.reader, "front");
    apply(y.s, ev);
    ev = reading_at(1003, "1", eid_of(2));
    strcpy(ev.reader, "front");
    apply(y.s, ev);
    ends_as(y, "");
}

static void a_crowd_is_no_conflict(void **state)
{
    (void) state;
    struct yard y = yard_of(4);
    for (unsigned i = 1; i <= 4; i++)
        read_at(y.s, 100 * (long) i, i);
    ends_as(y, "");
}

static void followers_are_no_conflict(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, 0, 1);
    read_at(y.s, 200, 2);
    read_at(y.s, 1500, 2); /* the first went on, the second still stands there */
    ends_as(y, "");
}

static void two_lanes_at_once(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    struct lm_verdict v = apply(y.s, reading_at(500, "2", eid_of(1)));
    assert_int_equal(v.reasons, 1u << LM_TWO_LANES_AT_ONCE);
    assert_true(apply(y.s, reading_at(900, "1", eid_of(1))).repeat);
    struct lm_summary sum = ends_as(y, "duplicate/two-lanes-at-once A1;");
    assert_int_equal(sum.passes, 1);
}

static void through_another_lane_later(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    apply(y.s, reading_at(600000, "2", eid_of(1)));
    ends_as(y, "duplicate/same-animal-again A1;");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(missing_and_bounds),
        cmocka_unit_test(bounds_table),
        cmocka_unit_test(missing_only_after_the_close),
        cmocka_unit_test(repeats_are_one_pass),
        cmocka_unit_test(again_after_the_rearm_time),
        cmocka_unit_test(without_time_another_code_between_ends_a_pass),
        cmocka_unit_test(stranger),
        cmocka_unit_test(test_code_is_doubtful_too),
        cmocka_unit_test(unexpected_by_mob_and_status),
        cmocka_unit_test(sale_holds_everything),
        cmocka_unit_test(sighted_but_not_read),
        cmocka_unit_test(number_of_nobody),
        cmocka_unit_test(number_differs),
        cmocka_unit_test(number_agrees_with_zeros_dropped),
        cmocka_unit_test(number_for_a_stranger),
        cmocka_unit_test(two_devices_one_animal),
        cmocka_unit_test(codes_of_two_animals_in_one_pass),
        cmocka_unit_test(times_cut_to_seconds_say_less),
        cmocka_unit_test(a_buffer_let_go_is_no_conflict),
        cmocka_unit_test(a_crowd_is_no_conflict),
        cmocka_unit_test(followers_are_no_conflict),
        cmocka_unit_test(two_lanes_at_once),
        cmocka_unit_test(through_another_lane_later),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
