/** @file test_text.c
 * Untrusted text: what is clean, what is made of the rest, and how numbers and words are compared.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/text.h"

/** Text with its length, since NUL can be inside. */
#define T(literal) literal, sizeof literal - 1

static void clean_and_not(void **state)
{
    (void) state;
    static const struct {
        const char *text;
        size_t len;
        bool want;
    } cases[] = {
        {T(""), true},
        {T("Ziege 12"), true},
        {T("K\xC3\xBC"
           "che"),
            true},
        {T("\xE2\x82\xAC"), true},
        {T("\xF0\x9F\x90\x90"), true},
        {T("\xC2\xA0"), true},         /* first behind C1 */
        {T("\xEF\xBF\xBF"), true},     /* U+FFFF */
        {T("\xF4\x8F\xBF\xBF"), true}, /* U+10FFFF, the last */
        {T("\xED\x9F\xBF"), true},     /* last before the surrogates */
        {T("\xEE\x80\x80"), true},     /* first behind them */
        {T("a\0b"), false},
        {T("a\tb"), false},
        {T("a\n"), false},
        {T("\x1B[2J"), false},
        {T("\x1F"), false},
        {T("\x7F"), false},
        {T("\xC2\x80"), false}, /* C1 */
        {T("\xC2\x9F"), false},
        {T("\x80"), false},     /* no lead byte */
        {T("\xC0\x80"), false}, /* overlong */
        {T("\xC1\xBF"), false},
        {T("\xE0\x9F\xBF"), false},
        {T("\xF0\x8F\xBF\xBF"), false},
        {T("\xED\xA0\x80"), false}, /* surrogates */
        {T("\xED\xBF\xBF"), false},
        {T("\xF4\x90\x80\x80"), false}, /* past U+10FFFF */
        {T("\xF5\x80\x80\x80"), false},
        {T("\xFF"), false},
        {T("\xC3"), false}, /* cut off */
        {T("\xE2\x82"), false},
        {T("\xF0\x9F\x90"), false},
        {T("\xC3"
           "a"),
            false}, /* no trail byte */
        {T("\xE2\x82"
           "a"),
            false},
        {T("\xF0\x9F\x90"
           "a"),
            false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *exact = malloc(cases[i].len > 0 ? cases[i].len : 1);
        assert_non_null(exact);
        memcpy(exact, cases[i].text, cases[i].len);
        if (lm_text_clean(exact, cases[i].len) != cases[i].want)
            fail_msg("case %zu", i);
        free(exact);
    }
}

static void copies(void **state)
{
    (void) state;
    static const struct {
        const char *text;
        size_t len, size;
        const char *want;
        bool whole;
    } cases[] = {
        {T("0417"), 8, "0417", true},
        {T("0417"), 5, "0417", true},
        {T("0417"), 4, "041", false},
        {T("0417"), 1, "", false},
        {T(""), 1, "", true},
        {T("  04 17\t\r\n"), 8, "04 17", true},
        {T(" \t "), 8, "", true},
        {T("a\0b"), 8, "a?b", false},
        {T("a\x1B[1m"), 8, "a?[1m", false},
        {T("a\xFF\xC3"), 8, "a??", false},
        {T("a\xC2\x85"
           "b"),
            8, "a?b", false},
        {T("\xC3\xA9\xC3\xA9"), 5, "\xC3\xA9\xC3\xA9", true},
        {T("\xC3\xA9\xC3\xA9"), 4, "\xC3\xA9", false},
        {T("\xF0\x9F\x90\x90"), 4, "", false},
        {T("ab cd"), 4, "ab", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[16];
        memset(out, 'Z', sizeof out);
        if (lm_text_copy(out, cases[i].size, cases[i].text, cases[i].len) != cases[i].whole)
            fail_msg("case %zu", i);
        assert_string_equal(out, cases[i].want);
        assert_int_equal(out[cases[i].size], 'Z');
    }
    char untouched = 'Z';
    assert_false(lm_text_copy(&untouched, 0, "x", 1));
    assert_int_equal(untouched, 'Z');
}

/** Whatever comes in, clean text comes out, and clean text that fits comes out as it was. */
static void copies_of_anything_are_clean(void **state)
{
    (void) state;
    uint64_t seed = 9;
    for (int i = 0; i < 50000; i++) {
        char text[24], out[20];
        for (size_t k = 0; k < sizeof text; k++) {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            static const char likely[] = "ab \xC2\xC3\xE0\xE2\xED\xF0\xF4\x80\x82\x90\x9F\xA0\xBF";
            text[k] =
                (seed & 16) != 0 ? (char) (seed >> 24) : likely[(seed >> 8) % (sizeof likely - 1)];
        }
        size_t len = (size_t) (seed % sizeof text);
        size_t size = (size_t) (1 + (seed >> 32) % (sizeof out - 1));
        bool whole = lm_text_copy(out, size, text, len);
        size_t got = strlen(out);
        assert_true(got < size);
        assert_true(lm_text_clean(out, got));
        if (whole)
            assert_non_null(memmem(text, len, out, got));
    }
}

static void folded_numbers(void **state)
{
    (void) state;
    static const struct {
        const char *visual, *fold, *loose;
    } cases[] = {
        {"0417", "0417", "417"},
        {"uk 012-345.6/00_7",
            "UK01234560"
            "07",
            "UK0123456007"},
        {"a17", "A17", "A17"},
        {"A-017", "A017", "A017"},
        {"000", "000", "0"},
        {"0", "0", "0"},
        {"", "", ""},
        {" - ", "", ""},
        {"0 0 7", "007", "7"},
        {"\xC3\xA9"
         "1",
            "\xC3\xA9"
            "1",
            "\xC3\xA9"
            "1"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[LM_VISUAL_MAX + 1];
        assert_int_equal(lm_visual_fold(cases[i].visual, out), strlen(cases[i].fold));
        assert_string_equal(out, cases[i].fold);
        assert_int_equal(lm_visual_fold_loose(cases[i].visual, out), strlen(cases[i].loose));
        assert_string_equal(out, cases[i].loose);
    }
    char longer[400], out[LM_VISUAL_MAX + 1];
    memset(longer, '0', sizeof longer);
    longer[sizeof longer - 1] = '\0';
    assert_int_equal(lm_visual_fold(longer, out), LM_VISUAL_MAX);
    assert_int_equal(lm_visual_fold_loose(longer, out), 1);
}

static void words_alike(void **state)
{
    (void) state;
    static const struct {
        const char *word, *wanted;
        bool want;
    } cases[] = {
        {"on-farm", "on-farm", true},
        {"On Farm", "on-farm", true},
        {"ON_FARM", "on-farm", true},
        {"onfarm", "on-farm", false},
        {"on-far", "on-farm", false},
        {"on-farms", "on-farm", false},
        {"", "", true},
        {"", "a", false},
        {"a", "", false},
        {NULL, "a", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_int_equal(lm_word_is(cases[i].word, cases[i].wanted), cases[i].want);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clean_and_not),
        cmocka_unit_test(copies),
        cmocka_unit_test(copies_of_anything_are_clean),
        cmocka_unit_test(folded_numbers),
        cmocka_unit_test(words_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
