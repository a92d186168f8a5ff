/** @file test_err.c
 * Problems in words: place, what, how to mend; cleaned and never too long.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "lugmark/err.h"
#include "lugmark/text.h"

static void every_error_has_its_own_words(void **state)
{
    (void) state;
    for (int a = 0; a >= LM_EFULL; a--) {
        assert_true(strlen(lm_err_str((enum lm_err) a)) > 4);
        assert_string_not_equal(lm_err_str((enum lm_err) a), lm_err_str((enum lm_err) - 999));
        for (int b = 0; b > a; b--)
            assert_string_not_equal(lm_err_str((enum lm_err) a), lm_err_str((enum lm_err) b));
    }
    assert_string_equal(lm_err_str((enum lm_err) - 999), "an unknown error");
}

static void set_keeps_the_place(void **state)
{
    (void) state;
    struct lm_problem p = {.line = 7, .column = 3};
    snprintf(p.file, sizeof p.file, "herd.csv");
    assert_int_equal(lm_problem_set(&p, LM_EINPUT, "write it so", "bad %d", 5), LM_EINPUT);
    assert_int_equal(p.err, LM_EINPUT);
    assert_string_equal(p.what, "bad 5");
    assert_string_equal(p.mend, "write it so");
    assert_string_equal(p.file, "herd.csv");
    assert_int_equal(p.line, 7);
    assert_int_equal(p.column, 3);
    assert_int_equal(lm_problem_set(&p, LM_EIO, NULL, "x"), LM_EIO);
    assert_string_equal(p.mend, "");
    assert_int_equal(lm_problem_set(NULL, LM_EBUSY, "m", "%s", "x"), LM_EBUSY);
}

static void control_characters_are_replaced(void **state)
{
    (void) state;
    struct lm_problem p = {0};
    lm_problem_set(&p, LM_EFRAME, "m\033[2Jend", "a\033[31mb\x01\x7f%s", "\xC2\x85\xFF");
    assert_string_equal(p.what, "a?[31mb????");
    assert_string_equal(p.mend, "m?[2Jend");
}

static void long_text_is_cut_with_dots(void **state)
{
    (void) state;
    char longer[2 * LM_PROBLEM_TEXT_MAX];
    for (unsigned shift = 0; shift < 3; shift++) {
        size_t n = 0;
        while (n < shift)
            longer[n++] = 'x';
        while (n + 2 < sizeof longer) { /* two-byte characters: the cut must not split one */
            memcpy(longer + n, "\xC3\xA9", 2);
            n += 2;
        }
        longer[n] = '\0';
        struct lm_problem p = {0};
        lm_problem_set(&p, LM_EFRAME, longer, "%s", longer);
        size_t len = strlen(p.what);
        assert_in_range(len, LM_PROBLEM_TEXT_MAX - 6, LM_PROBLEM_TEXT_MAX - 1);
        assert_string_equal(p.what + len - 3, "...");
        assert_true(lm_text_clean(p.what, len));
        assert_true(lm_text_clean(p.mend, strlen(p.mend)));
        assert_string_equal(p.mend + strlen(p.mend) - 3, "...");
    }
}

static void format_says_where_what_and_how(void **state)
{
    (void) state;
    static const struct {
        const char *file;
        long line, column;
        const char *mend, *want;
    } cases[] = {
        {"a.csv", 3, 4, "fix", "a.csv:3:4: bad; to mend: fix"},
        {"a.csv", 3, 0, "fix", "a.csv:3: bad; to mend: fix"},
        {"a.csv", 0, 0, "", "a.csv: bad"},
        {"", 3, 4, "", "line 3, column 4: bad"},
        {"", 3, 0, "", "line 3: bad"},
        {"", 0, 4, "", "column 4: bad"},
        {"", 0, 0, "fix", "bad; to mend: fix"},
        {"a\nb", 1, 0, "", "a?b:1: bad"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_problem p = {.line = cases[i].line, .column = cases[i].column};
        char out[128];
        snprintf(p.file, sizeof p.file, "%s", cases[i].file);
        lm_problem_set(&p, LM_EINPUT, cases[i].mend, "bad");
        assert_int_equal(lm_problem_format(&p, out, sizeof out), strlen(cases[i].want));
        assert_string_equal(out, cases[i].want);
        char tiny[4];
        assert_int_equal(lm_problem_format(&p, tiny, sizeof tiny), strlen(cases[i].want));
        assert_int_equal(strlen(tiny), 3);
    }
    struct lm_problem empty = {.err = LM_EFULL};
    char out[64];
    lm_problem_format(&empty, out, sizeof out);
    assert_string_equal(out, "the disk is full");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_error_has_its_own_words),
        cmocka_unit_test(set_keeps_the_place),
        cmocka_unit_test(control_characters_are_replaced),
        cmocka_unit_test(long_text_is_cut_with_dots),
        cmocka_unit_test(format_says_where_what_and_how),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
