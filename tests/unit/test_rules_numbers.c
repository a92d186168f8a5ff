/* Official numbers: patterns, check characters, which format a number may be of. */
#include "rules_help.h"

static void patterns_match(void **state)
{
    static const struct {
        const char *pattern, *text;
        bool match;
    } cases[] = {
        {"AB", "AB", true},
        {"AB", "ABC", false},
        {"AB", "A", false},
        {"A?B", "B", true},
        {"A?B", "AB", true},
        {"\\d{2}", "12", true},
        {"\\d{2}", "123", false},
        {"\\d{1,3}0", "1000", true}, /* has to give one back */
        {"\\d{1,3}0", "10", true},
        {"\\d{1,3}0", "0", false},
        {"[A-C9]{2}", "B9", true},
        {"[A-C9]{2}", "BD", false},
        {"[A-C9]{2}", "", false},
        {"A(B|CD)E", "ACDE", true},
        {"A(B|CD)E", "ABE", true},
        {"A(B|CD)E", "ABCDE", false},
        {"A(B|CD)?E", "AE", true},
        {"A(B|BC)C", "ABCC", true}, /* the second alternative only */
        {"A(B|BC)C", "ABC", true},
        {"(AT|BE)\\d{1,12}", "BE000000000001", true},
        {"(AT|BE)\\d{1,12}", "BE0000000000001", false},
        {"A B", "A B", true},
        {"A B", "AB", false},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(lm_pattern_bad(cases[i].pattern), 0);
        if (lm_pattern_match(cases[i].pattern, cases[i].text) != cases[i].match)
            fail_msg("%s and %s", cases[i].pattern, cases[i].text);
    }
}

static void patterns_refused(void **state)
{
    static const struct {
        const char *pattern;
        size_t at;
    } cases[] = {{"", 1}, {"a", 1}, {"A*", 2}, {"A+", 2}, {".", 1}, {"\\w", 1}, {"A{", 2},
        {"A{2", 2}, {"A{3,2}", 2}, {"A{41}", 2}, {"A{,2}", 2}, {"[A", 1}, {"[]", 1}, {"[C-A]", 1},
        {"[^A]", 1}, {"(A", 3}, {"A)", 2}, {"A|B", 2}, {"((A))", 2}, {"(A){2}", 4}, {"(A)??", 5},
        {"^A$", 1}, {"A{2}{2}", 5}};
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        if (lm_pattern_bad(cases[i].pattern) != cases[i].at)
            fail_msg("%s: %zu", cases[i].pattern, lm_pattern_bad(cases[i].pattern));
        assert_false(lm_pattern_match(cases[i].pattern, "A"));
    }
    char longest[700];
    memset(longest, 'A', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    assert_int_equal(lm_pattern_bad(longest), 1);
}

/* A pattern from anybody must not keep the program busy. */
static void patterns_end(void **state)
{
    char pattern[400] = "", text[LM_VISUAL_MAX + 1];
    (void) state;
    for (int i = 0; i < 30; i++)
        strcat(pattern, "A{0,40}");
    strcat(pattern, "B");
    memset(text, 'A', LM_VISUAL_MAX);
    text[LM_VISUAL_MAX] = '\0';
    assert_int_equal(lm_pattern_bad(pattern), 0);
    assert_false(lm_pattern_match(pattern, text));
}

/* Source: the sample of the GRid standard, and a published cattle sample. */
static void check_characters(void **state)
{
    (void) state;
    assert_int_equal(lm_mod37_36("A12425GABC1234002"), 'M');
    assert_int_equal(lm_mod37_36("EX0000"), 'E');
    assert_int_equal(lm_mod37_36("EX-000"), '\0');
    assert_true(lm_uk_cattle_check("UK123450600001"));
    assert_true(lm_uk_cattle_check("UK123450700002"));
    assert_true(lm_uk_cattle_check("UK123450100003"));
    assert_false(lm_uk_cattle_check("UK123450500001"));
    assert_false(lm_uk_cattle_check("UK123450800001"));
    assert_false(lm_uk_cattle_check("UK12345060000"));
    assert_false(lm_uk_cattle_check("GB123450600001"));
    assert_false(lm_uk_cattle_check("UK12345060000A"));
}

/* The examples of the fact sheet, once more beside those in the packs: format, good, bad. */
static const struct {
    const char *pack, *format, *number;
    enum lm_answer want;
} published[] = {
    {"us", "US-FLOCK", "OHEX0000", LM_ANSWER_YES},
    {"us", "US-FLOCK", "IDEX1", LM_ANSWER_YES},
    {"us", "US-FLOCK", "TXEX99999", LM_ANSWER_YES},
    {"us", "US-FLOCK", "IA12345", LM_ANSWER_YES},
    {"us", "US-FLOCK", "OHIX000", LM_ANSWER_NO},
    {"us", "US-FLOCK", "OHEX00000000", LM_ANSWER_NO},
    {"us", "US-FLOCK", "OH", LM_ANSWER_NO},
    {"us", "US-FLOCK", "OHQ1234", LM_ANSWER_NO},
    {"us", "US-FLOCK", "XXEX000", LM_ANSWER_UNKNOWN}, /* no state; a tribe perhaps */
    {"us", "US-FLOCK-AN", "OHEX0000 0017", LM_ANSWER_YES},
    {"us", "US-FLOCK-AN", "OHEX0000 1234567", LM_ANSWER_NO},
    {"us", "US-SER-M", "OHEX0000", LM_ANSWER_YES},
    {"us", "US-SER-M", "OHE10000", LM_ANSWER_NO},
    {"us", "US-SER-M", "OHEX000", LM_ANSWER_NO},
    {"us", "US-SER-M", "O1EX0000", LM_ANSWER_NO},
    {"us", "US-SER-P", "OHE10000", LM_ANSWER_YES},
    {"us", "US-SER-P", "OH1E0000", LM_ANSWER_YES},
    {"us", "US-SER-P", "OH110000", LM_ANSWER_NO},
    {"us", "US-SER-P", "OHEX0000", LM_ANSWER_NO},
    {"us", "US-NUES9", "35ABC1234", LM_ANSWER_YES},
    {"us", "US-NUES9", "31EXA0001", LM_ANSWER_YES},
    {"us", "US-NUES9", "00EXA0001", LM_ANSWER_YES},
    {"us", "US-NUES9", "3EXA0001", LM_ANSWER_NO},
    {"us", "US-NUES9", "31EX00001", LM_ANSWER_NO},
    {"us", "US-NUES9", "31EXA001", LM_ANSWER_NO},
    {"us", "US-NUES9", "99EXA0001", LM_ANSWER_UNKNOWN},
    {"us", "US-AIN", "840000000000001", LM_ANSWER_YES},
    {"us", "US-AIN", "84000000000001", LM_ANSWER_NO},
    {"us", "US-AIN", "840-00000000001", LM_ANSWER_NO},
    {"us", "US-AIN", "124000000000001", LM_ANSWER_NO},
    {"us", "US-AIN", "8400000000000012", LM_ANSWER_NO},
    {"us", "US-AIN", "840300000000000", LM_ANSWER_NO}, /* more than 2^38 - 1 */
    {"us", "US-AIN", "840274877906943", LM_ANSWER_YES},
    {"us", "US-AIN", "840274877906944", LM_ANSWER_NO},
    {"us", "US-LEGACY", "985000000000001", LM_ANSWER_YES},
    {"us", "US-LEGACY", "USA000000000001", LM_ANSWER_YES},
    {"us", "US-LEGACY", "840000000000001", LM_ANSWER_NO},
    {"us", "US-LEGACY", "98500000000001", LM_ANSWER_NO},
    {"us", "US-PIN", "EX0000E", LM_ANSWER_YES},
    {"us", "US-PIN", "EX00001", LM_ANSWER_UNKNOWN}, /* the check character only doubts */
    {"us", "US-PIN", "EX0000", LM_ANSWER_NO},
    {"us", "US-GIN", "EX0000E11252601", LM_ANSWER_YES},
    {"us", "US-GIN", "EX0000E13252601", LM_ANSWER_NO},
    {"eu", "EU-VIS", "IE000000000001", LM_ANSWER_YES},
    {"eu", "EU-VIS", "FR00000000001", LM_ANSWER_YES},
    {"eu", "EU-VIS", "EL0000001", LM_ANSWER_YES},
    {"eu", "EU-VIS", "GR000000000001", LM_ANSWER_NO},
    {"eu", "EU-VIS", "IE0000000000001", LM_ANSWER_NO},
    {"eu", "EU-VIS", "UK000000000001", LM_ANSWER_NO},
    {"eu", "EU-EID", "372000000000001", LM_ANSWER_YES},
    {"eu", "EU-EID", "899000000000001", LM_ANSWER_YES},
    {"eu", "EU-EID", "37200000000001", LM_ANSWER_NO},
    {"eu", "EU-EID", "372274877906944", LM_ANSWER_NO},
    {"england", "GB-SG", "UK000000000001", LM_ANSWER_YES},
    {"england", "GB-SG", "uk 0 000000 00001", LM_ANSWER_YES},
    {"england", "GB-SG", "GB000000000001", LM_ANSWER_NO},
    {"england", "GB-SG", "UK00000000001", LM_ANSWER_NO},
    {"england", "GB-SG-EID", "826000000000001", LM_ANSWER_YES},
    {"england", "GB-SG-EID", "826 000000000001", LM_ANSWER_YES},
    {"england", "GB-SG-EID", "0826000000000001", LM_ANSWER_NO},
    {"england", "GB-SG-EID", "82600000000001", LM_ANSWER_NO},
    {"england", "GB-SLTR", "UK000000", LM_ANSWER_YES},
    {"england", "GB-SLTR", "UK000000000001", LM_ANSWER_NO},
    {"england", "GB-CATTLE", "UK123450600001", LM_ANSWER_YES},
    {"england", "GB-CATTLE", "UK123450500001", LM_ANSWER_NO},
    {"england", "GB-CATTLE", "UK123450800001", LM_ANSWER_NO},
    {"ireland", "IE-SG", "IE000000000001", LM_ANSWER_YES},
    {"ireland", "IE-SG", "IE00000000001", LM_ANSWER_NO},
    {"ireland", "IE-EID", "372000000000001", LM_ANSWER_YES},
    {"ireland", "IE-EID", "37200000000001", LM_ANSWER_NO},
    {"canada", "CA-TAG", "124000000000001", LM_ANSWER_YES},
    {"canada", "CA-TAG", "CA000000000001", LM_ANSWER_NO},
    {"canada", "CA-TAG", "840000000000001", LM_ANSWER_NO},
    {"canada", "CA-TAG", "12400000000001", LM_ANSWER_NO},
    {"australia", "AU-CHIP", "982000000000001", LM_ANSWER_YES},
    {"australia", "AU-CHIP", "98200000000001", LM_ANSWER_NO},
};

static void formats_as_published(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof published / sizeof *published; i++) {
        struct lm_rulepack *pack = must_load(published[i].pack);
        const struct lm_number_format *f =
            lm_format_named(lm_rulepack_rules(pack), published[i].format);
        assert_non_null(f);
        if (lm_format_match(f, published[i].number) != published[i].want)
            fail_msg("%s and %s", published[i].format, published[i].number);
        lm_rulepack_free(pack);
    }
}

static void one_number_may_be_two_things(void **state)
{
    struct lm_rulepack *pack = must_load("us");
    const struct lm_rule_pack *us = lm_rulepack_rules(pack);
    struct lm_rule_context ctx = {0};
    struct lm_candidates c;
    (void) state;
    lm_format_candidates(us, &ctx, "OHEX0000", "goat", false, &c);
    assert_int_equal(c.n, 2);
    assert_false(c.said);
    assert_string_equal(c.at[0]->id, "US-FLOCK");
    assert_string_equal(c.at[1]->id, "US-SER-M");
    lm_format_candidates(us, &ctx, "OHEX0000", "cattle", false, &c);
    assert_int_equal(c.n, 0); /* those tags are for sheep and goats */
    const struct lm_tag_type types[] = {{"OH*", "US-FLOCK"}, {"OHEX0000", "US-SER-M"}};
    ctx.types = types;
    ctx.n_types = 2;
    lm_format_candidates(us, &ctx, "ohex-0000", "goat", false, &c);
    assert_true(c.said);
    assert_int_equal(c.n, 1);
    assert_string_equal(c.at[0]->id, "US-SER-M"); /* the longer saying wins */
    lm_format_candidates(us, &ctx, "OHEX0001", "goat", false, &c);
    assert_true(c.said);
    assert_string_equal(c.at[0]->id, "US-FLOCK");
    lm_format_candidates(us, &ctx, "840000000000001", "goat", true, &c);
    assert_int_equal(c.n, 1);
    assert_false(c.said);
    lm_rulepack_free(pack);
}

static void letters_and_digits_are_one_code(void **state)
{
    static const struct {
        const char *pack, *number, *code;
    } cases[] = {
        {"england", "UK 0 000000 00001", "826000000000001"},
        {"england", "UK000000000001", "826000000000001"},
        {"england", "826000000000001", "826000000000001"},
        {"england", "826 000000000001", "826000000000001"},
        {"england", "XI000000000001", "899000000000001"},
        {"eu", "IE000000000001", "372000000000001"},
        {"eu", "FR00000000001", "250000000000001"},
        {"eu", "DE1", "276000000000001"},
        {"eu", "ES000000000001", "724000000000001"},
        {"eu", "IT000000000001", "380000000000001"},
        {"eu", "EL0000001", "300000000000001"},
        {"eu", "AT1", "040000000000001"},
        {"us", "US000000000001", "840000000000001"},
        {"us", "USA000000000001", "840000000000001"},
        {"canada", "CA000000000001", "124000000000001"},
        {"eu", "IE0000000000001", NULL},
        {"eu", "IE", NULL},
        {"eu", "IE00000A", NULL},
        {"eu", "0417", NULL},
        {"eu", "", NULL},
        {"england", "FR00000000001", NULL},
    };
    char code[16];
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct lm_rulepack *pack = must_load(cases[i].pack);
        bool found = lm_number_code(lm_rulepack_rules(pack), cases[i].number, code);
        assert_int_equal(found, cases[i].code != NULL);
        if (found)
            assert_string_equal(code, cases[i].code);
        lm_rulepack_free(pack);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(patterns_match),
        cmocka_unit_test(patterns_refused),
        cmocka_unit_test(patterns_end),
        cmocka_unit_test(check_characters),
        cmocka_unit_test(formats_as_published),
        cmocka_unit_test(one_number_may_be_two_things),
        cmocka_unit_test(letters_and_digits_are_one_code),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
