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
        cmocka_unit_test(text_is_only_text),
        cmocka_unit_test(ticks_are_round),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
