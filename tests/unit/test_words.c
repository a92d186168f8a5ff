/** @file test_words.c
 * The words of files and of people.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "lugmark/record.h"

static void names_come_back(void **state)
{
    (void) state;
    static const char *const statuses[] = {"on-farm", "sold", "dead", "slaughtered", "lost"};
    static const char *const forms[] = {
        "", "flag tag", "button tag", "loop tag", "bolus", "injectable", "leg band", "tattoo"};
    static const char *const places[] = {"", "left ear", "right ear", "rumen", "leg", "tail web"};
    static const char *const sexes[] = {"", "female", "male"};
    for (int i = 0; i < 5; i++) {
        enum lm_status got = (enum lm_status) 99;
        assert_string_equal(lm_status_name((enum lm_status) i), statuses[i]);
        assert_int_equal(lm_status_parse(statuses[i], &got), LM_OK);
        assert_int_equal(got, i);
    }
    for (int i = 0; i < 8; i++) {
        enum lm_device_form got = (enum lm_device_form) 99;
        assert_string_equal(lm_device_form_name((enum lm_device_form) i), forms[i]);
        assert_int_equal(lm_device_form_parse(forms[i], &got), LM_OK);
        assert_int_equal(got, i);
    }
    for (int i = 0; i < 6; i++) {
        enum lm_place got = (enum lm_place) 99;
        assert_string_equal(lm_place_name((enum lm_place) i), places[i]);
        assert_int_equal(lm_place_parse(places[i], &got), LM_OK);
        assert_int_equal(got, i);
    }
    for (int i = 0; i < 3; i++) {
        enum lm_sex got = (enum lm_sex) 99;
        bool castrated = true;
        assert_string_equal(lm_sex_name((enum lm_sex) i), sexes[i]);
        assert_int_equal(lm_sex_parse(sexes[i], &got, &castrated), LM_OK);
        assert_int_equal(got, i);
        assert_false(castrated);
    }
    assert_string_equal(lm_status_name((enum lm_status) 99), "");
    assert_string_equal(lm_device_form_name((enum lm_device_form) - 1), "");
}

static void words_for_sex(void **state)
{
    (void) state;
    static const struct {
        const char *word;
        enum lm_sex sex;
        bool castrated;
    } cases[] = {{"Doe", LM_SEX_FEMALE, false}, {"EWE", LM_SEX_FEMALE, false},
        {"nanny", LM_SEX_FEMALE, false}, {"F", LM_SEX_FEMALE, false}, {"buck", LM_SEX_MALE, false},
        {"ram", LM_SEX_MALE, false}, {"Billy", LM_SEX_MALE, false}, {"m", LM_SEX_MALE, false},
        {"ram_lamb", LM_SEX_MALE, false}, {"wether", LM_SEX_MALE, true},
        {"Castrated-Male", LM_SEX_MALE, true}, {"unknown", LM_SEX_UNKNOWN, false}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        enum lm_sex sex = (enum lm_sex) 99;
        bool castrated = !cases[i].castrated;
        assert_int_equal(lm_sex_parse(cases[i].word, &sex, &castrated), LM_OK);
        assert_int_equal(sex, cases[i].sex);
        assert_int_equal(castrated, cases[i].castrated);
        assert_int_equal(lm_sex_parse(cases[i].word, &sex, NULL), LM_OK);
    }
}

static void words_for_the_rest(void **state)
{
    (void) state;
    static const struct {
        const char *word;
        enum lm_status want;
    } statuses[] = {{"", LM_ON_FARM}, {"Alive", LM_ON_FARM}, {"on farm", LM_ON_FARM},
        {"died", LM_DEAD}, {"culled", LM_SLAUGHTERED}, {"SOLD", LM_SOLD}, {"stolen", LM_LOST}};
    static const struct {
        const char *word;
        enum lm_place want;
    } places[] = {{"left", LM_LEFT_EAR}, {"RIGHT", LM_RIGHT_EAR}, {"Left_Ear", LM_LEFT_EAR},
        {"tail-web", LM_TAIL_WEB}, {"hind leg", LM_LEG}};
    static const struct {
        const char *word;
        enum lm_device_form want;
    } forms[] = {{"FLAG-TAG", LM_FLAG_TAG}, {"button", LM_BUTTON_TAG}, {"rumen bolus", LM_BOLUS},
        {"microchip", LM_INJECTABLE}, {"leg_band", LM_LEG_BAND}};
    for (size_t i = 0; i < sizeof statuses / sizeof statuses[0]; i++) {
        enum lm_status got = (enum lm_status) 99;
        assert_int_equal(lm_status_parse(statuses[i].word, &got), LM_OK);
        assert_int_equal(got, statuses[i].want);
    }
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        enum lm_place got = (enum lm_place) 99;
        assert_int_equal(lm_place_parse(places[i].word, &got), LM_OK);
        assert_int_equal(got, places[i].want);
    }
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        enum lm_device_form got = (enum lm_device_form) 99;
        assert_int_equal(lm_device_form_parse(forms[i].word, &got), LM_OK);
        assert_int_equal(got, forms[i].want);
    }
}

/** A word that could mean several things is asked about, never guessed. */
static void unknown_words_change_nothing(void **state)
{
    (void) state;
    static const char *const bad[] = {"xyzzy", "tag", "ear", "lef", "doee", " "};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        enum lm_sex sex = LM_SEX_MALE;
        enum lm_status status = LM_SOLD;
        enum lm_device_form form = LM_BOLUS;
        enum lm_place place = LM_RUMEN;
        bool castrated = true;
        assert_int_equal(lm_sex_parse(bad[i], &sex, &castrated), LM_EFRAME);
        assert_int_equal(lm_status_parse(bad[i], &status), LM_EFRAME);
        assert_int_equal(lm_device_form_parse(bad[i], &form), LM_EFRAME);
        assert_int_equal(lm_place_parse(bad[i], &place), LM_EFRAME);
        assert_true(sex == LM_SEX_MALE && castrated && status == LM_SOLD && form == LM_BOLUS &&
                    place == LM_RUMEN);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_come_back),
        cmocka_unit_test(words_for_sex),
        cmocka_unit_test(words_for_the_rest),
        cmocka_unit_test(unknown_words_change_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
