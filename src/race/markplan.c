/* What a marking plan says of one animal, and what of it the animal does not wear. */
#include "race/markplan_priv.h"

#include <stdio.h>
#include <string.h>

static const char *colour_of(const struct lm_markplan *plan, int year, char word[LM_NAME_MAX + 1])
{
    const char *at = plan->values[LM_PLAN_COLOURS], *rest = "";
    while (lm_plan_next(&at, word))
        if (lm_plan_year(word, &rest) == year)
            return rest;
    at = plan->values[LM_PLAN_COLOUR_CYCLE];
    int n = 0, first = 0;
    while (lm_plan_next(&at, word))
        if (n++ == 0)
            first = lm_plan_year(word, &rest);
    if (n == 0 || first == 0)
        return "";
    int want = ((year - first) % n + n) % n; /* years before the first go round, too */
    at = plan->values[LM_PLAN_COLOUR_CYCLE];
    for (int i = 0; i <= want; i++)
        lm_plan_next(&at, word);
    if (want == 0)
        lm_plan_year(word, &rest);
    return want == 0 ? rest : word;
}

static bool skipped(const struct lm_markplan *plan, char letter)
{
    const char *skip = plan->values[LM_PLAN_LETTERS_SKIP];
    for (const char *c = skip[0] != '\0' ? skip : "IOQU"; *c != '\0'; c++)
        if ((*c & ~0x20) == letter)
            return true;
    return false;
}

/* Letters that are left, in order; *n at most 26. */
static void alphabet(const struct lm_markplan *plan, char out[27], int *n)
{
    *n = 0;
    for (int c = 'A'; c <= 'Z'; c++)
        if (!skipped(plan, (char) c))
            out[(*n)++] = (char) c;
    out[*n] = '\0';
}

char lm_plan_letter(const struct lm_markplan *plan, int year)
{
    const char *rest = "", *at;
    char letters[27];
    int n;
    int first = lm_plan_year(plan->values[LM_PLAN_LETTERS], &rest);
    if (first == 0)
        return 0;
    alphabet(plan, letters, &n);
    at = strchr(letters, rest[0] & ~0x20);
    if (n == 0 || at == NULL || rest[0] == '\0')
        return 0;
    return letters[(((int) (at - letters) + year - first) % n + n) % n];
}

static bool small_eared(const struct lm_markplan *plan, const char *breed)
{
    char word[LM_NAME_MAX + 1];
    const char *at = plan->values[LM_PLAN_SMALL_EARS];
    while (breed != NULL && breed[0] != '\0' && lm_plan_next(&at, word))
        if (lm_word_is(breed, word))
            return true;
    return false;
}

static char digit(int n)
{
    return (char) ('0' + n % 10);
}

/* The pattern with Y and L filled in; where the year is not known they stay open. */
static void number_of(const struct lm_markplan *plan, int year, char letter, char *out, size_t size)
{
    const char *c = plan->values[LM_PLAN_NUMBER];
    size_t n = 0;
    for (; *c != '\0' && n + 2 < size; c++) {
        if (c[0] == 'Y' && c[1] == 'Y') {
            out[n++] = (char) (year != 0 ? digit(year / 10) : '#');
            out[n++] = (char) (year != 0 ? digit(year) : '#');
            c++;
        } else if (*c == 'Y') {
            out[n++] = (char) (year != 0 ? digit(year) : '#');
        } else if (*c == 'L') {
            out[n++] = (char) (letter != 0 ? letter : '@');
        } else {
            out[n++] = *c;
        }
    }
    out[n] = '\0';
}

static enum lm_place place_in(const struct lm_markplan *plan, enum lm_plan_key key)
{
    enum lm_place place = LM_PLACE_UNKNOWN;
    lm_place_parse(plan->values[key], &place);
    return place;
}

struct lm_mark lm_markplan_for(const struct lm_markplan *plan, const struct lm_mark_for *whom)
{
    struct lm_mark mark = {0};
    char word[LM_NAME_MAX + 1] = "";
    enum lm_device_form form = LM_DEVICE_UNKNOWN;
    int year = whom->born.year;
    if (year != 0)
        snprintf(mark.colour, sizeof mark.colour, "%s", colour_of(plan, year, word));
    if (year != 0)
        mark.letter = lm_plan_letter(plan, year);
    number_of(plan, year, mark.letter, mark.number, sizeof mark.number);
    if (whom->sex == LM_SEX_FEMALE)
        mark.place = (uint8_t) place_in(plan, LM_PLAN_EAR_FEMALE);
    else if (whom->sex == LM_SEX_MALE)
        mark.place = (uint8_t) place_in(plan, LM_PLAN_EAR_MALE);
    lm_device_form_parse(plan->values[LM_PLAN_FORM], &form);
    mark.form = (uint8_t) form;
    if (!small_eared(plan, whom->breed))
        return mark;
    mark.form = LM_TATTOO;
    mark.colour[0] = '\0';
    mark.place = (uint8_t) place_in(plan, LM_PLAN_SMALL_PLACE);
    if (mark.place == LM_PLACE_UNKNOWN)
        mark.place = LM_TAIL_WEB;
    return mark;
}

bool lm_plan_number_fits(const char *pattern, const char *visual)
{
    char p[LM_VISUAL_MAX + 1], v[LM_VISUAL_MAX + 1];
    size_t n = lm_visual_fold(pattern, p), i = 0;
    if (lm_visual_fold(visual, v) != n)
        return false;
    for (; i < n; i++) {
        bool digit = v[i] >= '0' && v[i] <= '9', letter = v[i] >= 'A' && v[i] <= 'Z';
        if (p[i] == '#' ? !digit : p[i] == '@' ? !letter : p[i] != v[i])
            return false;
    }
    return true;
}

static void join(char out[LM_PLAN_TEXT_MAX], const char *gap, const char *text)
{
    size_t len = strlen(out);
    if (text[0] != '\0' && len + 1 < LM_PLAN_TEXT_MAX)
        snprintf(out + len, LM_PLAN_TEXT_MAX - len, "%s%s", len > 0 ? gap : "", text);
}

static void join_number(char out[LM_PLAN_TEXT_MAX], const struct lm_mark *mark)
{
    char text[LM_NAME_MAX + 16];
    snprintf(text, sizeof text, "number %s", mark->number);
    if (mark->number[0] != '\0')
        join(out, ", ", text);
}

char *lm_mark_words(const struct lm_mark *mark, char out[LM_PLAN_TEXT_MAX])
{
    char letter[24] = "";
    out[0] = '\0';
    join(out, " ", mark->colour);
    join(out, " ", lm_device_form_name((enum lm_device_form) mark->form));
    if (mark->place != LM_PLACE_UNKNOWN)
        join(out, " ", mark->place == LM_LEG ? "on the" : "in the");
    join(out, " ", lm_place_name((enum lm_place) mark->place));
    join_number(out, mark);
    if (mark->letter != 0 && mark->form == LM_TATTOO) {
        snprintf(letter, sizeof letter, "year letter %c", mark->letter);
        join(out, ", ", letter);
    }
    return out;
}

/* Whether marks show a trait at all, and whether any shows the right one. */
struct shown {
    bool any, right;
};

static void show(struct shown *s, bool says, bool right)
{
    s->any = s->any || says;
    s->right = s->right || (says && right);
}

static bool is_mark(const struct lm_mark_worn *w)
{
    switch ((enum lm_device_form) w->form) {
    case LM_FLAG_TAG:
    case LM_BUTTON_TAG:
    case LM_LOOP_TAG:
    case LM_TATTOO:
    case LM_DEVICE_UNKNOWN:
        return true;
    case LM_BOLUS:
    case LM_INJECTABLE:
    case LM_LEG_BAND:
        break;
    }
    return false;
}

bool lm_markplan_differs(const struct lm_markplan *plan, const struct lm_mark_for *whom,
    const struct lm_mark_worn *worn, size_t n, char out[LM_PLAN_TEXT_MAX])
{
    struct lm_mark mark = lm_markplan_for(plan, whom);
    struct shown colour = {0}, form = {0}, place = {0}, number = {0};
    for (size_t i = 0; i < n; i++) {
        const struct lm_mark_worn *w = &worn[i];
        bool ear = w->place == LM_LEFT_EAR || w->place == LM_RIGHT_EAR || w->place == LM_TAIL_WEB;
        if (!is_mark(w))
            continue;
        show(&colour, w->colour[0] != '\0', lm_word_is(w->colour, mark.colour));
        show(&form, w->form != LM_DEVICE_UNKNOWN, w->form == mark.form);
        show(&place, ear, w->place == mark.place);
        show(&number, w->visual[0] != '\0' && !w->official,
            lm_plan_number_fits(mark.number, w->visual));
    }
    out[0] = '\0';
    if (mark.colour[0] != '\0' && colour.any && !colour.right)
        join(out, ", ", mark.colour);
    if (mark.form != LM_DEVICE_UNKNOWN && form.any && !form.right)
        join(out, ", ", lm_device_form_name((enum lm_device_form) mark.form));
    if (mark.place != LM_PLACE_UNKNOWN && place.any && !place.right)
        join(out, ", ", lm_place_name((enum lm_place) mark.place));
    if (number.any && !number.right)
        join_number(out, &mark);
    return out[0] != '\0';
}

bool lm_markplan_record(
    const struct lm_markplan *plan, const struct lm_record *rec, char out[LM_PLAN_TEXT_MAX])
{
    struct lm_mark_worn worn[LM_DEVICES_MAX];
    struct lm_mark_for whom = {rec->born, (enum lm_sex) rec->sex, rec->breed};
    size_t n = 0;
    for (unsigned i = 0; i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (!d->gone)
            worn[n++] = (struct lm_mark_worn){d->visual, d->colour, d->form, d->place, d->official};
    }
    return lm_markplan_differs(plan, &whom, worn, n, out);
}
