/* Official numbers where no pack goes: formats made here, so that each of their parts decides once.
 */
#include "lugmark/rules.h"
#include "race/rules_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

static void a_check_decides(void **state)
{
    (void) state;
    static const struct {
        const char *pattern;
        enum lm_number_check check;
        bool doubt;
        const char *number;
        enum lm_answer answer;
    } rows[] = {
        {"\\d{1,16}", LM_CHECK_CHIP, false, "274877906943", LM_ANSWER_NO}, /* not 15 digits */
        {"\\d{1,16}", LM_CHECK_CHIP, false, "999274877906943", LM_ANSWER_YES},
        {"\\d{1,16}", LM_CHECK_CHIP, false, "999274877906944", LM_ANSWER_NO}, /* 2^38 */
        {"\\d{1,16}", LM_CHECK_CHIP, true, "999274877906944", LM_ANSWER_UNKNOWN},
        {"\\d{1,16}", LM_CHECK_CHIP, false, "9990000000000001", LM_ANSWER_NO},
        {"[0-9A-Z]{15}", LM_CHECK_CHIP, false, "99900000000000A", LM_ANSWER_NO},
        {"[0-9A-Z]{1,9}", LM_CHECK_MOD37_36, false, "1", LM_ANSWER_NO}, /* nothing to check */
        {"[0-9A-Z]{1,9}", LM_CHECK_MOD37_36, true, "1", LM_ANSWER_UNKNOWN},
        {"[0-9A-Z]{1,9}", LM_CHECK_NONE, false, "1", LM_ANSWER_YES},
        {"[0-9A-Z]{14}", LM_CHECK_UK_CATTLE, false, "UK123450600001", LM_ANSWER_YES},
        {"[0-9A-Z]{14}", LM_CHECK_UK_CATTLE, false, "UK123450500001", LM_ANSWER_NO},
        {"[0-9A-Z]{14}", LM_CHECK_UK_CATTLE, false, "UX123450600001", LM_ANSWER_NO},
        {"[0-9A-Z]{14}", LM_CHECK_UK_CATTLE, false, "XK123450600001", LM_ANSWER_NO},
        {"[0-9A-Z]{14}", LM_CHECK_UK_CATTLE, false, "UK12345060000A", LM_ANSWER_NO},
        {"[0-9A-Z]{1,13}", LM_CHECK_UK_CATTLE, false, "UK12345060000", LM_ANSWER_NO},
        {NULL, LM_CHECK_NONE, false, "1", LM_ANSWER_UNKNOWN}, /* its form is not known */
        {NULL, LM_CHECK_NONE, false, " -", LM_ANSWER_NO},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_number_format f = {.id = "F",
            .pattern = rows[i].pattern,
            .check = (uint8_t) rows[i].check,
            .doubt = rows[i].doubt};
        if (lm_format_match(&f, rows[i].number) != rows[i].answer)
            fail_msg("row %zu: %s", i, rows[i].number);
    }
}

/* Each mark between is one blank, none at the ends; letters are raised, others stay. */
static void marks_between_are_blanks(void **state)
{
    (void) state;
    static const struct {
        const char *number;
        enum lm_answer answer;
    } rows[] = {{"az 12", LM_ANSWER_YES}, {"AZ-12", LM_ANSWER_YES}, {"Az.12", LM_ANSWER_YES},
        {"aZ_12", LM_ANSWER_YES}, {"az/12", LM_ANSWER_YES}, {"./az -_ 12/", LM_ANSWER_YES},
        {"az,12", LM_ANSWER_NO}, {"az12", LM_ANSWER_NO}, {"`z 12", LM_ANSWER_NO},
        {"{z 12", LM_ANSWER_NO}, {"", LM_ANSWER_NO}, {"--", LM_ANSWER_NO}};
    const struct lm_number_format f = {.id = "F", .pattern = "AZ \\d{2}", .blanks = true};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        if (lm_format_match(&f, rows[i].number) != rows[i].answer)
            fail_msg("%s", rows[i].number);
    }
}

static const char *const goats[] = {"goat"}, *const begins[] = {"77", "78"};

/* A pack of many formats for the same digits. */
static struct lm_number_format many[LM_CANDIDATES_MAX + 4];

static struct lm_rule_pack pack_of(size_t n)
{
    for (size_t i = 0; i < n; i++)
        many[i] = (struct lm_number_format){.id = "F",
            .meaning = "a number that is like all the others and needs many words to say so",
            .pattern = "\\d{4}",
            .visual = true};
    return (struct lm_rule_pack){.id = "t", .formats = many, .n_formats = n};
}

static void which_formats_it_may_be(void **state)
{
    (void) state;
    struct lm_rule_pack pack = pack_of(3);
    struct lm_rule_context ctx = {0};
    struct lm_candidates c;
    many[0].id = "GOAT";
    many[0].species = (struct lm_words){goats, 1};
    many[1].id = "BEGIN";
    many[1].prefixes = (struct lm_words){begins, 2};
    many[2].id = "CHIP";
    many[2].visual = false;
    many[2].electronic = true;
    static const struct {
        const char *number, *species;
        bool electronic;
        size_t n;
        bool doubt;
        const char *first;
    } rows[] = {
        {"1234", "goat", false, 1, false, "GOAT"}, /* sure of one, the doubted one falls away */
        {"7734", "goat", false, 2, false, "GOAT"},
        {"7834", "sheep", false, 1, false, "BEGIN"},
        {"1234", "sheep", false, 1, true, "BEGIN"},
        {"7734", "", false, 2, false, "GOAT"}, /* of no known species: any */
        {"1234", "goat", true, 1, false, "CHIP"},
        {"123", "goat", false, 0, true, NULL},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lm_format_candidates(&pack, &ctx, rows[i].number, rows[i].species, rows[i].electronic, &c);
        if (c.n != rows[i].n || c.doubt != rows[i].doubt || c.said)
            fail_msg("row %zu: %zu, %d", i, c.n, c.doubt);
        if (rows[i].first)
            assert_string_equal(c.at[0]->id, rows[i].first);
    }
    pack = pack_of(LM_CANDIDATES_MAX + 4);
    lm_format_candidates(&pack, &ctx, "1234", "goat", false, &c);
    assert_int_equal(c.n, LM_CANDIDATES_MAX); /* no more than there is room for */
}

static void the_longest_saying_wins(void **state)
{
    (void) state;
    struct lm_rule_pack pack = pack_of(3);
    many[0].id = "A";
    many[1].id = "B";
    many[2].id = "C";
    static const struct {
        struct lm_tag_type types[3];
        const char *said;
    } rows[] = {
        {{{"12*", "A"}, {"123*", "B"}, {"1*", "C"}}, "B"},
        {{{"1234", "A"}, {"12*", "B"}, {"99*", "C"}}, "A"},
        {{{"12*", "A"}, {"1*", "B"}, {"x", "C"}}, "A"},
        {{{"*", "A"}, {"x", "B"}, {"x", "C"}}, "A"},
        {{{"12*", "A"}, {"12*", "B"}, {"x", "C"}}, "A"}, /* as long: the first */
        {{{"123*", "none of them"}, {"12*", "B"}, {"x", "C"}}, "B"},
        {{{"", "A"}, {"123", "B"}, {"12345", "C"}}, NULL},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_rule_context ctx = {.types = rows[i].types, .n_types = 3};
        struct lm_candidates c;
        lm_format_candidates(&pack, &ctx, "12-34", "goat", false, &c);
        if (c.said != (rows[i].said != NULL))
            fail_msg("row %zu: %d", i, c.said);
        if (c.said) {
            assert_int_equal(c.n, 1);
            assert_string_equal(c.at[0]->id, rows[i].said);
        }
    }
}

/* The question lists them all, as far as there is room. */
static void what_it_could_be_is_said(void **state)
{
    (void) state;
    static const struct {
        size_t n;
        const char *words;
    } rows[] = {
        {2, "1234 is ambiguous: this could be F0 (m) or F1 (m); store the tag type"},
        {3, "1234 is ambiguous: this could be F0 (m), F1 (m) or F2 (m); store the tag type"},
        {9, NULL},
    };
    static const char *const ids[] = {"F0", "F1", "F2", "F3", "F4", "F5", "F6", "F7", "F8"};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_rule_pack pack = pack_of(rows[i].n);
        for (size_t k = 0; k < rows[i].n; k++) {
            many[k].id = ids[k];
            if (rows[i].words)
                many[k].meaning = "m";
        }
        struct lm_record rec = {.n_devices = 1};
        rec.devices[0].official = true;
        snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "1234");
        struct lm_rule_animal animal = {.rec = &rec};
        struct lm_rule rule = {.id = "R", .text = "t", .severity = LM_SEVERITY_STOP};
        rule.need = (struct lm_need){.kind = LM_NEED_NUMBER_FORMAT, .formats = {ids, 1}};
        struct lm_rule_context ctx = {0};
        struct lm_rule_result r;
        assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_UNKNOWN);
        if (rows[i].words)
            assert_string_equal(r.words, rows[i].words);
        else
            assert_true(strlen(r.words) < LM_RULE_WORDS && strstr(r.words, " F2 (") != NULL);
    }
}

/* What a pack cannot say, another caller may: nothing to look for, no colour, no text. */
static void needs_that_lack_something(void **state)
{
    (void) state;
    struct lm_rule_pack pack = {.id = "t"};
    struct lm_record rec = {.n_devices = 1};
    struct lm_rule_animal animal = {.rec = &rec}, lot = {0};
    struct lm_rule_context ctx = {.date = {2026, 11, 2}};
    struct lm_rule_result r;
    struct lm_rule rule = {.id = "R", .text = "as it stands", .severity = LM_SEVERITY_STOP};
    static const struct lm_when male = {.sex = LM_SEX_MALE};
    rec.devices[0] = (struct lm_device){.official = true, .form = LM_BOLUS, .visual = "7"};
    rule.need.kind = LM_NEED_VISIBLE_MATCH;
    assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_FAIL);
    assert_non_null(strstr(r.words, "no visible device"));
    rule.need.kind = LM_NEED_BIRTH_YEAR_COLOUR;
    rec.born.year = 2020;
    assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_UNKNOWN);
    rule.need = (struct lm_need){.kind = LM_NEED_ONLY_WHEN, .only = &male};
    rec.sex = LM_SEX_FEMALE;
    assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_FAIL);
    assert_string_equal(r.words, "as it stands");
    rule.need.text = "males only";
    assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_FAIL);
    assert_string_equal(r.words, "males only");
    rec.sex = LM_SEX_UNKNOWN;
    assert_int_equal(lm_rule_check(&pack, &rule, &animal, &ctx, &r), LM_OUTCOME_UNKNOWN);
    assert_string_equal(r.words, "its sex is not known");
    assert_int_equal(lm_rule_check(&pack, &rule, &lot, &ctx, &r), LM_OUTCOME_NONE);
    rule.of_lot = true;
    rule.species = (struct lm_words){goats, 1}; /* a lot has none */
    rule.need.kind = LM_NEED_HEADS_AGREE;
    ctx.has_heads = true;
    assert_int_equal(lm_rule_check(&pack, &rule, &lot, &ctx, &r), LM_OUTCOME_PASS);
    assert_false(lm_words_have(&rule.species, NULL));
    assert_true(lm_words_have(&rule.species, "Goat"));
}

/* A number as long as there is room for is compared whole. */
static void the_longest_number(void **state)
{
    (void) state;
    char begin[LM_VISUAL_MAX + 1];
    const char *const word[] = {begin};
    struct lm_record rec = {.n_devices = 1};
    struct lm_rule_animal animal = {.rec = &rec};
    struct lm_rule_pack pack = {.id = "t"};
    struct lm_rule_context ctx = {0};
    struct lm_when when = {.number_begins = {word, 1}};
    memset(begin, 'A', LM_VISUAL_MAX);
    begin[LM_VISUAL_MAX] = '\0';
    rec.devices[0].official = true;
    memset(rec.devices[0].visual, 'a', LM_VISUAL_MAX);
    assert_int_equal(lm_when_holds(&pack, &when, &animal, &ctx, NULL), LM_ANSWER_YES);
    rec.devices[0].visual[LM_VISUAL_MAX - 1] = 'b';
    assert_int_equal(lm_when_holds(&pack, &when, &animal, &ctx, NULL), LM_ANSWER_NO);
}

static void a_device_in_few_words(void **state)
{
    (void) state;
    char out[LM_VISUAL_MAX + 1];
    struct lm_device d = {.form = LM_DEVICE_UNKNOWN};
    assert_string_equal(lm_device_say(&d, out), "a device without a number");
    d.form = LM_BOLUS;
    assert_string_equal(lm_device_say(&d, out), "bolus");
    assert_int_equal(lm_eid_make(999, 7, &d.eid), LM_OK);
    assert_string_equal(lm_device_say(&d, out), "999000000000007");
    snprintf(d.visual, sizeof d.visual, "0417");
    assert_string_equal(lm_device_say(&d, out), "0417");
}

static void names_of_nothing(void **state)
{
    (void) state;
    assert_string_equal(lm_need_name(LM_NEEDS), "");
    assert_string_equal(lm_purpose_name(LM_PURPOSES), "");
    assert_string_equal(lm_evidence_name((enum lm_evidence) 4), "");
    assert_string_equal(lm_outcome_name((enum lm_outcome) 5), "");
    assert_string_equal(lm_outcome_name(LM_OUTCOME_FAIL), "fail");
}

static void classes_of_age(void **state)
{
    (void) state;
    static const struct {
        struct lm_date born;
        const char *name;
    } rows[] = {{{2026, 5, 3}, "under 6 months"}, {{2026, 5, 2}, "6 to 12 months"},
        {{2026, 5, 0}, "not known"}, {{2025, 11, 3}, "6 to 12 months"},
        {{2025, 11, 2}, "12 to 18 months"}, {{2025, 5, 2}, "18 months or more"},
        {{2025, 0, 0}, "not known"}, {{2020, 0, 0}, "18 months or more"}, {{0}, "not known"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_string_equal(
            lm_age_class(rows[i].born, (struct lm_date){2026, 11, 2}), rows[i].name);
    assert_string_equal(lm_age_class(rows[0].born, (struct lm_date){2026, 11, 0}), "not known");
}

static void patterns_and_what_they_match(void **state)
{
    (void) state;
    static const struct {
        const char *pattern, *text;
        bool good, matches;
    } rows[] = {
        {"[A-C]", "C", true, true},
        {"[A-C]", "D", true, false},
        {"[C-A]", "B", false, false},
        {"[A-", "A", false, false},
        {"[A-]", "A", false, false},
        {"[]", "", false, false},
        {"\\", "", false, false},
        {"\\D", "D", false, false},
        {"a", "a", false, false},
        {"A{2}", "AA", true, true},
        {"A{1,2}", "AAA", true, false},
        {"A{2,1}", "A", false, false},
        {"A{41}", "A", false, false},
        {"A{0040}", "A", false, false},
        {"A{}", "A", false, false},
        {"A{1,}", "A", false, false},
        {"A{,1}", "A", false, false},
        {"A{1", "A", false, false},
        {"(A|B)?C", "C", true, true},
        {"(A|B)?C", "BC", true, true},
        {"(A|B)?C", "AB", true, false},
        {"(A){2}", "AA", false, false},
        {"(A)??", "A", false, false},
        {"A|B", "A", false, false},
        {"", "", false, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        if ((lm_pattern_bad(rows[i].pattern) == 0) != rows[i].good)
            fail_msg("\"%s\": %zu", rows[i].pattern, lm_pattern_bad(rows[i].pattern));
        if (rows[i].good && lm_pattern_match(rows[i].pattern, rows[i].text) != rows[i].matches)
            fail_msg("\"%s\" and \"%s\"", rows[i].pattern, rows[i].text);
    }
    char longest[700];
    memset(longest, 'A', sizeof longest);
    longest[600] = '\0';
    assert_int_equal(lm_pattern_bad(longest), 0);
    longest[600] = 'A';
    longest[601] = '\0';
    assert_int_equal(lm_pattern_bad(longest), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_check_decides),
        cmocka_unit_test(marks_between_are_blanks),
        cmocka_unit_test(which_formats_it_may_be),
        cmocka_unit_test(the_longest_saying_wins),
        cmocka_unit_test(what_it_could_be_is_said),
        cmocka_unit_test(needs_that_lack_something),
        cmocka_unit_test(the_longest_number),
        cmocka_unit_test(a_device_in_few_words),
        cmocka_unit_test(names_of_nothing),
        cmocka_unit_test(classes_of_age),
        cmocka_unit_test(patterns_and_what_they_match),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
