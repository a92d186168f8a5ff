/* What a rule may need of the devices that are worn. */
#include "race/rules_priv.h"

#include <stdio.h>
#include <string.h>

unsigned lm_official_devices(const struct lm_record *rec)
{
    unsigned n = 0;
    for (unsigned i = 0; i < rec->n_devices; i++)
        n += lm_device_counts(&rec->devices[i]);
    return n;
}

static bool has_mark(const struct lm_device *d)
{
    return d->visual[0] != '\0' || lm_device_has_chip(d);
}

static enum lm_answer official_device(const struct ask *a)
{
    bool any = false;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (lm_device_counts(d) && has_mark(d))
            return LM_ANSWER_YES;
        any = any || lm_device_counts(d);
    }
    if (any)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN,
            "its official device has neither number nor code in the register");
    return lm_ask_say(a, LM_ANSWER_NO, "it wears no official device");
}

static enum lm_answer electronic_device(const struct ask *a, const struct lm_need *need)
{
    enum lm_answer answer = LM_ANSWER_NO;
    unsigned bare = 0;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        bare += !has_mark(d);
        if (!lm_device_has_chip(d))
            continue;
        if (need->forms == 0 || (need->forms >> d->form & 1u) != 0)
            return LM_ANSWER_YES;
        if (d->form == LM_DEVICE_UNKNOWN)
            answer = LM_ANSWER_UNKNOWN;
    }
    if (answer == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, answer, "the form of its electronic device is not known");
    if (bare > 0)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN,
            "its official device has neither number nor code in the register");
    if (need->forms != 0)
        return lm_ask_say(
            a, answer, "it wears no official electronic device of the forms that are allowed");
    return lm_ask_say(a, answer, "it wears no official electronic device");
}

/* Whether two devices bear one code: yes, no, or one of them has none to compare. */
static enum lm_answer same_code(
    const struct ask *a, const struct lm_device *x, const struct lm_device *y)
{
    char cx[16], cy[16], vx[LM_VISUAL_MAX + 1], vy[LM_VISUAL_MAX + 1];
    if (lm_device_code(a, x, cx) && lm_device_code(a, y, cy))
        return strcmp(cx, cy) == 0 ? LM_ANSWER_YES : LM_ANSWER_NO;
    if (lm_visual_fold(x->visual, vx) > 0 && lm_visual_fold(y->visual, vy) > 0 &&
        strcmp(vx, vy) == 0)
        return LM_ANSWER_YES;
    return LM_ANSWER_UNKNOWN;
}

/* One of the pair has a chip where that is asked for. */
static bool pair_serves(
    const struct lm_device *x, const struct lm_device *y, const struct lm_need *need)
{
    return !need->electronic || lm_device_has_chip(x) || lm_device_has_chip(y);
}

static enum lm_answer two_matching(const struct ask *a, const struct lm_need *need)
{
    const struct lm_record *rec = a->rec;
    bool pair = false, unknown = false;
    for (unsigned i = 0; i < rec->n_devices; i++)
        for (unsigned k = i + 1; k < rec->n_devices; k++) {
            const struct lm_device *x = &rec->devices[i], *y = &rec->devices[k];
            if (!lm_device_counts(x) || !lm_device_counts(y))
                continue;
            enum lm_answer same = same_code(a, x, y);
            if (same == LM_ANSWER_YES && pair_serves(x, y, need))
                return LM_ANSWER_YES;
            pair = pair || same == LM_ANSWER_YES;
            unknown = unknown || same == LM_ANSWER_UNKNOWN;
        }
    unsigned n = lm_official_devices(rec);
    if (n == 0)
        return lm_ask_say(a, LM_ANSWER_NO, "it wears no official device, not two with one code");
    if (n == 1)
        return lm_ask_say(a, LM_ANSWER_NO, "it wears one official device, not two with one code");
    if (pair)
        return lm_ask_say(a, LM_ANSWER_NO, "neither of its two devices is electronic");
    if (unknown)
        return lm_ask_say(
            a, LM_ANSWER_UNKNOWN, "the numbers of its devices cannot be compared with each other");
    return lm_ask_say(a, LM_ANSWER_NO, "its official devices bear different codes");
}

static enum lm_answer forms_not(const struct ask *a, const struct lm_need *need)
{
    bool unknown = false;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        bool chip = lm_device_has_chip(d);
        if ((need->forms >> d->form & 1u) != 0 || (chip && (need->chip_forms >> d->form & 1u) != 0))
            return lm_ask_say_over(a, LM_ANSWER_NO, "one of its official devices is a %s",
                lm_ask_text(a, lm_device_form_name((enum lm_device_form) d->form)));
        unknown = unknown || d->form == LM_DEVICE_UNKNOWN;
    }
    if (unknown)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "the form of its official devices is not known");
    return LM_ANSWER_YES;
}

/* Beside the bolus: a device to be seen, of the right colour and of the same code. */
static enum lm_answer visible_match(const struct ask *a, const struct lm_need *need)
{
    const struct lm_device *bolus = NULL;
    bool unknown = false;
    for (unsigned i = 0; i < a->rec->n_devices && bolus == NULL; i++)
        if (lm_device_counts(&a->rec->devices[i]) && a->rec->devices[i].form == LM_BOLUS)
            bolus = &a->rec->devices[i];
    for (unsigned i = 0; bolus != NULL && i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (d == bolus || !lm_device_counts(d) || d->form == LM_BOLUS || d->form == LM_INJECTABLE)
            continue;
        enum lm_answer same = same_code(a, bolus, d);
        bool coloured = d->colour[0] != '\0';
        if (same == LM_ANSWER_NO || (coloured && !lm_words_have(&need->colours, d->colour)))
            continue;
        if (same == LM_ANSWER_YES && coloured)
            return LM_ANSWER_YES;
        unknown = true;
    }
    if (unknown)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN,
            "colour or number of the device to be seen beside the bolus is not known");
    if (need->colours.n == 0)
        return lm_ask_say(
            a, LM_ANSWER_NO, "beside the bolus no visible device with its number is worn");
    return lm_ask_say(a, LM_ANSWER_NO, "beside the bolus no %s device with its number is worn",
        need->colours.at[0]);
}

static enum lm_answer electronic_place(const struct ask *a, const struct lm_need *need)
{
    bool unknown = false;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d) || !lm_device_has_chip(d))
            continue;
        unknown = unknown || d->place == LM_PLACE_UNKNOWN;
        if (d->place != LM_PLACE_UNKNOWN && (need->places >> d->place & 1u) == 0)
            return lm_ask_say(a, LM_ANSWER_NO, "its electronic device sits in the %s",
                lm_ask_text(a, lm_place_name((enum lm_place) d->place)));
    }
    if (unknown)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "where its electronic device sits is not known");
    return LM_ANSWER_YES;
}

static enum lm_answer management_tags(const struct ask *a, const struct lm_need *need)
{
    enum lm_answer answer = LM_ANSWER_YES;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        char fold[LM_VISUAL_MAX + 1];
        if (d->gone || d->official || d->form == LM_TATTOO || d->form == LM_BOLUS)
            continue;
        lm_visual_fold(d->visual, fold);
        if (need->text != NULL && strstr(fold, need->text) != NULL)
            return lm_ask_say_over(
                a, LM_ANSWER_NO, "its management tag %s bears %s", d->visual, need->text);
        if (lm_words_have(&need->colours, d->colour))
            return lm_ask_say_over(a, LM_ANSWER_NO, "its management tag is %s", d->colour);
        if (d->colour[0] == '\0')
            answer =
                lm_ask_say(a, LM_ANSWER_UNKNOWN, "the colour of its management tag is not known");
    }
    return answer;
}

/* Colours go round; `n` is a year of the first one. */
static enum lm_answer birth_year_colour(const struct ask *a, const struct lm_need *need)
{
    int year = a->rec->born.year, turn = (int) need->colours.n;
    bool coloured = false;
    if (year == 0 || turn == 0)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "its birth year is not known");
    const char *want = need->colours.at[((year - need->n) % turn + turn) % turn];
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d) || d->colour[0] == '\0')
            continue;
        if (lm_word_is(d->colour, want) || lm_words_have(&need->except, d->colour))
            return LM_ANSWER_YES;
        coloured = true;
    }
    if (!coloured)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "the colour of its official tag is not known");
    return lm_ask_say(a, LM_ANSWER_NO, "born in %d, its tag would customarily be %s", year, want);
}

enum lm_answer lm_need_devices(const struct ask *a, const struct lm_need *need)
{
    static enum lm_answer (*const parts[LM_NEEDS])(const struct ask *, const struct lm_need *) = {
        [LM_NEED_ELECTRONIC_DEVICE] = electronic_device,
        [LM_NEED_TWO_MATCHING] = two_matching,
        [LM_NEED_FORMS_NOT] = forms_not,
        [LM_NEED_VISIBLE_MATCH] = visible_match,
        [LM_NEED_PLACE] = electronic_place,
        [LM_NEED_MANAGEMENT_TAGS] = management_tags,
        [LM_NEED_BIRTH_YEAR_COLOUR] = birth_year_colour,
    };
    return parts[need->kind] != NULL ? parts[need->kind](a, need) : official_device(a);
}
