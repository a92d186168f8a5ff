/** @file test_time.c
 * Instants and dates, in and out.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lugmark/time.h"

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static void instants_that_are_taken(void **state)
{
    (void) state;
    static const struct {
        const char *text, *want;
    } cases[] = {
        {"1970-01-01T00:00:00Z", "1970-01-01T00:00:00.000Z"},
        {"2026-11-02T08:00:01.250Z", "2026-11-02T08:00:01.250Z"},
        {"2026-11-02 08:00:01.250", "2026-11-02T08:00:01.250Z"},
        {"2026-11-02t08:00:01z", "2026-11-02T08:00:01.000Z"},
        {"2026-11-02T08:00:01.2Z", "2026-11-02T08:00:01.200Z"},
        {"2026-11-02T08:00:01.999999999Z", "2026-11-02T08:00:01.999Z"},
        {"2026-11-02T08:00:01.0019Z", "2026-11-02T08:00:01.001Z"},
        {"2026-11-02T08:00:01+02:00", "2026-11-02T06:00:01.000Z"},
        {"2026-11-02T08:00:01.5-05:30", "2026-11-02T13:30:01.500Z"},
        {"2026-01-01T01:00:00+13:00", "2025-12-31T12:00:00.000Z"},
        {"2024-02-29T23:59:59.999Z", "2024-02-29T23:59:59.999Z"},
        {"2000-02-29T12:00:00Z", "2000-02-29T12:00:00.000Z"},
        {"1969-12-31T23:59:59.999Z", "1969-12-31T23:59:59.999Z"},
        {"1900-01-01T00:00:00Z", "1900-01-01T00:00:00.000Z"},
        {"9999-12-31T23:59:59.999Z", "9999-12-31T23:59:59.999Z"},
        {"2016-12-31T23:59:60Z", "2017-01-01T00:00:00.000Z"}, /* a leap second */
        {"2017-01-01T00:59:60+01:00", "2017-01-01T00:00:00.000Z"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        int64_t t;
        char out[LM_TIME_TEXT_SIZE];
        if (lm_time_parse(cases[i].text, strlen(cases[i].text), &t) != LM_OK)
            fail_msg("%s refused", cases[i].text);
        assert_string_equal(lm_time_format(t, out), cases[i].want);
    }
}

static void instants_that_are_refused(void **state)
{
    (void) state;
    static const char *const bad[] = {"", "2026", "2026-11-02", "2026-11-02T", "2026-11-02T08",
        "2026-11-02T08:00", "2026-11-02T08:00Z", "2026-02-30T00:00:00Z", "2023-02-29T00:00:00Z",
        "1900-02-29T00:00:00Z", "2100-02-29T00:00:00Z", "2026-00-01T00:00:00Z",
        "2026-13-01T00:00:00Z", "2026-04-31T00:00:00Z", "2026-04-00T00:00:00Z",
        "2026-11-02T24:00:00Z", "2026-11-02T08:60:00Z", "2026-11-02T08:00:61Z",
        "2026-11-02T08:00:60Z", "2026-11-02T08:00:01.Z", "2026-11-02T08:00:01,5Z",
        "2026-11-02T08:00:01.1234567890Z", "2026-11-02T08:00:01+2", "2026-11-02T08:00:01+0200",
        "2026-11-02T08:00:01+24:00", "2026-11-02T08:00:01+02:60", "2026-11-02T08:00:01+02:00Z",
        "2026-11-02T08:00:01Zx", "2026-11-02T08:00:01 Z", " 2026-11-02T08:00:01Z",
        "2026-11-02x08:00:01Z", "2026-11-2T08:00:01Z", "26-11-02T08:00:01Z", "2026-1a-02T08:00:01Z",
        "1899-12-31T23:59:59Z", "1900-01-01T00:00:00+01:00", "9999-12-31T23:59:59-01:00",
        "2026-11-02T08:0 :01Z", "+026-11-02T08:00:01Z"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int64_t t = 4711;
        size_t len = strlen(bad[i]);
        char *exact = malloc(len > 0 ? len : 1); /* a read past the end is caught */
        assert_non_null(exact);
        memcpy(exact, bad[i], len);
        if (lm_time_parse(exact, len, &t) != LM_EFRAME)
            fail_msg("%s taken", bad[i]);
        assert_true(t == 4711);
        free(exact);
    }
}

/** Against the C library's own calendar, over all years that we write. */
static void instants_agree_with_the_library(void **state)
{
    (void) state;
    uint64_t seed = 3;
    const int64_t first = INT64_C(-2208988800000), span = INT64_C(255611289600000);
    for (int i = 0; i < 50000; i++) {
        int64_t t = first + (int64_t) (next(&seed) % (uint64_t) span), back;
        char out[LM_TIME_TEXT_SIZE], want[64], date[LM_DATE_TEXT_SIZE];
        int64_t ms = ((t % 1000) + 1000) % 1000;
        time_t seconds = (time_t) ((t - ms) / 1000);
        struct tm tm;
        assert_non_null(gmtime_r(&seconds, &tm));
        snprintf(want, sizeof want, "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ", tm.tm_year + 1900,
            tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec, (int) ms);
        assert_string_equal(lm_time_format(t, out), want);
        assert_int_equal(lm_time_parse(out, strlen(out), &back), LM_OK);
        assert_true(back == t);
        assert_memory_equal(lm_date_format(lm_date_of(t), date), want, 10);
    }
}

static void instants_out_of_bounds(void **state)
{
    (void) state;
    static const int64_t none[] = {
        LM_TIME_NONE, INT64_MAX, INT64_C(-2208988800001), INT64_C(253402300800000)};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        char out[LM_TIME_TEXT_SIZE] = "x";
        assert_string_equal(lm_time_format(none[i], out), "");
        assert_int_equal(lm_date_of(none[i]).year, 0);
    }
}

static void dates(void **state)
{
    (void) state;
    static const struct {
        const char *text;
        enum lm_err want;
        int year, month, day;
    } cases[] = {
        {"", LM_OK, 0, 0, 0},
        {"2026", LM_OK, 2026, 0, 0},
        {"2026-03", LM_OK, 2026, 3, 0},
        {"2026-03-28", LM_OK, 2026, 3, 28},
        {"2024-02-29", LM_OK, 2024, 2, 29},
        {"1900", LM_OK, 1900, 0, 0},
        {"9999-12-31", LM_OK, 9999, 12, 31},
        {"2026-02-29", LM_EFRAME, 0, 0, 0},
        {"2026-00", LM_EFRAME, 0, 0, 0},
        {"2026-00-00", LM_EFRAME, 0, 0, 0},
        {"2026-03-00", LM_EFRAME, 0, 0, 0},
        {"2026-13", LM_EFRAME, 0, 0, 0},
        {"2026-3", LM_EFRAME, 0, 0, 0},
        {"2026-", LM_EFRAME, 0, 0, 0},
        {"2026-03-", LM_EFRAME, 0, 0, 0},
        {"2026-03-281", LM_EFRAME, 0, 0, 0},
        {"1899", LM_EFRAME, 0, 0, 0},
        {"0000", LM_EFRAME, 0, 0, 0},
        {"28/03/2026", LM_EFRAME, 0, 0, 0},
        {"20260328", LM_EFRAME, 0, 0, 0},
        {" ", LM_EFRAME, 0, 0, 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_date d = {0, 0, 0};
        char out[LM_DATE_TEXT_SIZE];
        if (lm_date_parse(cases[i].text, strlen(cases[i].text), &d) != cases[i].want)
            fail_msg("\"%s\"", cases[i].text);
        assert_int_equal(d.year, cases[i].year);
        assert_int_equal(d.month, cases[i].month);
        assert_int_equal(d.day, cases[i].day);
        if (cases[i].want == LM_OK)
            assert_string_equal(lm_date_format(d, out), cases[i].text);
    }
}

static void days_of_dates(void **state)
{
    (void) state;
    static const struct {
        struct lm_date d;
        int32_t first, last;
    } cases[] = {
        {{1970, 1, 1}, 0, 0},
        {{1969, 12, 31}, -1, -1},
        {{2000, 3, 1}, 11017, 11017},
        {{1970, 2, 0}, 31, 58},
        {{1972, 2, 0}, 761, 789},
        {{1970, 0, 0}, 0, 364},
        {{1972, 0, 0}, 730, 1095},
        {{0, 0, 0}, INT32_MIN, INT32_MIN},
        {{2026, 13, 1}, INT32_MIN, INT32_MIN},
        {{2026, 2, 30}, INT32_MIN, INT32_MIN},
        {{2026, 0, 5}, INT32_MIN, INT32_MIN},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(lm_date_days(cases[i].d, 0), cases[i].first);
        assert_int_equal(lm_date_days(cases[i].d, 1), cases[i].last);
    }
    char out[LM_DATE_TEXT_SIZE];
    assert_string_equal(lm_date_format((struct lm_date){-32768, 255, 255}, out), "");
    assert_string_equal(lm_date_format((struct lm_date){32767, 1, 1}, out), "");
}

/** Day by day through four centuries: each is one more than the one before. */
static void days_follow_each_other(void **state)
{
    (void) state;
    int32_t before = lm_date_days((struct lm_date){1900, 1, 1}, 0) - 1;
    for (int32_t day = before + 1; day < before + 146097; day++) {
        struct lm_date d = lm_date_of((int64_t) day * 86400000 + 86399999);
        assert_int_equal(lm_date_days(d, 0), day);
        assert_int_equal(lm_date_days(d, 1), day);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(instants_that_are_taken),
        cmocka_unit_test(instants_that_are_refused),
        cmocka_unit_test(instants_agree_with_the_library),
        cmocka_unit_test(instants_out_of_bounds),
        cmocka_unit_test(dates),
        cmocka_unit_test(days_of_dates),
        cmocka_unit_test(days_follow_each_other),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
