/* The marking plan: what each key says, and what of it an animal does not wear. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "lugmark/markplan.h"

static void set(struct lm_markplan *plan, enum lm_plan_key key, const char *value)
{
    struct lm_problem p = {0};
    if (lm_markplan_set(plan, key, value, &p) != LM_OK)
        fail_msg("%s: %s", value, p.what);
}

static struct lm_mark mark_of(const struct lm_markplan *plan, int year, enum lm_sex sex)
{
    struct lm_mark_for whom = {.born = {(int16_t) year, 3, 1}, .sex = sex};
    return lm_markplan_for(plan, &whom);
}

/* Common practice: a colour stands for one birth year; the cycle is the eight-year one of a
 * national custom, index (year - 2024) mod 8 from black. */
static void test_colour_of_the_year(void **state)
{
    static const struct {
        int year;
        const char *colour;
    } cases[] = {{2024, "black"}, {2025, "white"}, {2026, "orange"}, {2027, "light green"},
        {2028, "purple"}, {2029, "yellow"}, {2030, "red"}, {2031, "sky blue"}, {2032, "black"},
        {2023, "sky blue"}, {2022, "red"}, {2016, "black"}, {2015, "sky blue"}, {2040, "black"}};
    struct lm_markplan plan = {0};
    (void) state;
    set(&plan, LM_PLAN_COLOUR_CYCLE,
        "2024 black, white, orange, light green, purple, yellow, red, sky blue");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_string_equal(mark_of(&plan, cases[i].year, LM_SEX_FEMALE).colour, cases[i].colour);
    set(&plan, LM_PLAN_COLOURS, "2026=pink; 2030 grey");
    assert_string_equal(mark_of(&plan, 2026, LM_SEX_MALE).colour, "pink");
    assert_string_equal(mark_of(&plan, 2030, LM_SEX_MALE).colour, "grey");
    assert_string_equal(mark_of(&plan, 2027, LM_SEX_MALE).colour, "light green");
    assert_string_equal(mark_of(&plan, 0, LM_SEX_MALE).colour, "");
}

/* Common practice: one holding's females are tagged in the right ear; another has it the other way
 * round, which is why it is data. */
static void test_ear_by_sex(void **state)
{
    struct lm_markplan plan = {0};
    (void) state;
    set(&plan, LM_PLAN_EAR_FEMALE, "right");
    set(&plan, LM_PLAN_EAR_MALE, "left ear");
    assert_int_equal(mark_of(&plan, 2026, LM_SEX_FEMALE).place, LM_RIGHT_EAR);
    assert_int_equal(mark_of(&plan, 2026, LM_SEX_MALE).place, LM_LEFT_EAR);
    assert_int_equal(mark_of(&plan, 2026, LM_SEX_UNKNOWN).place, LM_PLACE_UNKNOWN);
}

/* Two published sequences of breed societies: one skips G, I, O, Q and U, from 2019 L to 2026 V;
 * another only I, O, Q and U. */
static void test_year_letters(void **state)
{
    static const char letters[] = "LMNPRSTV";
    struct lm_markplan plan = {0};
    (void) state;
    assert_int_equal(lm_plan_letter(&plan, 2026), 0);
    set(&plan, LM_PLAN_LETTERS, "2019 L");
    set(&plan, LM_PLAN_LETTERS_SKIP, "GIOQU");
    struct lm_problem skipped;
    assert_int_equal(lm_markplan_set(&plan, LM_PLAN_LETTERS, "2019 q", &skipped), LM_EINPUT);
    assert_int_equal(lm_markplan_set(&plan, LM_PLAN_LETTERS_SKIP, "IL", &skipped), LM_EINPUT);
    for (int i = 0; i < 8; i++)
        assert_int_equal(lm_plan_letter(&plan, 2019 + i), letters[i]);
    assert_int_equal(lm_plan_letter(&plan, 2030), 'Z');
    assert_int_equal(lm_plan_letter(&plan, 2031), 'A');
    assert_int_equal(lm_plan_letter(&plan, 2010), 'A'); /* L is the 10th of the 21 that are left */
    assert_int_equal(lm_plan_letter(&plan, 2009), 'Z');
    set(&plan, LM_PLAN_LETTERS_SKIP, "");
    set(&plan, LM_PLAN_LETTERS, "1995 g");
    assert_int_equal(lm_plan_letter(&plan, 1995), 'G');
    assert_int_equal(lm_plan_letter(&plan, 1997), 'J'); /* no I */
    for (int year = 1990; year < 2040; year++)
        assert_null(strchr("IOQU", lm_plan_letter(&plan, year)));
    set(&plan, LM_PLAN_LETTERS, "1995 O"); /* a letter that is skipped names no year */
    assert_int_equal(lm_plan_letter(&plan, 1995), 0);
}

static void test_numbers(void **state)
{
    static const struct {
        const char *pattern, *visual;
        bool fits;
    } cases[] = {{"6###", "6017", true}, {"6###", "6 017", true}, {"6###", "5017", false},
        {"6###", "601", false}, {"6###", "60170", false}, {"@##", "T12", true},
        {"@##", "t12", true}, {"@##", "112", false}, {"", "", true}, {"##", "1A", false}};
    struct lm_markplan plan = {0};
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        if (lm_plan_number_fits(cases[i].pattern, cases[i].visual) != cases[i].fits)
            fail_msg("%s %s", cases[i].pattern, cases[i].visual);
    set(&plan, LM_PLAN_NUMBER, "Y###");
    assert_string_equal(mark_of(&plan, 2026, LM_SEX_FEMALE).number, "6###");
    assert_string_equal(mark_of(&plan, 0, LM_SEX_FEMALE).number, "####");
    set(&plan, LM_PLAN_NUMBER, "YY-L##");
    set(&plan, LM_PLAN_LETTERS, "2026 V");
    assert_string_equal(mark_of(&plan, 2026, LM_SEX_FEMALE).number, "26-V##");
    assert_string_equal(mark_of(&plan, 0, LM_SEX_FEMALE).number, "##-@##");
}

static void test_hardly_any_ear(void **state)
{
    struct lm_markplan plan = {0};
    struct lm_mark_for whom = {.born = {2026, 0, 0}, .sex = LM_SEX_FEMALE, .breed = "gopher eared"};
    char words[LM_PLAN_TEXT_MAX];
    (void) state;
    set(&plan, LM_PLAN_COLOURS, "2026 orange");
    set(&plan, LM_PLAN_EAR_FEMALE, "right ear");
    set(&plan, LM_PLAN_LETTERS, "2026 V");
    set(&plan, LM_PLAN_SMALL_EARS, "short-eared, gopher-eared");
    struct lm_mark mark = lm_markplan_for(&plan, &whom);
    assert_string_equal(lm_mark_words(&mark, words), "tattoo in the tail web, year letter V");
    set(&plan, LM_PLAN_SMALL_PLACE, "left ear");
    mark = lm_markplan_for(&plan, &whom);
    assert_int_equal(mark.place, LM_LEFT_EAR);
    whom.breed = "boer";
    mark = lm_markplan_for(&plan, &whom);
    assert_string_equal(lm_mark_words(&mark, words), "orange in the right ear");
}

static void test_what_differs(void **state)
{
    struct lm_mark_for whom = {.born = {2026, 0, 0}, .sex = LM_SEX_FEMALE};
    struct lm_markplan plan = {0};
    const struct {
        struct lm_mark_worn worn[2];
        size_t n;
        const char *should;
    } cases[] = {
        {{{"6001", "orange", LM_FLAG_TAG, LM_RIGHT_EAR, false}}, 1, ""},
        {{{"5001", "red", LM_BUTTON_TAG, LM_LEFT_EAR, false}}, 1,
            "orange, flag tag, right ear, number 6###"},
        {{{"6001", "Orange", LM_FLAG_TAG, LM_LEFT_EAR, false}}, 1, "right ear"},
        /* a number of the authority's is no number of the holding's */
        {{{"UK0", "orange", LM_FLAG_TAG, LM_RIGHT_EAR, true}}, 1, ""},
        /* a pair: one in each ear */
        {{{"6001", "orange", LM_FLAG_TAG, LM_LEFT_EAR, false},
             {"6001", "yellow", LM_FLAG_TAG, LM_RIGHT_EAR, false}},
            2, ""},
        /* what nobody wrote down is no fault */
        {{{"6001", "", LM_DEVICE_UNKNOWN, LM_PLACE_UNKNOWN, false}}, 1, ""},
        {{{"", "black", LM_BOLUS, LM_RUMEN, false}}, 1, ""},
        {{{"77", "red", LM_LEG_BAND, LM_LEG, false}}, 1, ""},
        {{{"", "", 0, 0, false}}, 0, ""},
    };
    char should[LM_PLAN_TEXT_MAX];
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct lm_markplan none = {0};
        assert_false(lm_markplan_differs(&none, &whom, cases[i].worn, cases[i].n, should));
    }
    set(&plan, LM_PLAN_COLOURS, "2026 orange");
    set(&plan, LM_PLAN_EAR_FEMALE, "right ear");
    set(&plan, LM_PLAN_FORM, "flag tag");
    set(&plan, LM_PLAN_NUMBER, "Y###");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        bool differs = lm_markplan_differs(&plan, &whom, cases[i].worn, cases[i].n, should);
        assert_string_equal(should, cases[i].should);
        assert_int_equal(differs, cases[i].should[0] != '\0');
    }
}

static void test_removed_devices_are_not_worn(void **state)
{
    struct lm_markplan plan = {0};
    struct lm_record rec = {.born = {2026, 0, 0}, .n_devices = 2};
    char should[LM_PLAN_TEXT_MAX];
    (void) state;
    set(&plan, LM_PLAN_COLOURS, "2026 orange");
    strcpy(rec.devices[0].colour, "orange");
    strcpy(rec.devices[1].colour, "red");
    assert_false(lm_markplan_record(&plan, &rec, should));
    rec.devices[0].gone = true;
    assert_true(lm_markplan_record(&plan, &rec, should));
}

static void test_values_that_cannot_be(void **state)
{
    static const struct {
        enum lm_plan_key key;
        const char *value;
    } cases[] = {{LM_PLAN_COLOURS, "orange"}, {LM_PLAN_COLOURS, "2026"},
        {LM_PLAN_COLOURS, "2026 orange, white"}, {LM_PLAN_COLOUR_CYCLE, "black, white"},
        {LM_PLAN_COLOUR_CYCLE, "24 black"}, {LM_PLAN_EAR_MALE, "rumen"},
        {LM_PLAN_EAR_FEMALE, "nose"}, {LM_PLAN_FORM, "brick"}, {LM_PLAN_LETTERS, "L"},
        {LM_PLAN_COLOURS, "2026 orange, 2027 green; 2026 red"}, {LM_PLAN_LETTERS, "2019 LM"},
        {LM_PLAN_LETTERS, "2019 5"}, {LM_PLAN_LETTERS_SKIP, "A1"},
        {LM_PLAN_LETTERS_SKIP, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"},
        {LM_PLAN_NUMBER, "#########################"}, {LM_PLAN_SMALL_PLACE, "leg"},
        {LM_PLAN_COLOURS, "2026 or\x01nge"}};
    struct lm_markplan plan = {0};
    struct lm_problem p;
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        memset(&p, 0, sizeof p);
        if (lm_markplan_set(&plan, cases[i].key, cases[i].value, &p) != LM_EINPUT)
            fail_msg("%s was taken", cases[i].value);
        assert_true(p.what[0] != '\0' && p.mend[0] != '\0');
        assert_true(lm_markplan_empty(&plan));
    }
}

static void test_names_of_keys(void **state)
{
    enum lm_plan_key key;
    (void) state;
    for (int i = 0; i < LM_PLAN_KEYS; i++) {
        assert_true(lm_plan_key_parse(lm_plan_key_name((enum lm_plan_key) i), &key));
        assert_int_equal(key, i);
    }
    assert_true(lm_plan_key_parse("EAR_female", &key));
    assert_int_equal(key, LM_PLAN_EAR_FEMALE);
    assert_false(lm_plan_key_parse("ear", &key));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_colour_of_the_year),
        cmocka_unit_test(test_ear_by_sex),
        cmocka_unit_test(test_year_letters),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_hardly_any_ear),
        cmocka_unit_test(test_what_differs),
        cmocka_unit_test(test_removed_devices_are_not_worn),
        cmocka_unit_test(test_values_that_cannot_be),
        cmocka_unit_test(test_names_of_keys),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
