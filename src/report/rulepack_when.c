/* Conditions of a rule pack: when a rule applies. */
#include "rulepack_priv.h"

#include <string.h>

static bool take_purposes(struct load *l, const json_t *o, struct lm_when *out)
{
    struct lm_words words = {0};
    enum lm_purpose purpose;
    if (!lm_pack_words(l, o, "purpose", &words))
        return false;
    for (size_t i = 0; i < words.n; i++) {
        if (lm_purpose_parse(words.at[i], &purpose) != LM_OK)
            return lm_pack_bad(l, "purpose", "there is no purpose \"%s\"", words.at[i]);
        out->purposes |= 1u << purpose;
    }
    return true;
}

static bool take_sex(struct load *l, const json_t *o, struct lm_when *out)
{
    const char *word = NULL;
    enum lm_sex sex = LM_SEX_UNKNOWN;
    bool castrated = false;
    if (!lm_pack_text(l, o, "sex", false, 20, &word))
        return false;
    if (word != NULL && (lm_sex_parse(word, &sex, &castrated) != LM_OK || castrated))
        return lm_pack_bad(l, "sex", "sex is female or male");
    out->sex = (uint8_t) sex;
    return lm_pack_answer(l, o, "castrated", &out->castrated);
}

/* "11-20": a day of any year. */
static bool month_day(const char *text, int *out)
{
    char full[20];
    struct lm_date d;
    snprintf(full, sizeof full, "2000-%.8s", text);
    if (strlen(text) != 5 || lm_date_parse(full, 10, &d) != LM_OK || d.day == 0)
        return false;
    *out = d.month * 100 + d.day;
    return true;
}

static bool take_season(struct load *l, const json_t *o, struct lm_when *out)
{
    struct lm_words words = {0};
    if (!lm_pack_words(l, o, "season", &words))
        return false;
    if (words.n != 0 && (words.n != 2 || !month_day(words.at[0], &out->season_from) ||
                            !month_day(words.at[1], &out->season_to)))
        return lm_pack_bad(l, "season", "season is two days such as [\"11-20\",\"12-31\"]");
    return true;
}

static bool declared(struct load *l, const char *key, const struct lm_words *words,
    const struct lm_case *list, size_t n)
{
    for (size_t i = 0; i < words->n; i++) {
        size_t k = 0;
        while (k < n && strcmp(list[k].id, words->at[i]) != 0)
            k++;
        if (k == n)
            return lm_pack_bad(l, key, "\"%s\" is not among the pack's %ss", words->at[i],
                strstr(key, "case") != NULL ? "case" : "destination");
    }
    return true;
}

static bool take_declared(struct load *l, const json_t *o, struct lm_when *out)
{
    const struct lm_rule_pack *pack = &l->pack->rules;
    return lm_pack_words(l, o, "destination", &out->destinations) &&
           lm_pack_words(l, o, "not_destination", &out->not_destinations) &&
           lm_pack_words(l, o, "case", &out->cases) &&
           lm_pack_words(l, o, "not_case", &out->not_cases) &&
           declared(
               l, "destination", &out->destinations, pack->destinations, pack->n_destinations) &&
           declared(l, "not_destination", &out->not_destinations, pack->destinations,
               pack->n_destinations) &&
           declared(l, "case", &out->cases, pack->cases, pack->n_cases) &&
           declared(l, "not_case", &out->not_cases, pack->cases, pack->n_cases);
}

static bool take_devices(struct load *l, const json_t *o, struct lm_when *out)
{
    if (!lm_pack_words(l, o, "tag_type", &out->tag_types) ||
        !lm_pack_words(l, o, "colour", &out->colours) ||
        !lm_pack_words(l, o, "number_begins", &out->number_begins) ||
        !lm_pack_forms(l, o, "wears", &out->wears) ||
        !lm_pack_forms(l, o, "identified_by", &out->identified_by) ||
        !lm_pack_answer(l, o, "single_device", &out->single))
        return false;
    for (size_t i = 0; i < out->tag_types.n; i++)
        if (lm_format_named(&l->pack->rules, out->tag_types.at[i]) == NULL)
            return lm_pack_bad(
                l, "tag_type", "the pack has no format \"%s\"", out->tag_types.at[i]);
    return true;
}

bool lm_pack_when(struct load *l, const json_t *o, struct lm_when *out)
{
    static const char *const known[] = {"age_months_min", "age_months_max", "sex", "castrated",
        "born_here", "at_race", "single_device", "purpose", "destination", "not_destination",
        "case", "not_case", "tag_type", "colour", "number_begins", "wears", "identified_by",
        "born_from", "born_before", "move_from", "move_before", "applied_from", "applied_before",
        "season", NULL};
    if (!json_is_object(o))
        return lm_pack_bad(l, NULL, "a condition is an object");
    return lm_pack_keys(l, o, known) &&
           lm_pack_int(l, o, "age_months_min", 1, 600, &out->age_min) &&
           lm_pack_int(l, o, "age_months_max", 1, 600, &out->age_max) && take_sex(l, o, out) &&
           lm_pack_answer(l, o, "born_here", &out->born_here) &&
           lm_pack_answer(l, o, "at_race", &out->at_race) && take_purposes(l, o, out) &&
           take_declared(l, o, out) && take_devices(l, o, out) &&
           lm_pack_date(l, o, "born_from", &out->born_from) &&
           lm_pack_date(l, o, "born_before", &out->born_before) &&
           lm_pack_date(l, o, "move_from", &out->move_from) &&
           lm_pack_date(l, o, "move_before", &out->move_before) &&
           lm_pack_date(l, o, "applied_from", &out->applied_from) &&
           lm_pack_date(l, o, "applied_before", &out->applied_before) && take_season(l, o, out);
}
