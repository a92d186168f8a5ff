/* When a rule applies. One part that is not so decides; else one that is not known leaves it open.
 */
#include "race/rules_priv.h"

#include <stdio.h>
#include <string.h>

static enum lm_answer yes_if(bool so)
{
    return so ? LM_ANSWER_YES : LM_ANSWER_NO;
}

/* Both must be so. */
static enum lm_answer both(enum lm_answer a, enum lm_answer b)
{
    if (a == LM_ANSWER_NO || b == LM_ANSWER_NO)
        return LM_ANSWER_NO;
    return a == LM_ANSWER_YES && b == LM_ANSWER_YES ? LM_ANSWER_YES : LM_ANSWER_UNKNOWN;
}

static enum lm_answer either(enum lm_answer a, enum lm_answer b)
{
    if (a == LM_ANSWER_YES || b == LM_ANSWER_YES)
        return LM_ANSWER_YES;
    return a == LM_ANSWER_NO && b == LM_ANSWER_NO ? LM_ANSWER_NO : LM_ANSWER_UNKNOWN;
}

static enum lm_answer opposite(enum lm_answer a)
{
    if (a == LM_ANSWER_UNKNOWN)
        return a;
    return a == LM_ANSWER_YES ? LM_ANSWER_NO : LM_ANSWER_YES;
}

/* --- the animal --- */

static enum lm_answer age(const struct ask *a, const struct lm_when *w)
{
    if (w->age_min == 0 && w->age_max == 0)
        return LM_ANSWER_YES;
    struct lm_age age = lm_age_at(a->rec->born, a->ctx->date);
    char born[LM_DATE_TEXT_SIZE];
    if (!age.known)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "its birth date is not known");
    bool surely_min = age.least >= w->age_min, never_min = age.most < w->age_min;
    bool surely_max = w->age_max == 0 || age.most < w->age_max;
    bool never_max = w->age_max != 0 && age.least >= w->age_max;
    if ((w->age_min != 0 && never_min) || never_max)
        return LM_ANSWER_NO;
    if ((w->age_min == 0 || surely_min) && surely_max)
        return LM_ANSWER_YES;
    return lm_ask_say(a, LM_ANSWER_UNKNOWN,
        "born %s: that does not say whether it is %d months old",
        lm_date_format(a->rec->born, born), w->age_min != 0 ? w->age_min : w->age_max);
}

static enum lm_answer is_castrated(const struct lm_record *rec)
{
    if (rec->castrated)
        return LM_ANSWER_YES;
    return rec->sex == LM_SEX_UNKNOWN ? LM_ANSWER_UNKNOWN : LM_ANSWER_NO;
}

static enum lm_answer sex(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer answer = LM_ANSWER_YES;
    if (w->sex != LM_SEX_UNKNOWN && a->rec->sex == LM_SEX_UNKNOWN)
        answer = LM_ANSWER_UNKNOWN;
    else if (w->sex != LM_SEX_UNKNOWN)
        answer = yes_if(w->sex == a->rec->sex);
    if (w->castrated == LM_ANSWER_YES)
        answer = both(answer, is_castrated(a->rec));
    if (w->castrated == LM_ANSWER_NO)
        answer = both(answer, opposite(is_castrated(a->rec)));
    return answer == LM_ANSWER_UNKNOWN ? lm_ask_say(a, answer, "its sex is not known") : answer;
}

static enum lm_answer fact(const struct ask *a, unsigned want, unsigned got, const char *unknown)
{
    if (want == LM_ANSWER_UNKNOWN)
        return LM_ANSWER_YES;
    if (got == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "%s", lm_ask_text(a, unknown));
    return yes_if(want == got);
}

/* --- its devices --- */

static enum lm_answer forms(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer one = LM_ANSWER_NO, all = LM_ANSWER_YES;
    unsigned n = 0;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        bool unknown = d->form == LM_DEVICE_UNKNOWN;
        enum lm_answer is = yes_if((w->wears >> d->form & 1u) != 0);
        one = either(one, unknown ? LM_ANSWER_UNKNOWN : is);
        is = yes_if((w->identified_by >> d->form & 1u) != 0);
        all = both(all, unknown ? LM_ANSWER_UNKNOWN : is);
        n++;
    }
    enum lm_answer answer = w->wears != 0 ? one : LM_ANSWER_YES;
    if (w->identified_by != 0)
        answer = both(answer, n > 0 ? all : LM_ANSWER_NO);
    return answer == LM_ANSWER_UNKNOWN
               ? lm_ask_say(a, answer, "the form of an official device is not known")
               : answer;
}

static enum lm_answer colours(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer one = LM_ANSWER_NO;
    if (w->colours.n == 0)
        return LM_ANSWER_YES;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        one = either(one, d->colour[0] == '\0' ? LM_ANSWER_UNKNOWN
                                               : yes_if(lm_words_have(&w->colours, d->colour)));
    }
    return one == LM_ANSWER_UNKNOWN
               ? lm_ask_say(a, one, "the colour of an official device is not known")
               : one;
}

/* Whether one number is of the formats asked for. The number alone never says so for certain. */
static enum lm_answer type_of(
    const struct ask *a, const struct lm_when *w, const struct mark_text *mark)
{
    struct lm_candidates c;
    lm_format_candidates(a->pack, a->ctx, mark->text, a->rec->species, mark->electronic, &c);
    for (size_t i = 0; i < c.n; i++) {
        if (!lm_words_have(&w->tag_types, c.at[i]->id))
            continue;
        if (c.said)
            return LM_ANSWER_YES;
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "%s may be a %s (%s): store the tag type",
            mark->text, c.at[i]->id, c.at[i]->meaning);
    }
    return LM_ANSWER_NO;
}

static bool begins_with_one(const char *number, const struct lm_words *words)
{
    char text[LM_VISUAL_MAX + 1];
    lm_visual_fold(number, text);
    for (size_t i = 0; i < words->n; i++)
        if (strncmp(text, words->at[i], strlen(words->at[i])) == 0)
            return true;
    return false;
}

static enum lm_answer numbers(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer type = LM_ANSWER_NO, begin = LM_ANSWER_NO;
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        struct mark_text marks[MARKS_A_DEVICE];
        unsigned n = lm_device_counts(d) ? lm_device_marks(d, marks) : 0;
        for (unsigned k = 0; k < n; k++) {
            if (w->tag_types.n > 0)
                type = either(type, type_of(a, w, &marks[k]));
            begin = either(begin, yes_if(begins_with_one(marks[k].text, &w->number_begins)));
        }
    }
    return both(
        w->tag_types.n > 0 ? type : LM_ANSWER_YES, w->number_begins.n > 0 ? begin : LM_ANSWER_YES);
}

/* --- dates --- */

/* Whether a date is not before `from` and before `before`, either of which may be no date. */
static enum lm_answer between(struct lm_date d, struct lm_date from, struct lm_date before)
{
    enum lm_answer answer = LM_ANSWER_YES;
    if (from.year == 0 && before.year == 0)
        return LM_ANSWER_YES;
    if (d.year == 0)
        return LM_ANSWER_UNKNOWN;
    int32_t first = lm_date_days(d, 0), last = lm_date_days(d, 1);
    int32_t low = lm_date_days(from, 0), high = lm_date_days(before, 0);
    if (from.year != 0)
        answer = first >= low ? LM_ANSWER_YES : last < low ? LM_ANSWER_NO : LM_ANSWER_UNKNOWN;
    if (before.year == 0)
        return answer;
    return both(answer, last < high     ? LM_ANSWER_YES
                        : first >= high ? LM_ANSWER_NO
                                        : LM_ANSWER_UNKNOWN);
}

/* The official device put on last; a date that is not known leaves it open. */
static struct lm_date newest(const struct lm_record *rec)
{
    struct lm_date best = {0};
    for (unsigned i = 0; i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (!lm_device_counts(d))
            continue;
        if (d->applied.year == 0)
            return (struct lm_date){0};
        if (best.year == 0 || lm_date_days(d->applied, 1) > lm_date_days(best, 1))
            best = d->applied;
    }
    return best;
}

static enum lm_answer dates(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer born = between(a->rec->born, w->born_from, w->born_before), applied;
    if (born == LM_ANSWER_UNKNOWN)
        lm_ask_say(a, born, "its birth date is not known well enough");
    if (w->applied_from.year == 0 && w->applied_before.year == 0)
        return born;
    if (lm_official_devices(a->rec) == 0)
        return LM_ANSWER_NO;
    applied = between(newest(a->rec), w->applied_from, w->applied_before);
    if (applied == LM_ANSWER_UNKNOWN)
        lm_ask_say(a, applied, "when its official device was put on is not known well enough");
    return both(born, applied);
}

/* --- the sale --- */

static enum lm_answer season(const struct ask *a, const struct lm_when *w)
{
    int day = a->ctx->date.month * 100 + a->ctx->date.day;
    if (w->season_from == 0)
        return LM_ANSWER_YES;
    if (a->ctx->date.day == 0)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "the day of the sale is not said");
    return yes_if(w->season_from <= w->season_to ? day >= w->season_from && day <= w->season_to
                                                 : day >= w->season_from || day <= w->season_to);
}

static enum lm_answer where_to(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer answer = LM_ANSWER_YES;
    bool asks = w->destinations.n > 0 || w->not_destinations.n > 0;
    if (asks && a->ctx->destination == NULL)
        answer = lm_ask_say(a, LM_ANSWER_UNKNOWN, "the destination is not said");
    else if (asks)
        answer = both(
            yes_if(w->destinations.n == 0 || lm_words_have(&w->destinations, a->ctx->destination)),
            yes_if(!lm_words_have(&w->not_destinations, a->ctx->destination)));
    if (w->purposes != 0 && a->ctx->purpose == LM_PURPOSE_UNKNOWN)
        return both(
            answer, lm_ask_say(a, LM_ANSWER_UNKNOWN, "the purpose of the sale is not said"));
    if (w->purposes != 0)
        answer = both(answer, yes_if((w->purposes >> a->ctx->purpose & 1u) != 0));
    return answer;
}

static enum lm_answer case_holds(const struct ask *a, const char *id)
{
    if (lm_words_have(&a->ctx->cases, id))
        return LM_ANSWER_YES;
    if (lm_words_have(&a->ctx->not_cases, id))
        return LM_ANSWER_NO;
    for (size_t i = 0; i < a->pack->n_cases; i++)
        if (lm_word_is(id, a->pack->cases[i].id) && a->pack->cases[i].ask)
            return lm_ask_say(
                a, LM_ANSWER_UNKNOWN, "say whether %s is so: %s", id, a->pack->cases[i].text);
    return LM_ANSWER_NO;
}

static enum lm_answer any_case(const struct ask *a, const struct lm_words *cases)
{
    enum lm_answer any = LM_ANSWER_NO;
    for (size_t i = 0; i < cases->n; i++)
        any = either(any, case_holds(a, cases->at[i]));
    return any;
}

static enum lm_answer the_sale(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer answer = both(where_to(a, w), season(a, w));
    enum lm_answer day = between(a->ctx->date, w->move_from, w->move_before);
    if (day == LM_ANSWER_UNKNOWN)
        lm_ask_say(a, day, "the day of the sale is not said");
    answer = both(answer, day);
    if (w->cases.n > 0)
        answer = both(answer, any_case(a, &w->cases));
    if (w->not_cases.n > 0)
        answer = both(answer, opposite(any_case(a, &w->not_cases)));
    return both(answer, fact(a, w->at_race, a->ctx->at_race ? LM_ANSWER_YES : LM_ANSWER_NO, ""));
}

static enum lm_answer the_animal(const struct ask *a, const struct lm_when *w)
{
    enum lm_answer answer = both(age(a, w), sex(a, w));
    answer = both(answer, fact(a, w->born_here, a->animal->born_here,
                              N_("whether it was born on this holding is not known")));
    answer = both(answer, dates(a, w));
    answer = both(answer, both(forms(a, w), colours(a, w)));
    if (w->tag_types.n > 0 || w->number_begins.n > 0)
        answer = both(answer, numbers(a, w));
    if (w->single != LM_ANSWER_UNKNOWN)
        answer = both(
            answer, yes_if((lm_official_devices(a->rec) == 1) == (w->single == LM_ANSWER_YES)));
    return answer;
}

enum lm_answer lm_when_holds(const struct lm_rule_pack *pack, const struct lm_when *when,
    const struct lm_rule_animal *animal, const struct lm_rule_context *ctx,
    char words[LM_RULE_WORDS])
{
    struct ask a = {pack, animal, animal->rec, ctx, words};
    if (words != NULL)
        words[0] = '\0';
    enum lm_answer answer = the_sale(&a, when);
    if (answer != LM_ANSWER_NO && a.rec != NULL)
        answer = both(answer, the_animal(&a, when));
    if (answer != LM_ANSWER_UNKNOWN && words != NULL)
        words[0] = '\0';
    return answer;
}
