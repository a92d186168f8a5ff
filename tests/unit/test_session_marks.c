/* The session fold: shared codes, retired devices, doubt, undo, changes of the register. */
#include "flock.h"

static void shared_code_and_number(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    put(y.roll, animal_of("B1", 60, "0600"));
    put(y.roll, animal_of("B2", 60, "0601"));
    put(y.roll, animal_of("C1", 61, "0700"));
    put(y.roll, animal_of("C2", 62, "0700"));
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 1);
    assert_int_equal(read_at(y.s, 5000, 60).attention, LM_HOLD);
    read_at(y.s, 10000, 61);
    read_at(y.s, 90000, 60); /* the other one of the two */
    read_at(y.s, 95000, 62);
    ends_as(y, "duplicate/two-animals-one-code B1;duplicate/two-animals-one-number C1;");
}

static void a_shared_code_within_the_rearm_time_is_one_pass(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    put(y.roll, animal_of("A1", 1, "0001"));
    put(y.roll, animal_of("A2", 1, "0002"));
    put(y.roll, animal_of("A3", 3, "0003"));
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 1001, 1);
    read_at(y.s, 2002, 3);
    assert_true(read_at(y.s, 3003, 1).repeat);
    struct lm_summary sum = ends_as(y, "missing/not-seen A2;duplicate/two-animals-one-code A1;");
    assert_int_equal(sum.passes, 2);
}

static void a_shared_code_is_the_living_ones(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record rec = animal_of("GONE", 1, "0009");
    rec.status = LM_DEAD;
    put(y.roll, rec);
    put(y.roll, animal_of("A1", 1, "0001"));
    lm_roll_expect_mob(y.roll, NULL);
    assert_int_equal(read_at(y.s, 0, 1).attention, LM_GO);
    assert_int_equal(read_at(y.s, 90000, 1).animal, 1);
    ends_as(y, "duplicate/same-animal-again A1;");
}

static void a_called_number_settles_a_shared_code(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    put(y.roll, animal_of("A1", 1, "0001"));
    put(y.roll, animal_of("A2", 1, "0002"));
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 1);
    assert_int_equal(apply(y.s, call_at(500, "0002", eid_of(1))).animal, 1);
    struct lm_summary sum = ends_as(y, "missing/not-seen A1;duplicate/two-animals-one-code A1;");
    assert_int_equal(sum.present, 1);
    assert_int_equal(sum.identified, 1);
}

static void a_call_that_settled_a_shared_code_is_taken_back(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    put(y.roll, animal_of("A1", 1, "0001"));
    put(y.roll, animal_of("A2", 1, "0002"));
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 1);
    apply(y.s, call_at(500, "0002", eid_of(1)));
    apply(y.s, plain(LM_EVENT_UNDO));
    ends_as(y, "missing/not-seen A2;duplicate/two-animals-one-code A1;");
}

static void called_long_after_it_was_read(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, 0, 1);
    assert_int_equal(apply(y.s, call_at(5000, "0101", (struct lm_eid){0})).attention, LM_GO);
    read_at(y.s, 6000, 2);
    struct lm_verdict v = apply(y.s, call_at(400000, "0101", (struct lm_eid){0}));
    assert_int_equal(v.reasons, 1u << LM_SAME_ANIMAL_AGAIN);
    ends_as(y, "duplicate/same-animal-again A1;");
}

static void how_often_an_animal_came_past(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    apply(y.s, call_at(500, "0101", eid_of(1))); /* for that pass */
    read_at(y.s, 60000, 1);
    assert_int_equal(story_of(y.s).last.times, 2);
    apply(y.s, call_at(200000, "0101", (struct lm_eid){0})); /* the code is dead now */
    assert_int_equal(story_of(y.s).last.times, 3);
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_int_equal(story_of(y.s).last.times, 2);
    ends_as(y, "duplicate/same-animal-again A1;");
}

static void a_conflict_is_of_the_animal_that_was_read(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record sold = animal_of("SOLD", 1, "0009");
    sold.status = LM_SOLD;
    put(y.roll, animal_of("A1", 1, "0001"));
    put(y.roll, sold);
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 1);
    assert_int_equal(apply(y.s, call_at(500, "0055", eid_of(1))).animal, 0);
    ends_as(y, "conflict/number-differs A1;");
}

static void removed_number_called(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record rec = animal_of("A1", 1, "0101");
    rec.n_devices = 2;
    rec.devices[0].gone = true;
    rec.devices[1].eid = eid_of(2);
    strcpy(rec.devices[1].visual, "0201");
    put(y.roll, rec);
    lm_roll_expect_mob(y.roll, NULL);
    read_at(y.s, 0, 2);
    apply(y.s, call_at(500, "0101", eid_of(2)));
    apply(y.s, plain(LM_EVENT_CLOSE));
    struct story story = story_of(y.s);
    assert_string_equal(story.text, "retired/removed-device A1;");
    assert_int_equal(lm_eid_key(story.last.eid), lm_eid_key(eid_of(1)));
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static void removed_and_replaced_devices(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record rec = animal_of("A1", 1, "0101");
    rec.n_devices = 2;
    rec.devices[0].gone = true;
    rec.devices[1].eid = eid_of(2);
    strcpy(rec.devices[1].visual, "0201");
    put(y.roll, rec);
    rec = animal_of("A2", 3, "0103");
    struct lm_eid_fields f = {.animal = true, .retag = 2, .country = 999, .national = 3};
    assert_int_equal(lm_eid_pack(&f, &rec.devices[0].eid), LM_OK);
    put(y.roll, rec);
    lm_roll_expect_mob(y.roll, NULL);
    assert_int_equal(read_at(y.s, 0, 1).reasons, 1u << LM_REMOVED_DEVICE);
    f.retag = 1;
    struct lm_eid old;
    assert_int_equal(lm_eid_pack(&f, &old), LM_OK);
    assert_int_equal(apply(y.s, reading_at(5000, "1", old)).reasons, 1u << LM_REPLACED_BY_COUNTER);
    struct lm_summary sum = ends_as(y, "retired/removed-device A1;retired/replaced-by-counter A2;");
    assert_int_equal(sum.present, 2);
}

static void fifteen_digits_match_any_counter(void **state)
{
    (void) state;
    struct yard y = yard_of(0);
    struct lm_record rec = animal_of("A1", 3, "0103");
    struct lm_eid_fields f = {.animal = true, .retag = 2, .country = 999, .national = 3};
    assert_int_equal(lm_eid_pack(&f, &rec.devices[0].eid), LM_OK);
    put(y.roll, rec);
    lm_roll_expect_mob(y.roll, NULL);
    assert_int_equal(read_at(y.s, 0, 3).attention, LM_GO);
    ends_as(y, "");
}

static void doubtful_readings(void **state)
{
    (void) state;
    static const struct {
        const char *text, *story;
    } rows[] = {
        {"999999999999999", "doubtful/out-of-range 999999999999999;"},
        {"9.99E+14", "doubtful/damaged-text 9.99E+14;"},
        {"0032D6DC0402079F80406253B8040200", NULL}, /* a control bit is wrong */
        {"0032D6DC0402079F80406253BC040201", NULL}, /* a CRC bit is wrong */
        {"0000F9C000000001", "doubtful/not-animal A1;"},
        {"001000000000001", "unmatched/not-in-register 001000000000001;doubtful/unknown-country "
                            "001000000000001;"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct yard y = yard_of(1);
        struct lm_event ev = reading_at(0, "1", (struct lm_eid){0});
        lm_event_reading(&ev, rows[i].text, strlen(rows[i].text));
        apply(y.s, ev);
        apply(y.s, ev); /* the reader repeats itself */
        read_at(y.s, 5000, 1);
        apply(y.s, plain(LM_EVENT_CLOSE));
        struct story story = story_of(y.s);
        if (rows[i].story)
            assert_string_equal(story.text, rows[i].story);
        else
            assert_int_equal(story.sum.counts[LM_DOUBTFUL], 1);
        lm_session_free(y.s);
        lm_roll_free(y.roll);
    }
}

static void undo_takes_back_the_last_call(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    read_at(y.s, 0, 1);
    apply(y.s, heads_of(7));
    apply(y.s, call_at(1000, "0102", (struct lm_eid){0}));
    apply(y.s, heads_of(9));
    apply(y.s, plain(LM_EVENT_UNDO));
    struct lm_summary sum;
    lm_session_tally(y.s, &sum);
    assert_int_equal(sum.heads, 7);
    assert_int_equal(sum.present, 2);
    apply(y.s, plain(LM_EVENT_UNDO));
    lm_session_tally(y.s, &sum);
    assert_int_equal(sum.present, 1);
    apply(y.s, plain(LM_EVENT_UNDO));
    lm_session_tally(y.s, &sum);
    assert_false(sum.has_heads);
    struct lm_event ev = plain(LM_EVENT_UNDO);
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    ends_as(y, "missing/not-seen A2;");
}

static void register_change_counts_from_the_next_reading(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_eid fresh = eid_of(80);
    apply(y.s, reading_at(0, "1", fresh));
    struct lm_record rec = animal_of("A1", 80, "0101");
    struct lm_event ev = plain(LM_EVENT_REGISTER);
    ev.record = &rec;
    apply(y.s, ev);
    struct lm_verdict v = apply(y.s, reading_at(60000, "1", fresh));
    assert_int_equal(v.animal, 0);
    rec = animal_of("A2", 81, "0102");
    apply(y.s, ev); /* a kid tagged while the mob walks */
    struct lm_summary sum =
        ends_as(y, "missing/not-seen A2;unmatched/not-in-register 999000000000080;"
                   "doubtful/test-code 999000000000080;");
    assert_int_equal(sum.expected, 2);
    assert_int_equal(sum.present, 1);
}

static void makes_no_sense(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    ev.open = &open;
    apply(y.s, ev);
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    ev = call_at(0, " - ", (struct lm_eid){0});
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    read_at(y.s, 0, 1);
    apply(y.s, plain(LM_EVENT_CLOSE));
    ev = reading_at(9, "1", eid_of(1));
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    assert_string_equal(story_of(y.s).text, "");
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static void attention_can_be_set(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_session_options options;
    lm_session_defaults(&options);
    options.attention[LM_SAME_ANIMAL_AGAIN] = LM_HOLD;
    lm_session_free(y.s);
    y.s = lm_session_new(y.roll, &options);
    lm_session_lane_rearm(y.s, "1", 1000);
    read_at(y.s, 0, 1);
    assert_int_equal(read_at(y.s, 1500, 1).attention, LM_HOLD);
    ends_as(y, "duplicate/same-animal-again A1;");
}

static void heads_of_lanes_add_up(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_event ev = heads_of(10);
    apply(y.s, ev);
    strcpy(ev.lane, "2");
    ev.heads = 5;
    apply(y.s, ev);
    ev.heads = 6;
    apply(y.s, ev);
    struct lm_summary sum;
    lm_session_tally(y.s, &sum);
    assert_int_equal(sum.heads, 16);
    strcpy(ev.lane, ""); /* of all lanes together */
    ev.heads = 15;
    apply(y.s, ev);
    lm_session_tally(y.s, &sum);
    assert_int_equal(sum.heads, 15);
    ends_as(y, "missing/not-seen A1;");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shared_code_and_number),
        cmocka_unit_test(a_shared_code_within_the_rearm_time_is_one_pass),
        cmocka_unit_test(a_shared_code_is_the_living_ones),
        cmocka_unit_test(a_called_number_settles_a_shared_code),
        cmocka_unit_test(a_call_that_settled_a_shared_code_is_taken_back),
        cmocka_unit_test(called_long_after_it_was_read),
        cmocka_unit_test(how_often_an_animal_came_past),
        cmocka_unit_test(a_conflict_is_of_the_animal_that_was_read),
        cmocka_unit_test(removed_number_called),
        cmocka_unit_test(removed_and_replaced_devices),
        cmocka_unit_test(fifteen_digits_match_any_counter),
        cmocka_unit_test(doubtful_readings),
        cmocka_unit_test(undo_takes_back_the_last_call),
        cmocka_unit_test(register_change_counts_from_the_next_reading),
        cmocka_unit_test(makes_no_sense),
        cmocka_unit_test(attention_can_be_set),
        cmocka_unit_test(heads_of_lanes_add_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
