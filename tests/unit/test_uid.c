/* Chips known by their UID: the code of kind LM_EID_UID, in text, on event lines, in the roll and
 * in a session. The journal's part is in test_uid_store.c. */
#include "flock.h"

#include "lugmark/eventline.h"

#include <stdlib.h>

static struct lm_eid uid_of(const char *hex)
{
    struct lm_eid eid = {0};
    assert_int_equal(lm_eid_from_uid(hex, strlen(hex), &eid), LM_OK);
    return eid;
}

/* --- the code --- */

static void takes_what_chips_have(void **state)
{
    (void) state;
    static const struct {
        const char *hex;
        enum lm_err err;
        uint64_t bits;
        const char *text;
    } table[] = {
        {"04A1B2C3D4E5F6", LM_OK, UINT64_C(0x04A1B2C3D4E5F6), "uid:04A1B2C3D4E5F6"},
        {"04:a1:b2:c3:d4:e5:f6", LM_OK, UINT64_C(0x04A1B2C3D4E5F6), "uid:04A1B2C3D4E5F6"},
        {"04-A1 B2C3:D4E5F6", LM_OK, UINT64_C(0x04A1B2C3D4E5F6), "uid:04A1B2C3D4E5F6"},
        {"00000001", LM_OK, 1, "uid:00000001"},
        {"DEADBEEF", LM_OK, UINT64_C(0xDEADBEEF), "uid:DEADBEEF"},
        {"01000000000000", LM_OK, UINT64_C(0x01000000000000), "uid:01000000000000"},
        {"E004000000000001", LM_OK, UINT64_C(0xE004000000000001), "uid:E004000000000001"},
        {"00A1B2C3D4E5F6", LM_ERANGE, 0, ""}, /* no maker has number 0 */
        {"6004000000000001", LM_ERANGE, 0, ""},
        {"00000000", LM_ERANGE, 0, ""},
        {"A1B2C3", LM_ERANGE, 0, ""},
        {"A1B2C3D4E5", LM_ERANGE, 0, ""},
        {"04A1B2C3D4E5F6070809", LM_ERANGE, 0, ""}, /* ten bytes */
        {"", LM_ERANGE, 0, ""},
        {"04A1B2C3D4E5F", LM_EFRAME, 0, ""},
        {"04A1B2C3D4E5FG", LM_EFRAME, 0, ""},
        {":04A1B2C3", LM_EFRAME, 0, ""},
        {"04::A1B2C3", LM_EFRAME, 0, ""},
        {"04A1B2C3:", LM_EFRAME, 0, ""},
    };
    char text[LM_EID_TEXT_SIZE];
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct lm_eid eid = {0};
        assert_int_equal(lm_eid_from_uid(table[i].hex, strlen(table[i].hex), &eid), table[i].err);
        assert_true(eid.bits == table[i].bits);
        assert_string_equal(lm_eid_format(eid, text), table[i].text);
    }
}

static void keys_of_chips_and_codes_never_meet(void **state)
{
    (void) state;
    static const char *const uids[] = {"00000001", "FFFFFFFF", "01000000000000", "FFFFFFFFFFFFFF",
        "E000000000000000", "E0FFFFFFFFFFFFFF"};
    struct lm_eid all[8];
    for (size_t i = 0; i < 6; i++)
        all[i] = uid_of(uids[i]);
    assert_int_equal(lm_eid_make(0, 1, &all[6]), LM_OK);
    assert_int_equal(lm_eid_make(LM_COUNTRY_MAX, LM_NATIONAL_MAX, &all[7]), LM_OK);
    for (size_t i = 0; i < 8; i++) {
        for (size_t k = 0; k < i; k++)
            assert_true(lm_eid_key(all[i]) != lm_eid_key(all[k]));
        struct lm_eid back = lm_eid_from_key(lm_eid_key(all[i]));
        assert_int_equal(back.known, all[i].known);
        assert_true(back.bits == all[i].bits);
    }
    assert_int_equal(lm_eid_from_key(0).known, LM_EID_NONE);
    assert_int_equal(lm_eid_retag(uid_of("E004000000000001")), 0);
    struct lm_eid_fields f = lm_eid_unpack(uid_of("E004000000000001"));
    assert_true(!f.animal && !f.retag && !f.country && !f.national && !f.data_block);
    assert_true(lm_eid_uid_is_random(uid_of("08A1B2C3")));
    assert_false(lm_eid_uid_is_random(uid_of("04A1B2C3")));
    assert_false(lm_eid_uid_is_random(uid_of("080000000000A1")));
    assert_int_equal(lm_eid_uid_bytes(uid_of("04A1B2C3")), 4);
    assert_int_equal(lm_eid_uid_bytes(eid_of(1)), 0);
}

static void decodes_with_the_word_before(void **state)
{
    (void) state;
    struct lm_decoded d;
    struct lm_problem p;
    static const struct {
        const char *text;
        enum lm_err err;
        enum lm_code_form form;
    } table[] = {
        {"uid:04A1B2C3D4E5F6", LM_OK, LM_FORM_UID},
        {" UID: 04:a1:b2:c3:d4:e5:f6\r\n", LM_OK, LM_FORM_UID},
        {"uid:", LM_EFRAME, LM_FORM_UID},
        {"uid:04A", LM_EFRAME, LM_FORM_UID},
        {"uid:04A1B2", LM_ERANGE, LM_FORM_UID},
        {"uid", LM_EFRAME, LM_FORM_NONE},
        {"04A1B2C3D4E5F6", LM_EFRAME, LM_FORM_NONE},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        p = (struct lm_problem){.err = LM_OK};
        assert_int_equal(lm_decode(table[i].text, strlen(table[i].text), &d, &p), table[i].err);
        assert_int_equal(d.form, table[i].form);
        assert_int_equal(d.eid.known, table[i].err == LM_OK ? LM_EID_UID : LM_EID_NONE);
        assert_int_equal(p.mend[0] != '\0', table[i].err != LM_OK);
    }
    assert_string_equal(lm_code_form_name(LM_FORM_UID), "UID of a 13.56 MHz chip");
}

static void goes_through_event_lines(void **state)
{
    (void) state;
    struct lm_eventline *store = lm_eventline_new();
    struct lm_event ev, back;
    struct lm_problem p;
    static const char *const uids[] = {"00000001", "04A1B2C3D4E5F6", "E004000000000001"};
    for (size_t i = 0; i < 3; i++) {
        ev = reading_at(1000, "1", uid_of(uids[i]));
        char *line = lm_eventline_text(&ev), want[64];
        snprintf(want, sizeof want, "\"reading\":\"uid:%s\"", uids[i]);
        assert_non_null(strstr(line, want));
        assert_int_equal(lm_eventline_parse(store, line, strlen(line), &back, &p), LM_OK);
        assert_int_equal(back.eid.known, LM_EID_UID);
        assert_true(back.eid.bits == ev.eid.bits && back.doubt == LM_DOUBT_NONE);
        free(line);
        ev = call_at(1000, "0417", uid_of(uids[i]));
        line = lm_eventline_text(&ev);
        assert_int_equal(lm_eventline_parse(store, line, strlen(line), &back, &p), LM_OK);
        assert_true(lm_eid_key(back.eid) == lm_eid_key(ev.eid));
        free(line);
    }
    static const char bad[] =
        "{\"register\":{\"animal\":\"A\",\"devices\":[{\"eid\":\"uid:00000001\"}]}}";
    assert_int_equal(lm_eventline_parse(store, bad, strlen(bad), &back, &p), LM_EINPUT);
    assert_non_null(strstr(p.mend, "\"uid\""));
    lm_eventline_free(store);
}

/* --- the roll --- */

/** An animal with a code and a chip in its first device, and a second device with a chip alone. */
static struct lm_record chipped(
    const char *key, unsigned national, const char *uid, const char *uid2)
{
    struct lm_record rec = animal_of(key, national, "0417");
    snprintf(rec.devices[0].uid, sizeof rec.devices[0].uid, "%s", uid);
    snprintf(rec.devices[1].uid, sizeof rec.devices[1].uid, "%s", uid2);
    rec.devices[1].form = LM_LEG_BAND;
    rec.n_devices = 2;
    return rec;
}

static void check_chipped(const struct lm_roll *roll)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    uint32_t a = lm_roll_by_key(roll, "A1");
    assert_true(lm_roll_code_first(roll, uid_of("04A1B2C3D4E5F6"), &it, &d));
    assert_int_equal(d.animal, a);
    assert_int_equal(d.eid.known, LM_EID_UID);
    assert_string_equal(d.visual, "0417");
    assert_false(lm_roll_code_next(roll, &it, &d));
    assert_true(lm_roll_code_first(roll, uid_of("DEADBEEF"), &it, &d));
    assert_int_equal(d.animal, a);
    assert_int_equal(d.form, LM_LEG_BAND);
    assert_true(lm_roll_code_first(roll, eid_of(1), &it, &d));
    assert_int_equal(d.eid.known, LM_EID_CODE);
    /* The chips are in no list. */
    assert_int_equal(lm_roll_animal(roll, a).n_devices, 2);
    assert_int_equal(lm_roll_device(roll, a, 0).eid.known, LM_EID_CODE);
    assert_int_equal(lm_roll_device(roll, a, 1).eid.known, LM_EID_NONE);
    assert_true(lm_roll_visual_first(roll, "0417", &it, &d));
    assert_int_equal(d.eid.known, LM_EID_CODE);
    assert_false(lm_roll_visual_next(roll, &it, &d));
}

static void finds_an_animal_by_its_chips(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    put(roll, animal_of("A0", 0xDEADBEEF, "0418")); /* the number of a chip as a code */
    put(roll, chipped("A1", 1, "04A1B2C3D4E5F6", "DEADBEEF"));
    put(roll, animal_of("A2", 2, "0419"));
    check_chipped(roll);
    assert_int_equal(lm_roll_devices(roll), 4);
    assert_true(lm_roll_code_alone(roll, 1, 0));
    assert_true(lm_roll_visual_alone(roll, 1, 0)); /* its hidden row carries no number */
    put(roll, chipped("A1", 1, "04A1B2C3D4E5F6", "DEADBEEF")); /* put again: as before */
    check_chipped(roll);
    assert_int_equal(lm_roll_devices(roll), 4);
    struct lm_roll_hits it;
    struct lm_roll_device d;
    put(roll, chipped("A1", 1, "", "ABCDEF")); /* one chip gone, one that no reader can give */
    assert_false(lm_roll_code_first(roll, uid_of("04A1B2C3D4E5F6"), &it, &d));
    assert_false(lm_roll_code_first(roll, uid_of("DEADBEEF"), &it, &d));
    assert_true(lm_roll_code_first(roll, eid_of(0xDEADBEEF), &it, &d));
    lm_roll_free(roll);
    roll = lm_roll_new();
    assert_int_equal(lm_roll_load_begin(roll, 1, 1), LM_OK); /* the hint is too small */
    put(roll, chipped("A1", 1, "04A1B2C3D4E5F6", "DEADBEEF"));
    put(roll, animal_of("A2", 2, "0418"));
    assert_int_equal(lm_roll_load_end(roll), LM_OK);
    check_chipped(roll);
    assert_int_equal(lm_roll_devices(roll), 3);
    lm_roll_free(roll);
}

static void many_chips(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    struct lm_record rec = animal_of("FULL", 0, "");
    rec.n_devices = LM_DEVICES_MAX;
    for (unsigned k = 0; k < LM_DEVICES_MAX; k++)
        snprintf(rec.devices[k].uid, sizeof rec.devices[k].uid, "%08X", 0x1000 + k);
    put(roll, rec);
    put(roll, rec);
    char hex[9];
    for (unsigned k = 0; k < LM_DEVICES_MAX; k++) {
        snprintf(hex, sizeof hex, "%08X", 0x1000 + k);
        assert_true(lm_roll_code_first(roll, uid_of(hex), &it, &d));
        assert_false(lm_roll_code_next(roll, &it, &d));
    }
    assert_int_equal(lm_roll_devices(roll), LM_DEVICES_MAX);
    lm_roll_free(roll);
}

/* --- a session --- */

static struct lm_session *walk(struct lm_roll *roll)
{
    struct lm_session *s = lm_session_new(roll, NULL);
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    ev.open = &open;
    lm_roll_expect_mob(roll, NULL);
    apply(s, ev);
    return s;
}

static void a_chip_counts_its_animal_once(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    put(roll, chipped("A1", 1, "04A1B2C3D4E5F6", "DEADBEEF"));
    struct lm_session *s = walk(roll);
    struct lm_verdict v = apply(s, reading_at(1000, "1", uid_of("04A1B2C3D4E5F6")));
    assert_int_equal(v.animal, 0);
    assert_int_equal(v.attention, LM_GO);
    assert_true(v.new_pass);
    v = apply(s, reading_at(1100, "1", uid_of("DEADBEEF")));
    assert_true(v.repeat);
    v = read_at(s, 1200, 1);
    assert_true(v.repeat);
    apply(s, plain(LM_EVENT_CLOSE));
    struct story story = story_of(s);
    assert_string_equal(story.text, "");
    assert_int_equal(story.sum.present, 1);
    assert_int_equal(story.sum.passes, 1);
    lm_session_free(s);
    lm_roll_free(roll);
}

static void a_strange_chip_is_unmatched_and_nothing_else(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    put(roll, animal_of("A1", 1, "0417"));
    struct lm_session *s = walk(roll);
    struct lm_verdict v = apply(s, reading_at(1000, "1", uid_of("00000001")));
    assert_int_equal(v.reasons, 1u << LM_NOT_IN_REGISTER); /* no test code, no unknown country */
    apply(s, reading_at(1100, "1", uid_of("00000001")));
    apply(s, reading_at(2000, "1", uid_of("E004000000000001")));
    struct lm_eid code;
    assert_int_equal(lm_eid_make(276, 1, &code), LM_OK); /* a stranger whose key is near */
    apply(s, reading_at(3000, "1", code));
    for (unsigned i = 2; i < 200; i++) { /* the table of strangers grows on the way */
        char hex[9];
        snprintf(hex, sizeof hex, "%08X", i);
        apply(s, reading_at(4000 + (long) i, "1", uid_of(hex)));
        apply(s, reading_at(4000 + (long) i, "1", uid_of(hex)));
    }
    struct story story = story_of(s);
    assert_int_equal(story.sum.counts[LM_UNMATCHED], 201);
    assert_int_equal(story.sum.counts[LM_DOUBTFUL], 0);
    assert_non_null(strstr(story.text, "unmatched/not-in-register uid:00000001;"));
    assert_non_null(strstr(story.text, "uid:E004000000000001;"));
    lm_session_free(s);
    lm_roll_free(roll);
}

static void a_removed_chip_and_a_number_called(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = chipped("A1", 1, "04A1B2C3D4E5F6", "DEADBEEF");
    rec.devices[1].gone = true;
    put(roll, rec);
    put(roll, animal_of("A2", 2, "0500"));
    struct lm_session *s = walk(roll);
    struct lm_verdict v = apply(s, reading_at(1000, "1", uid_of("DEADBEEF")));
    assert_int_equal(v.animal, 0);
    assert_true(v.reasons & 1u << LM_REMOVED_DEVICE);
    v = apply(s, reading_at(2000, "1", uid_of("04A1B2C3D4E5F6")));
    v = apply(s, call_at(2100, "0417", uid_of("04A1B2C3D4E5F6")));
    assert_int_equal(v.attention, LM_GO);
    v = apply(s, call_at(2200, "0500", uid_of("04A1B2C3D4E5F6")));
    assert_true(v.reasons & 1u << LM_NUMBER_DIFFERS);
    assert_true(lm_eid_key(lm_session_last_pass(s, "1")) == lm_eid_key(uid_of("04A1B2C3D4E5F6")));
    struct story story = story_of(s);
    assert_non_null(strstr(story.text, "conflict/number-differs A1;"));
    assert_non_null(strstr(story.text, "retired/removed-device A1;"));
    lm_session_free(s);
    lm_roll_free(roll);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_what_chips_have),
        cmocka_unit_test(keys_of_chips_and_codes_never_meet),
        cmocka_unit_test(decodes_with_the_word_before),
        cmocka_unit_test(goes_through_event_lines),
        cmocka_unit_test(finds_an_animal_by_its_chips),
        cmocka_unit_test(many_chips),
        cmocka_unit_test(a_chip_counts_its_animal_once),
        cmocka_unit_test(a_strange_chip_is_unmatched_and_nothing_else),
        cmocka_unit_test(a_removed_chip_and_a_number_called),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
