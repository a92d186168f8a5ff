/* What a rule may need of devices that were put on and taken off. */
#include "race/rules_priv.h"

#include <stdio.h>
#include <string.h>

/* The device that was put on for device `i`, or NULL. */
static const struct lm_device *successor(const struct lm_record *rec, unsigned i)
{
    for (unsigned k = 0; k < rec->n_devices; k++)
        if (rec->devices[k].replaces == i + 1)
            return &rec->devices[k];
    return NULL;
}

static enum lm_answer same_number(
    const struct ask *a, const struct lm_device *x, const struct lm_device *y)
{
    char cx[16], cy[16], vx[LM_VISUAL_MAX + 1], vy[LM_VISUAL_MAX + 1];
    if (lm_device_code(a, x, cx) && lm_device_code(a, y, cy))
        return strcmp(cx, cy) == 0 ? LM_ANSWER_YES : LM_ANSWER_NO;
    if (lm_visual_fold(x->visual, vx) == 0 || lm_visual_fold(y->visual, vy) == 0)
        return LM_ANSWER_UNKNOWN;
    return strcmp(vx, vy) == 0 ? LM_ANSWER_YES : LM_ANSWER_NO;
}

/* Whether a removed device's number is still worn. */
static enum lm_answer number_is_worn(const struct ask *a, const struct lm_device *gone)
{
    enum lm_answer answer = LM_ANSWER_NO;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        enum lm_answer same = same_number(a, gone, d);
        if (same == LM_ANSWER_YES)
            return same;
        if (same == LM_ANSWER_UNKNOWN)
            answer = same;
    }
    return answer;
}

/* Every worn official device was put on before a day. */
static enum lm_answer applied_before(const struct ask *a, const struct lm_need *need)
{
    char number[LM_VISUAL_MAX + 1], day[LM_DATE_TEXT_SIZE];
    int32_t before = lm_date_days(need->date, 0);
    bool unknown = lm_official_devices(a->rec) == 0;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        if (d->applied.year != 0 && lm_date_days(d->applied, 0) >= before)
            return lm_ask_say_over(a, LM_ANSWER_NO, "%s was put on %s or later",
                lm_ask_device(a, d, number), lm_date_format(need->date, day));
        unknown = unknown || d->applied.year == 0 || lm_date_days(d->applied, 1) >= before;
    }
    if (unknown)
        return lm_ask_say(
            a, LM_ANSWER_UNKNOWN, "when its official device was put on is not known well enough");
    return LM_ANSWER_YES;
}

/* A reason is taken for an approval that was asked for; without one nobody can know. */
static enum lm_answer not_removed(const struct ask *a)
{
    char number[LM_VISUAL_MAX + 1];
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!d->official || !d->gone || successor(a->rec, i) != NULL || d->why[0] != '\0')
            continue;
        enum lm_answer worn = number_is_worn(a, d);
        if (worn == LM_ANSWER_YES)
            continue;
        return lm_ask_say(a, worn, "%s was removed: no successor and no reason is recorded",
            lm_ask_device(a, d, number));
    }
    return LM_ANSWER_YES;
}

/* Whether the codes an animal had lead to the one it has. */
static enum lm_answer linked_replacement(const struct ask *a)
{
    enum lm_answer answer = LM_ANSWER_YES;
    char number[LM_VISUAL_MAX + 1];
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!d->official || !d->gone || successor(a->rec, i) != NULL)
            continue;
        enum lm_answer worn = number_is_worn(a, d);
        if (worn == LM_ANSWER_NO)
            return lm_ask_say_over(
                a, worn, "nothing says which device followed %s", lm_ask_device(a, d, number));
        if (worn == LM_ANSWER_UNKNOWN)
            answer = lm_ask_say(a, worn, "the number of a removed device is not known");
    }
    return answer;
}

/* Whether a worn device can have been put on for a removed one. Of two that bear one number the
 * other is no replacement: it was on already. */
static bool may_stand_in(const struct ask *a, const struct lm_device *gone)
{
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        bool was_on = d->applied.year != 0 && gone->removed.year != 0 &&
                      lm_date_days(d->applied, 1) < lm_date_days(gone->removed, 0);
        if (lm_device_counts(d) && !was_on && same_number(a, gone, d) == LM_ANSWER_YES)
            return true;
    }
    return false;
}

static enum lm_answer replaced_within(const struct ask *a, const struct lm_need *need)
{
    enum lm_answer answer = LM_ANSWER_YES;
    char number[LM_VISUAL_MAX + 1];
    int32_t today = lm_date_days(a->ctx->date, 0);
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!d->official || !d->gone || successor(a->rec, i) != NULL || may_stand_in(a, d))
            continue;
        const char *device = lm_ask_device(a, d, number);
        bool unknown = d->removed.year == 0 || today == INT32_MIN;
        if (!unknown && today - lm_date_days(d->removed, 1) > need->days)
            return lm_ask_say_over(
                a, LM_ANSWER_NO, "%s is gone for more than %d days", device, need->days);
        if (unknown || today - lm_date_days(d->removed, 0) > need->days)
            answer = lm_ask_say(a, LM_ANSWER_UNKNOWN, "since when %s is gone is not known", device);
    }
    return answer;
}

/* A replacement that bears another number, put on where the animal was not born. */
static enum lm_answer replacement_colour(const struct ask *a, const struct lm_need *need)
{
    enum lm_answer answer = LM_ANSWER_YES;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d) || d->replaces == 0 || d->replaces > a->rec->n_devices)
            continue;
        enum lm_answer same = same_number(a, d, &a->rec->devices[d->replaces - 1]);
        if (same == LM_ANSWER_YES || lm_words_have(&need->colours, d->colour))
            continue;
        if (same == LM_ANSWER_UNKNOWN || d->colour[0] == '\0')
            answer = lm_ask_say(
                a, LM_ANSWER_UNKNOWN, "colour or number of the replacement is not known");
        else
            return lm_ask_say_over(
                a, LM_ANSWER_NO, "its replacement %s is %s", d->visual, d->colour);
    }
    return answer;
}

/* Whether `later` was surely before `earlier`. */
static bool backwards(struct lm_date earlier, struct lm_date later)
{
    return earlier.year != 0 && later.year != 0 &&
           lm_date_days(later, 1) < lm_date_days(earlier, 0);
}

static enum lm_answer dates_in_order(const struct ask *a)
{
    char number[LM_VISUAL_MAX + 1];
    if (backwards(a->rec->born, a->ctx->date))
        return lm_ask_say(a, LM_ANSWER_NO, "it is born after the day of the sale");
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        const char *device = lm_ask_device(a, d, number);
        if (backwards(a->rec->born, d->applied))
            return lm_ask_say(a, LM_ANSWER_NO, "%s was put on before its birth", device);
        if (backwards(d->applied, d->removed))
            return lm_ask_say(a, LM_ANSWER_NO, "%s was removed before it was put on", device);
    }
    return LM_ANSWER_YES;
}

enum lm_answer lm_need_history(const struct ask *a, const struct lm_need *need)
{
    if (need->kind == LM_NEED_APPLIED_BEFORE)
        return applied_before(a, need);
    if (need->kind == LM_NEED_NOT_REMOVED)
        return not_removed(a);
    if (need->kind == LM_NEED_LINKED_REPLACEMENT)
        return linked_replacement(a);
    if (need->kind == LM_NEED_REPLACED_WITHIN)
        return replaced_within(a, need);
    if (need->kind == LM_NEED_REPLACEMENT_COLOUR)
        return replacement_colour(a, need);
    return dates_in_order(a);
}
