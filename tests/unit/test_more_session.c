/* Corners of a session: codes and numbers that many share, entries that change under it, tallies
 * at their bounds. */
#include "flock.h"

#include <stdlib.h>

static struct yard yard_over(struct lm_roll *roll)
{
    struct yard y = {.roll = roll};
    lm_roll_expect_mob(roll, NULL);
    y.s = lm_session_new(roll, NULL);
    assert_non_null(y.s);
    return y;
}

static void end(struct yard y)
{
    lm_session_free(y.s);
    lm_roll_free(y.roll);
}

static bool has(const struct lm_verdict *v, enum lm_reason reason)
{
    return (v->reasons >> reason & 1u) != 0;
}

static const char *who(const struct yard *y, struct lm_verdict v)
{
    return v.animal == LM_NO_ANIMAL ? "nobody" : lm_roll_animal(y->roll, v.animal).key;
}

/* 64 lanes have a name of their own, the others share the last. */
static void lanes_beyond_the_last(void **state)
{
    (void) state;
    struct yard y = yard_of(80);
    for (unsigned i = 1; i <= 80; i++) {
        char lane[16];
        snprintf(lane, sizeof lane, "lane %u", i);
        apply(y.s, reading_at((long) i * 100000, lane, eid_of(i)));
    }
    assert_int_equal(story_of(y.s).sum.present, 80);
    assert_true(lm_session_last_pass(y.s, "lane 63").bits == eid_of(63).bits);
    assert_true(lm_session_last_pass(y.s, "lane 64").bits == eid_of(80).bits);
    assert_false(lm_session_last_pass(y.s, "lane 65").known);
    assert_true(lm_session_last_pass(y.s, "").bits == eid_of(80).bits);
    apply(y.s, heads_of(3)); /* a lane that only heads were counted of has no pass */
    assert_false(lm_session_last_pass(y.s, "none").known);
    end(y);
    y = yard_of(1);
    assert_false(lm_session_last_pass(y.s, "").known);
    apply(y.s, heads_of(3));
    assert_false(lm_session_last_pass(y.s, "1").known);
    end(y);
}

/* A shared code's one pass goes to the animal whose number is called, where nothing speaks against
 * it. */
static void a_shared_code_and_a_number(void **state)
{
    (void) state;
    static const struct {
        unsigned passes;     /* of the code, a minute apart */
        bool b_expected;     /* else the second pass is A's too */
        const char *before;  /* called with the code before */
        const char *called;  /* then, with the code */
        const char *animal;  /* whose it is taken for */
        const char *present; /* who is present in the end */
    } rows[] = {
        {1, true, NULL, "0102", "B", "B"},
        {1, true, NULL, "0101", "A", "A"},
        {1, true, "0101", "0102", "B", "AB"}, /* A was called for it: it was A */
        {2, true, NULL, "0101", "A", "AB"},   /* two passes are two animals already */
        {2, true, NULL, "0102", "B", "AB"},
        {2, false, NULL, "0102", "B", "AB"}, /* A went by twice: which pass is B's cannot be told */
        {1, false, NULL, "0102", "B", "B"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record b = animal_of("B", 7, "0102");
        put(roll, animal_of("A", 7, "0101"));
        snprintf(b.mob, sizeof b.mob, "%s", rows[i].b_expected ? "" : "bucks");
        put(roll, b);
        struct yard y = yard_over(roll);
        if (!rows[i].b_expected)
            lm_roll_expect_keys(roll, (const char *const[]){"A"}, 1);
        for (unsigned k = 0; k < rows[i].passes; k++)
            read_at(y.s, 60000L * k, 7);
        if (rows[i].before)
            apply(y.s, call_at(61000, rows[i].before, eid_of(7)));
        struct lm_verdict v = apply(y.s, call_at(62000, rows[i].called, eid_of(7)));
        char present[3] = "";
        for (uint32_t k = 0; k < 2; k++)
            if (lm_session_seen(y.s, k))
                strcat(present, lm_roll_animal(roll, k).key);
        if (strcmp(who(&y, v), rows[i].animal) != 0 || strcmp(present, rows[i].present) != 0)
            fail_msg("row %zu: %s, present %s", i, who(&y, v), present);
        struct lm_summary sum;
        lm_session_tally(y.s, &sum);
        assert_int_equal(sum.identified, strlen(present));
        end(y);
    }
}

/* The sharer was entered while the mob walks: there is no seat for it yet. */
static void a_sharer_entered_meanwhile(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    read_at(y.s, 0, 1);
    for (unsigned i = 0; i < 60; i++) {
        char key[16], number[16];
        snprintf(key, sizeof key, "N%u", i);
        snprintf(number, sizeof number, "%u", 5000 + i);
        struct lm_record rec = animal_of(key, i == 59 ? 1 : 500 + i, number);
        struct lm_event ev = plain(LM_EVENT_REGISTER);
        ev.record = &rec;
        apply(y.s, ev);
    }
    struct lm_verdict v = apply(y.s, call_at(1000, "5059", eid_of(1)));
    assert_string_equal(who(&y, v), "N59");
    assert_true(lm_session_seen(y.s, 0)); /* it was read */
    assert_true(lm_session_seen(y.s, v.animal));
    end(y);
}

/* Who carries the code of a pass: worn goes before removed, read before unread. */
static void whose_pass_it_was(void **state)
{
    (void) state;
    static const struct {
        bool a_gone, b_gone;
        const char *a_number, *b_number, *called, *animal;
        enum lm_reason reason; /* LM_REASONS: none that matters */
    } rows[] = {
        {true, false, "0101", "0102", "0102", "B", LM_REASONS},
        {true, false, "0101", "0102", "0101", "B", LM_NUMBER_DIFFERS}, /* A wears it no more */
        {true, true, "0101", "0102", "0101", "A", LM_REMOVED_DEVICE},
        {false, true, "0101", "0102", "0102", "A", LM_NUMBER_DIFFERS},
        {false, true, "", "0102", "0999", "A", LM_REASONS}, /* A has no number to differ from */
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record a = animal_of("A", 7, rows[i].a_number);
        struct lm_record b = animal_of("B", 7, rows[i].b_number);
        a.devices[0].gone = rows[i].a_gone;
        b.devices[0].gone = rows[i].b_gone;
        put(roll, a);
        put(roll, b);
        struct yard y = yard_over(roll);
        struct lm_verdict v = apply(y.s, call_at(0, rows[i].called, eid_of(7)));
        if (strcmp(who(&y, v), rows[i].animal) != 0)
            fail_msg("row %zu: %s", i, who(&y, v));
        for (enum lm_reason k = 0; k < LM_REASONS; k++)
            if ((k == LM_NUMBER_DIFFERS || k == LM_REMOVED_DEVICE) &&
                has(&v, k) != (k == rows[i].reason))
                fail_msg("row %zu: reason %s", i, lm_reason_name(k));
        end(y);
    }
}

/* A removed number was called; then the entry forgets the device: the finding stays, its code goes.
 */
static void a_removed_device_forgotten(void **state)
{
    (void) state;
    for (int forget = 0; forget < 2; forget++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record rec = animal_of("A1", 1, "0101");
        rec.n_devices = 3;
        rec.devices[1] = animal_of("", 5, "0999").devices[0];
        rec.devices[2] = animal_of("", 6, "0777").devices[0];
        rec.devices[1].gone = rec.devices[2].gone = true;
        put(roll, rec);
        struct yard y = yard_over(roll);
        apply(y.s, call_at(0, "777", (struct lm_eid){0}));
        if (forget) {
            struct lm_event ev = plain(LM_EVENT_REGISTER);
            rec.n_devices = 2;
            ev.record = &rec;
            apply(y.s, ev);
        }
        struct story story = story_of(y.s);
        assert_non_null(strstr(story.text, "retired/removed-device A1;"));
        assert_int_equal(story.last.reason, LM_REMOVED_DEVICE);
        assert_int_equal(story.last.eid.known != LM_EID_NONE, !forget);
        if (!forget)
            assert_true(lm_eid_key(story.last.eid) == lm_eid_key(eid_of(6)));
        end(y);
    }
}

/* A number that contradicts a code: the code's wearer is named, not who wore it once. */
static void a_conflict_names_the_wearer(void **state)
{
    (void) state;
    for (int last_gone = 0; last_gone < 2; last_gone++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record old = animal_of("OLD", 7, "0801"), new = animal_of("NEW", 7, "0802");
        old.devices[0].gone = true;
        put(roll, last_gone ? new : old);
        put(roll, last_gone ? old : new);
        struct yard y = yard_over(roll);
        read_at(y.s, 0, 7);
        apply(y.s, call_at(500, "0999", eid_of(7)));
        assert_non_null(strstr(story_of(y.s).text, "conflict/number-differs NEW;"));
        end(y);
    }
}

/* Of one code or number 64 entries are looked at. */
static void more_sharers_than_are_looked_at(void **state)
{
    (void) state;
    static const struct {
        unsigned dead; /* sharers that are dead, before the last one, which lives */
        bool shared;
    } rows[] = {{62, true}, {63, false}, {70, false}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_roll *roll = lm_roll_new();
        put(roll, animal_of("FIRST", 7, "0700"));
        for (unsigned k = 0; k <= rows[i].dead; k++) {
            char key[16];
            snprintf(key, sizeof key, "D%u", k);
            struct lm_record rec = animal_of(key, 7, "0700");
            rec.status = k < rows[i].dead ? LM_DEAD : LM_ON_FARM;
            put(roll, rec);
        }
        struct yard y = yard_over(roll);
        struct lm_verdict v = read_at(y.s, 0, 7);
        assert_string_equal(who(&y, v), "FIRST");
        assert_int_equal(has(&v, LM_TWO_ANIMALS_ONE_CODE), rows[i].shared);
        assert_int_equal(has(&v, LM_TWO_ANIMALS_ONE_NUMBER), rows[i].shared);
        v = read_at(y.s, 90000, 7); /* FIRST was seen: the other one, if it is looked at */
        assert_int_equal(strcmp(who(&y, v), "FIRST") != 0, rows[i].shared);
        end(y);
        y = yard_over(lm_roll_new());
        for (unsigned k = 0; k <= rows[i].dead; k++) { /* the number is on dead ones but the last */
            char key[16];
            snprintf(key, sizeof key, "D%u", k);
            struct lm_record rec = animal_of(key, 7, "0700");
            rec.devices[0].gone = k < rows[i].dead;
            put(y.roll, rec);
        }
        v = apply(y.s, call_at(0, "0700", (struct lm_eid){0}));
        assert_int_equal(has(&v, LM_REMOVED_DEVICE), rows[i].dead >= 64);
        v = apply(y.s, call_at(500, "0700", eid_of(7)));
        assert_int_equal(has(&v, LM_REMOVED_DEVICE), rows[i].dead >= 64);
        end(y);
    }
}

/* What is known of how often a thing was so stops at what its place holds. */
static void very_often(void **state)
{
    (void) state;
    struct yard y = yard_of(2);
    for (long i = 0; i <= UINT16_MAX + 1; i++)
        apply(y.s, reading_at(i * 60000, "1", eid_of(1)));
    assert_int_equal(story_of(y.s).last.times, UINT16_MAX);
    for (long i = 0; i <= UINT16_MAX + 1; i++)
        apply(y.s, call_at(1, "0102", (struct lm_eid){0}));
    struct story story = story_of(y.s);
    assert_non_null(strstr(story.text, "unread/no-reading A2;"));
    assert_int_equal(story.last.times, UINT16_MAX);
    end(y);
}

/* Numbers as long as there is room for are told whole. */
static void the_longest_numbers(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    char number[LM_VISUAL_MAX + 1], want[400];
    memset(number, '8', LM_VISUAL_MAX);
    number[LM_VISUAL_MAX] = '\0';
    struct lm_record rec = animal_of("A1", 1, number);
    rec.devices[0].gone = true;
    put(roll, rec);
    struct yard y = yard_over(roll);
    apply(y.s, call_at(0, number, (struct lm_eid){0}));
    number[LM_VISUAL_MAX - 1] = '7';
    apply(y.s, call_at(60000, number, (struct lm_eid){0}));
    snprintf(want, sizeof want, "unmatched/not-in-register %s;retired/removed-device A1;", number);
    struct story story = story_of(y.s);
    assert_string_equal(story.text, want);
    assert_true(lm_eid_key(story.last.eid) == lm_eid_key(eid_of(1)));
    end(y);
}

/* The same unknown number is one finding, within a thousand calls; taken back it is none. */
static void an_unknown_number_again_and_again(void **state)
{
    (void) state;
    static const struct {
        unsigned between;
        unsigned findings; /* of 777 */
        unsigned times;    /* of the last one told */
    } rows[] = {{0, 1, 2}, {1023, 1, 2}, {1024, 2, 1}, {1200, 2, 1}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = yard_of(1);
        apply(y.s, call_at(-1, "777", (struct lm_eid){0}));
        for (unsigned k = 0; k < rows[i].between; k++)
            apply(y.s, call_at(-1, "0101", (struct lm_eid){0}));
        apply(y.s, call_at(-1, "7-77", (struct lm_eid){0}));
        struct story story = story_of(y.s);
        assert_int_equal(story.sum.counts[LM_UNMATCHED], rows[i].findings);
        apply(y.s, plain(LM_EVENT_UNDO));
        assert_int_equal(story_of(y.s).sum.counts[LM_UNMATCHED], 1);
        end(y);
    }
}

/* Two passes that begin and end together: not where one has no time, and with whole seconds only
 * where the lane is empty for three. */
static void together_or_not(void **state)
{
    (void) state;
    static const struct {
        long first, second, second_again, third; /* ms; -1: no time, -2: none */
        const char *reader[2];
        bool together;
    } rows[] = {
        {0, 100, -2, -2, {"", ""}, true},
        {1, 251, -2, -2, {"", ""}, true},
        {1, 252, -2, -2, {"", ""}, false},
        {0, -1, -2, -2, {"", ""}, false},
        {-1, 100, -2, -2, {"", ""}, false},
        {0, 100, -2, 300, {"", ""}, false},      /* a third one as near */
        {0, 100, -2, 400, {"", ""}, true},       /* further than a quarter of a second */
        {1000, 1000, -2, 4000, {"", ""}, false}, /* whole seconds say less: three seconds */
        {1000, 1000, -2, 4001, {"", ""}, true},
        {1000, 1000, 1001, 4000, {"", ""}, true}, /* a time that is not whole */
        {1000, 1004, -2, -2, {"a", "a"}, false},  /* a reader lets its buffer go */
        {1000, 1004, -2, -2, {"a", "b"}, true},
        {1000, 1004, -2, -2, {"a", ""}, true},
        {1000, 1009, -2, -2, {"a", "a"}, false},
        {1000, 1010, -2, -2, {"a", "a"}, true},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = yard_of(3);
        for (int k = 0; k < 2; k++) {
            struct lm_event ev =
                reading_at(k ? rows[i].second : rows[i].first, "1", eid_of((unsigned) k + 1));
            snprintf(ev.reader, sizeof ev.reader, "%s", rows[i].reader[k]);
            apply(y.s, ev);
        }
        if (rows[i].second_again > -2)
            read_at(y.s, rows[i].second_again, 2);
        if (rows[i].third > -2)
            read_at(y.s, rows[i].third, 3);
        apply(y.s, plain(LM_EVENT_CLOSE));
        if ((strstr(story_of(y.s).text, "codes-differ") != NULL) != rows[i].together)
            fail_msg("row %zu", i);
        end(y);
    }
}

/* Before the two passes an animal whose time is not known: it says nothing against them. */
static void one_without_a_time_before(void **state)
{
    (void) state;
    struct yard y = yard_of(3);
    read_at(y.s, -1, 3);
    read_at(y.s, 1000, 1);
    read_at(y.s, 1100, 2);
    assert_non_null(strstr(story_of(y.s).text, "codes-differ"));
    end(y);
    for (long before = 749; before <= 751; before++) { /* with one, a quarter of a second decides */
        y = yard_of(3);
        read_at(y.s, before, 3);
        read_at(y.s, 1000, 1);
        read_at(y.s, 1100, 2);
        assert_int_equal(strstr(story_of(y.s).text, "codes-differ") != NULL, before < 750);
        end(y);
    }
}

/* A device that a higher counter replaced is news even beside a removed entry of the same code. */
static void an_older_counter(void **state)
{
    (void) state;
    struct lm_eid_fields f = {.animal = true, .retag = 2, .country = 999, .national = 7};
    struct lm_eid worn, read;
    assert_int_equal(lm_eid_pack(&f, &worn), LM_OK);
    f.retag = 1;
    assert_int_equal(lm_eid_pack(&f, &read), LM_OK);
    for (int known = 0; known < 2; known++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record a = animal_of("A", 7, "0101"), b = animal_of("B", 7, "0102");
        if (known) /* else the register knows no counter to compare with */
            a.devices[0].eid = worn;
        b.devices[0].gone = true;
        put(roll, a);
        put(roll, b);
        struct yard y = yard_over(roll);
        struct lm_verdict v = apply(y.s, reading_at(0, "1", read));
        assert_string_equal(who(&y, v), "A");
        assert_int_equal(has(&v, LM_REPLACED_BY_COUNTER), known);
        assert_false(has(&v, LM_REMOVED_DEVICE));
        end(y);
    }
}

/* A call taken back leaves nobody: the next pass of the shared code may be that animal. */
static void seen_no_more(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    put(roll, animal_of("A", 7, "0101"));
    put(roll, animal_of("B", 7, "0102"));
    struct yard y = yard_over(roll);
    apply(y.s, call_at(0, "0101", (struct lm_eid){0}));
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_string_equal(who(&y, read_at(y.s, 100000, 7)), "A");
    assert_string_equal(who(&y, read_at(y.s, 200000, 7)), "B");
    end(y);
    roll = lm_roll_new();
    put(roll, animal_of("A", 1, "0101"));
    put(roll, animal_of("B", 2, "0101"));
    y = yard_over(roll);
    apply(y.s, call_at(0, "0101", (struct lm_eid){0}));
    apply(y.s, plain(LM_EVENT_UNDO));
    assert_string_equal(who(&y, apply(y.s, call_at(1, "0101", (struct lm_eid){0}))), "A");
    assert_string_equal(who(&y, apply(y.s, call_at(2, "0101", (struct lm_eid){0}))), "B");
    end(y);
}

static void events_that_make_no_sense(void **state)
{
    (void) state;
    struct yard y = yard_of(1);
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG); /* opened with nothing */
    ev.open = &open;
    apply(y.s, ev);
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG); /* a second time */
    struct lm_event bare = reading_at(0, "1", (struct lm_eid){0});
    struct lm_verdict v = apply(y.s, bare); /* a reading of no code is a damaged text */
    assert_true(has(&v, LM_DAMAGED_TEXT));
    apply(y.s, plain(LM_EVENT_CLOSE));
    ev = reading_at(0, "1", eid_of(1));
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_EARG);
    struct lm_record rec = animal_of("A1", 1, "0101");
    ev = plain(LM_EVENT_REGISTER);
    ev.record = &rec;
    assert_int_equal(lm_session_apply(y.s, &ev, NULL), LM_OK);
    end(y);
}

/* In a sale of a lot, or of named animals, the others are of another lot; else of another mob. */
static void of_another_lot_or_mob(void **state)
{
    (void) state;
    static const struct {
        enum lm_session_kind kind;
        const char *lot;
        enum lm_reason reason;
    } rows[] = {
        {LM_SALE, "", LM_OTHER_LOT}, {LM_WALK, "L1", LM_OTHER_LOT}, {LM_WALK, "", LM_OTHER_MOB}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct yard y = yard_of(2);
        const char *const keys[] = {"A1"};
        struct lm_open open = {.kind = rows[i].kind, .keys = keys, .n_keys = 1};
        struct lm_event ev = plain(LM_EVENT_OPEN);
        snprintf(open.lot, sizeof open.lot, "%s", rows[i].lot);
        ev.open = &open;
        apply(y.s, ev);
        struct lm_verdict v = read_at(y.s, 0, 2);
        assert_int_equal(v.reasons, 1u << rows[i].reason);
        char want[80];
        snprintf(want, sizeof want, "unexpected/%s A2;", lm_reason_name(rows[i].reason));
        assert_string_equal(story_of(y.s).text, want);
        end(y);
    }
}

/* Of several devices of an animal, the first that it wears with what is shared tells of it. */
static void which_device_tells_what_is_shared(void **state)
{
    (void) state;
    static const struct {
        unsigned code; /* of P's first device; its second has code 70 and number 0700 */
        const char *number;
        bool gone;
        const char *story;
    } rows[] = {
        {1, "0111", false, "duplicate/two-animals-one-code P;duplicate/two-animals-one-number P;"},
        {70, "0700", true, "duplicate/two-animals-one-code P;duplicate/two-animals-one-number P;"},
        {70, "0700", false, "duplicate/two-animals-one-code P;duplicate/two-animals-one-number P;"},
        {70, "0111", false, "duplicate/two-animals-one-code P;duplicate/two-animals-one-number P;"},
        {1, "0700", false, "duplicate/two-animals-one-code P;duplicate/two-animals-one-number P;"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_roll *roll = lm_roll_new();
        struct lm_record p = animal_of("P", rows[i].code, rows[i].number);
        p.devices[0].gone = rows[i].gone;
        p.devices[1] = animal_of("", 70, "0700").devices[0];
        p.n_devices = 2;
        put(roll, p);
        put(roll, animal_of("Q", 70, "0700"));
        struct yard y = yard_over(roll);
        if (strcmp(story_of(y.s).text, rows[i].story) != 0)
            fail_msg("row %zu: %s", i, story_of(y.s).text);
        end(y);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lanes_beyond_the_last),
        cmocka_unit_test(a_shared_code_and_a_number),
        cmocka_unit_test(a_sharer_entered_meanwhile),
        cmocka_unit_test(whose_pass_it_was),
        cmocka_unit_test(a_removed_device_forgotten),
        cmocka_unit_test(a_conflict_names_the_wearer),
        cmocka_unit_test(more_sharers_than_are_looked_at),
        cmocka_unit_test(very_often),
        cmocka_unit_test(the_longest_numbers),
        cmocka_unit_test(an_unknown_number_again_and_again),
        cmocka_unit_test(together_or_not),
        cmocka_unit_test(one_without_a_time_before),
        cmocka_unit_test(an_older_counter),
        cmocka_unit_test(seen_no_more),
        cmocka_unit_test(events_that_make_no_sense),
        cmocka_unit_test(of_another_lot_or_mob),
        cmocka_unit_test(which_device_tells_what_is_shared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
