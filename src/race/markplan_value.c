/* The values of a marking plan: names, and what each key can hold. */
#include "race/markplan_priv.h"

#include <stdio.h>
#include <string.h>

static const char *const names[LM_PLAN_KEYS] = {
    [LM_PLAN_COLOURS] = "colours",
    [LM_PLAN_COLOUR_CYCLE] = "colour-cycle",
    [LM_PLAN_EAR_FEMALE] = "ear-female",
    [LM_PLAN_EAR_MALE] = "ear-male",
    [LM_PLAN_FORM] = "form",
    [LM_PLAN_NUMBER] = "number",
    [LM_PLAN_LETTERS] = "year-letter",
    [LM_PLAN_LETTERS_SKIP] = "letters-skip",
    [LM_PLAN_SMALL_EARS] = "small-ears",
    [LM_PLAN_SMALL_PLACE] = "small-ears-place",
};

const char *lm_plan_key_name(enum lm_plan_key key)
{
    return names[key];
}

bool lm_plan_key_parse(const char *name, enum lm_plan_key *key)
{
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        if (lm_word_is(name, names[i])) {
            *key = (enum lm_plan_key) i;
            return true;
        }
    return false;
}

bool lm_plan_next(const char **at, char out[LM_NAME_MAX + 1])
{
    *at += strspn(*at, ",; ");
    size_t len = strcspn(*at, ",;");
    if (len == 0)
        return false;
    lm_text_copy(out, LM_NAME_MAX + 1, *at, len);
    *at += len;
    return true;
}

int lm_plan_year(const char *word, const char **rest)
{
    int year = 0;
    for (int i = 0; i < 4; i++) {
        if (word[i] < '0' || word[i] > '9')
            return 0;
        year = year * 10 + (word[i] - '0');
    }
    if (year < 1900 || (word[4] >= '0' && word[4] <= '9'))
        return 0;
    *rest = word + 4 + strspn(word + 4, " =:");
    return year;
}

/* Whether a year stands in the list before this place: then which colour it has nobody knows. */
static bool year_before(const char *value, const char *end, int year)
{
    char word[LM_NAME_MAX + 1];
    const char *at = value, *rest;
    while (at < end && lm_plan_next(&at, word))
        if (at < end && lm_plan_year(word, &rest) == year)
            return true;
    return false;
}

static bool years_ok(const char *value)
{
    char word[LM_NAME_MAX + 1];
    const char *at = value, *rest;
    while (lm_plan_next(&at, word)) {
        int year = lm_plan_year(word, &rest);
        if (year == 0 || rest[0] == '\0' || year_before(value, at, year))
            return false;
    }
    return true;
}

static bool cycle_ok(const char *value)
{
    char word[LM_NAME_MAX + 1];
    const char *at = value, *rest;
    if (!lm_plan_next(&at, word) || lm_plan_year(word, &rest) == 0 || rest[0] == '\0')
        return false;
    return true;
}

static bool ear_ok(const char *value)
{
    enum lm_place place = LM_PLACE_UNKNOWN;
    return lm_place_parse(value, &place) == LM_OK &&
           (place == LM_LEFT_EAR || place == LM_RIGHT_EAR || place == LM_TAIL_WEB);
}

static bool form_ok(const char *value)
{
    enum lm_device_form form = LM_DEVICE_UNKNOWN;
    return lm_device_form_parse(value, &form) == LM_OK && form != LM_DEVICE_UNKNOWN;
}

static bool letters_ok(const char *value)
{
    size_t n = strspn(value, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz, ");
    return value[n] == '\0' && n < 26;
}

static bool letter_ok(const char *value)
{
    const char *rest;
    return lm_plan_year(value, &rest) != 0 && rest[0] != '\0' && rest[1] == '\0' &&
           letters_ok(rest) && rest[0] != ',' && rest[0] != ' ';
}

static bool short_ok(const char *value)
{
    return strlen(value) <= 24;
}

static bool any_ok(const char *value)
{
    return value[0] != '\0';
}

static const struct {
    bool (*ok)(const char *value);
    const char *mend;
} checks[LM_PLAN_KEYS] = {
    [LM_PLAN_COLOURS] = {years_ok,
        "write each year once, with its colour: 2026 orange, 2027 green"},
    [LM_PLAN_COLOUR_CYCLE] = {cycle_ok, "write the first year and the colours: 2024 black, white"},
    [LM_PLAN_EAR_FEMALE] = {ear_ok, "left ear, right ear or tail web"},
    [LM_PLAN_EAR_MALE] = {ear_ok, "left ear, right ear or tail web"},
    [LM_PLAN_FORM] = {form_ok, "flag tag, button tag, loop tag, leg band or tattoo"},
    [LM_PLAN_NUMBER] = {short_ok, "at most 24 signs, such as Y###"},
    [LM_PLAN_LETTERS] = {letter_ok, "write a year and its letter: 2019 L"},
    [LM_PLAN_LETTERS_SKIP] = {letters_ok, "letters only: IOQU"},
    [LM_PLAN_SMALL_EARS] = {any_ok, "breeds, with commas between"},
    [LM_PLAN_SMALL_PLACE] = {ear_ok, "left ear, right ear or tail web"},
};

/* Whether the letter of the first year would be one of those left out: then no year has any. */
static bool letter_is_skipped(
    const struct lm_markplan *plan, enum lm_plan_key key, const char *value)
{
    const char *first = key == LM_PLAN_LETTERS ? value : plan->values[LM_PLAN_LETTERS];
    const char *skip = key == LM_PLAN_LETTERS_SKIP ? value : plan->values[LM_PLAN_LETTERS_SKIP];
    if ((key != LM_PLAN_LETTERS && key != LM_PLAN_LETTERS_SKIP) || first[0] == '\0')
        return false;
    int letter = first[strlen(first) - 1] & ~0x20; /* a letter of either case */
    for (; *skip != '\0'; skip++)
        if ((*skip & ~0x20) == letter)
            return true;
    return false;
}

enum lm_err lm_markplan_set(
    struct lm_markplan *plan, enum lm_plan_key key, const char *value, struct lm_problem *p)
{
    char text[LM_PLAN_VALUE_MAX + 1];
    if (!lm_text_copy(text, sizeof text, value, strlen(value)))
        return lm_problem_set(p, LM_EINPUT, "write it in one line of plain text",
            "%s: too long, or not clean text", names[key]);
    if (text[0] != '\0' && !checks[key].ok(text))
        return lm_problem_set(
            p, LM_EINPUT, checks[key].mend, "%s cannot be \"%.200s\"", names[key], text);
    if (letter_is_skipped(plan, key, text))
        return lm_problem_set(p, LM_EINPUT, "write the letter that the year really has",
            "the letter of the first year is one of those that are skipped");
    memcpy(plan->values[key], text, sizeof text);
    return LM_OK;
}

bool lm_markplan_empty(const struct lm_markplan *plan)
{
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        if (plan->values[i][0] != '\0')
            return false;
    return true;
}
