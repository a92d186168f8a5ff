/* The pictures of the printed report: numbers that others published, hostile texts, round ticks. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "report/picture.h"
#include "report/svg.h"

#include <stdlib.h>
#include <string.h>

#define N_OF(a) (sizeof(a) / sizeof((a)[0]))

static void has(const char *text, const char *part)
{
    if (strstr(text, part) == NULL)
        fail_msg("\"%s\" is not in: %.1500s", part, text);
}

static void has_not(const char *text, const char *part)
{
    if (strstr(text, part) != NULL)
        fail_msg("\"%s\" is in it", part);
}

/* --- pictures of numbers that others published; sources in test_estimate.c --- */

static void readability_as_published(void **state)
{
    (void) state;
    struct lm_printed p = {.n_read = 2};
    char *text = NULL;
    size_t size = 0;
    p.read[0] = (struct lm_readability){LM_FLAG_TAG, LM_LEFT_EAR, 81, 263};
    p.read[1] = (struct lm_readability){LM_BOLUS, LM_RUMEN, 15, 148};
    FILE *out = open_memstream(&text, &size);
    lm_picture_readable(out, &p);
    fclose(out);
    has(text, "flag tag, left ear: 30.8 per cent (25.5 to 36.6), 81 of 263.");
    has(text, "bolus, rumen: 10.1 per cent (6.2 to 16.0), 15 of 148.");
    has(text, "x1=\"304.9\""); /* 236 + 0.2553 * 270: the line begins at the lower end */
    has(text, "x2=\"334.9\"");
    free(text);
}

static void retention_as_published(void **state)
{
    (void) state;
    struct lm_life lives[] = {{0, 6, true}, {0, 6, true}, {0, 6, true}, {0, 7, true}, {0, 10, true},
        {0, 13, true}, {0, 16, true}, {0, 22, true}, {0, 23, true}, {0, 6, false}, {0, 9, false},
        {0, 10, false}, {0, 11, false}, {0, 17, false}, {0, 19, false}, {0, 20, false},
        {0, 25, false}, {0, 32, false}, {0, 32, false}, {0, 34, false}, {0, 35, false}};
    struct lm_life_step steps[16];
    struct lm_retention group = {
        .form = LM_FLAG_TAG, .devices = N_OF(lives), .ended = 9, .until = 35, .steps = steps};
    group.n = lm_life_table(lives, N_OF(lives), steps, N_OF(steps));
    struct lm_printed p = {.stays = {.n = 1, .groups = &group}};
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    lm_picture_stays(out, &p);
    fclose(out);
    has(text,
        "21 devices, 9 taken off or lost; 44.8 per cent still on after 23 days (18.8 to 68.0).");
    free(text);
    group.ended = 0;
    out = open_memstream(&text, &size);
    lm_picture_stays(out, &p);
    fclose(out);
    has(text, "21 devices were watched, and none was taken off or lost");
    has_not(text, "<svg");
    free(text);
}

/* The four largest groups, in the order of their devices; what is not shown is counted. */
static void the_largest_groups(void **state)
{
    (void) state;
    struct lm_life_step step = {.t = 10, .stays = 0.9};
    struct lm_retention groups[] = {
        {"S1", LM_FLAG_TAG, LM_LEFT_EAR, 30, 3, 0, 90, 1, &step},
        {"S2", LM_FLAG_TAG, LM_LEFT_EAR, 50, 3, 0, 91, 1, &step},
        {"", LM_BOLUS, LM_RUMEN, 50, 2, 0, 92, 0, NULL}, /* none that tells a share */
        {"S4", LM_FLAG_TAG, LM_LEFT_EAR, 20, 3, 0, 93, 1, &step},
        {"S5", LM_FLAG_TAG, LM_LEFT_EAR, 99, 0, 0, 94, 0, NULL}, /* of which none was lost */
        {"S6", LM_FLAG_TAG, LM_LEFT_EAR, 70, 1, 0, 95, 1, &step},
        {"S7", LM_FLAG_TAG, LM_LEFT_EAR, 10, 1, 0, 96, 1, &step},
    };
    static const char *const shown[] = {"strip S6", "strip S2",
        "bolus, rumen: 50 devices, 2 taken off or lost in up to 92 days.", "strip S1"};
    struct lm_printed p = {.stays = {.n = N_OF(groups), .groups = groups}};
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    lm_picture_stays(out, &p);
    fclose(out);
    const char *at = text;
    for (size_t i = 0; i < N_OF(shown); i++) {
        has(at, shown[i]);
        at = strstr(at, shown[i]);
    }
    has(text, "flag tag, left ear, strip S2: 50 devices, 3 taken off or lost; 90.0 per cent");
    has(text, "And 2 groups more; lugmark estimates lists them.");
    has(text, "Of 1 more kinds no device was lost.");
    for (int i = 0; i < 3; i++)
        has_not(text, (const char *const[]){"strip S4", "strip S5", "strip S7"}[i]);
    free(text);
}

/* What a finding is about: the number of the device that was removed, not of one worn now. */
static void the_number_of_what_was_removed(void **state)
{
    (void) state;
    struct lm_record rec = {.n_devices = 3};
    struct lm_roll *roll = lm_roll_new();
    static const char *const numbers[] = {"0101", "0777", "0888"};
    struct lm_eid code[3], unknown;
    snprintf(rec.key, sizeof rec.key, "A1");
    for (unsigned k = 0; k < 3; k++) {
        assert_int_equal(lm_eid_make(999, 5 + k, &code[k]), LM_OK);
        rec.devices[k].eid = code[k];
        rec.devices[k].gone = k > 0;
        snprintf(rec.devices[k].visual, sizeof rec.devices[k].visual, "%s", numbers[k]);
    }
    assert_int_equal(lm_eid_make(999, 99, &unknown), LM_OK);
    assert_int_equal(lm_roll_put(roll, &rec, NULL), LM_OK);
    const struct {
        struct lm_finding f;
        const char *number, *codes;
    } rows[] = {
        {{.reason = LM_REMOVED_DEVICE, .eid = code[1]}, "0777", "999000000000006"},
        {{.reason = LM_REMOVED_DEVICE, .eid = code[2]}, "0888", "999000000000007"},
        {{.reason = LM_REMOVED_DEVICE, .eid = code[0]}, "", "999000000000005"}, /* it is worn */
        {{.reason = LM_REMOVED_DEVICE, .eid = unknown}, "", "999000000000099"},
        {{.reason = LM_REMOVED_DEVICE, .text = "0777"}, "0777", ""},
        {{.reason = LM_NO_READING}, "0101", "999000000000005"},
        {{.reason = LM_CODES_DIFFER, .eid = code[0], .eid2 = unknown}, "0101",
            "999000000000005 999000000000099"},
        {{.reason = LM_OUT_OF_RANGE, .text = "999"}, "0101", "999"},
        {{.reason = LM_NOT_IN_REGISTER, .animal = LM_NO_ANIMAL, .text = "0999"}, "0999", ""},
        {{.reason = LM_NOT_IN_REGISTER, .animal = LM_NO_ANIMAL, .eid = unknown}, "",
            "999000000000099"},
    };
    struct lm_printed p = {.roll = roll};
    for (size_t i = 0; i < N_OF(rows); i++) {
        char number[160], codes[160];
        lm_sheet_number(&p, &rows[i].f, number, sizeof number);
        lm_sheet_codes(&p, &rows[i].f, codes, sizeof codes);
        if (strcmp(number, rows[i].number) != 0 || strcmp(codes, rows[i].codes) != 0)
            fail_msg("row %zu: \"%s\", \"%s\"", i, number, codes);
    }
    lm_roll_free(roll);
}

/* --- drawing --- */

static void text_is_only_text(void **state)
{
    static const char *const rows[][2] = {
        {"<img src=x onerror=alert(1)>", "&lt;img src=x onerror=alert(1)&gt;"},
        {"\"'&", "&quot;&#39;&amp;"},
        {"a\x01z\x7f", "a\xef\xbf\xbdz\xef\xbf\xbd"},
        {"\xff\xc3(", "\xef\xbf\xbd\xef\xbf\xbd("},
        {"\xe2\x80\xae"
         "123",
            "\xef\xbf\xbd"
            "123"}, /* backwards from here */
        {"\xed\xa0\x80", "\xef\xbf\xbd"},
        {"\xef\xbf\xbe", "\xef\xbf\xbd"},
        {"\xe2\x82\xac \xc3\xa9 \xf0\x9f\x90\x90", "\xe2\x82\xac \xc3\xa9 \xf0\x9f\x90\x90"},
        {"\xe2\x82", "\xef\xbf\xbd\xef\xbf\xbd"},
        {"", ""},
    };
    (void) state;
    for (size_t i = 0; i < N_OF(rows); i++) {
        char *text = NULL;
        size_t size = 0;
        FILE *out = open_memstream(&text, &size);
        lm_svg_text(out, rows[i][0]);
        fclose(out);
        if (strcmp(text, rows[i][1]) != 0)
            fail_msg("row %zu: %s", i, text);
        free(text);
    }
}

static void ticks_are_round(void **state)
{
    static const struct {
        double most;
        unsigned ticks;
        double step;
    } rows[] = {{5, 5, 1}, {6, 5, 2}, {190, 5, 50}, {100, 5, 20}, {101, 5, 50}, {100000, 5, 20000},
        {7.3, 4, 2}, {0, 5, 1}, {0.7, 4, 0.2}};
    (void) state;
    for (size_t i = 0; i < N_OF(rows); i++) {
        double step = lm_svg_step(rows[i].most, rows[i].ticks);
        if (step < rows[i].step * 0.999 || step > rows[i].step * 1.001)
            fail_msg("%g in %u: %g", rows[i].most, rows[i].ticks, step);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readability_as_published),
        cmocka_unit_test(retention_as_published),
        cmocka_unit_test(the_largest_groups),
        cmocka_unit_test(the_number_of_what_was_removed),
        cmocka_unit_test(text_is_only_text),
        cmocka_unit_test(ticks_are_round),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
