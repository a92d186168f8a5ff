/** @file test_event.c
 * Readings out of any text; names of sessions.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "lugmark/event.h"

static void readings(void **state)
{
    (void) state;
    static const struct {
        const char *text;
        enum lm_doubt doubt;
        const char *digits, *kept;
        bool cut;
    } cases[] = {
        {"999000000012345", LM_DOUBT_NONE, "999000000012345", "", false},
        {"8000F9C00001B669", LM_DOUBT_NONE, "999000000112233", "", false},
        {"0032D6DC0402079F80406253B8040201", LM_DOUBT_NONE, "999000000112233", "", false},
        {"0032D6DC0402079F80406253B8040200", LM_DOUBT_BAD_CHECK, "",
            "0032D6DC0402079F80406253B8040200", false},
        {"999999999999999", LM_DOUBT_OUT_OF_RANGE, "", "999999999999999", false},
        {"000000000000000", LM_DOUBT_OUT_OF_RANGE, "", "000000000000000", false},
        {"9.99E+14", LM_DOUBT_DAMAGED, "", "9.99E+14", false},
        {"0826000000000001", LM_DOUBT_DAMAGED, "", "0826000000000001", false},
        {" 36000000012345 ", LM_DOUBT_DAMAGED, "", "36000000012345", false},
        {"n0ise\033[2J", LM_DOUBT_DAMAGED, "", "n0ise?[2J", true},
        {"", LM_DOUBT_DAMAGED, "", "", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_event ev;
        char digits[LM_EID_TEXT_SIZE];
        memset(&ev, 0, sizeof ev);
        ev = (struct lm_event){.kind = LM_EVENT_HEADS,
            .seq = 5,
            .t_ms = 6,
            .clock_ms = 7,
            .lane = "1",
            .reader = "front",
            .eid = {1, LM_EID_FULL},
            .doubt = LM_DOUBT_BAD_CHECK,
            .text = "old",
            .cut = true};
        lm_event_reading(&ev, cases[i].text, strlen(cases[i].text));
        assert_int_equal(ev.kind, LM_EVENT_READING);
        assert_int_equal(ev.doubt, cases[i].doubt);
        assert_string_equal(lm_eid_format(ev.eid, digits), cases[i].digits);
        assert_true(cases[i].doubt == LM_DOUBT_NONE || ev.eid.bits == 0);
        assert_string_equal(ev.text, cases[i].kept);
        assert_int_equal(ev.cut, cases[i].cut);
        assert_true(ev.seq == 5 && ev.t_ms == 6 && ev.clock_ms == 7);
        assert_string_equal(ev.lane, "1");
        assert_string_equal(ev.reader, "front");
    }
}

static void a_long_text_is_cut(void **state)
{
    (void) state;
    struct lm_event ev;
    char text[1000];
    memset(&ev, 0, sizeof ev);
    memset(text, '7', sizeof text);
    lm_event_reading(&ev, text, sizeof text);
    assert_int_equal(ev.doubt, LM_DOUBT_DAMAGED);
    assert_int_equal(strlen(ev.text), LM_VISUAL_MAX);
    assert_true(ev.cut);
}

static void session_kinds(void **state)
{
    (void) state;
    static const char *const names[] = {"walk", "count", "sale"};
    enum lm_session_kind kind;
    for (int i = 0; i < 3; i++) {
        assert_string_equal(lm_session_kind_name((enum lm_session_kind) i), names[i]);
        assert_int_equal(lm_session_kind_parse(names[i], &kind), LM_OK);
        assert_int_equal(kind, i);
    }
    assert_int_equal(lm_session_kind_parse("WALK", &kind), LM_OK);
    assert_int_equal(kind, LM_WALK);
    kind = LM_SALE;
    assert_int_equal(lm_session_kind_parse("stroll", &kind), LM_EFRAME);
    assert_int_equal(lm_session_kind_parse("", &kind), LM_EFRAME);
    assert_int_equal(kind, LM_SALE);
    assert_string_equal(lm_session_kind_name((enum lm_session_kind) 77), "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readings),
        cmocka_unit_test(a_long_text_is_cut),
        cmocka_unit_test(session_kinds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
