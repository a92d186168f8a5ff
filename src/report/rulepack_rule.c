/* Rules of a rule pack: what is required, how much it weighs, and where that is written. */
#include "rulepack_priv.h"

#include <string.h>

static bool take_kind(struct load *l, const json_t *o, struct lm_need *out)
{
    const char *word = NULL;
    enum lm_need_kind kind = LM_NEED_NOTE;
    if (!lm_pack_text(l, o, "kind", true, 40, &word))
        return false;
    if (lm_need_parse(word, &kind) != LM_OK)
        return lm_pack_bad(l, "kind", "there is no requirement \"%s\"", word);
    out->kind = (uint8_t) kind;
    return true;
}

static bool take_only(struct load *l, const json_t *o, struct lm_need *out)
{
    const json_t *when = json_object_get(o, "when");
    if (when == NULL)
        return true;
    struct lm_when *only = lm_pack_take(l, 1, sizeof *only);
    out->only = only;
    return only != NULL && lm_pack_when(l, when, only);
}

/* What a kind cannot do without. */
static const char *lacks(const struct lm_need *n)
{
    const struct {
        enum lm_need_kind kind;
        bool lacks;
        const char *key;
    } rows[] = {
        {LM_NEED_ONLY_WHEN, n->only == NULL, "when"},
        {LM_NEED_PAPER, n->text == NULL, "paper"},
        {LM_NEED_NUMBER_FORMAT, n->formats.n == 0, "formats"},
        {LM_NEED_APPLIED_BEFORE, n->date.year == 0, "date"},
        {LM_NEED_REPLACED_WITHIN, n->days == 0, "days"},
        {LM_NEED_COUNTED_WITHIN, n->days == 0, "days"},
        {LM_NEED_PLACE, n->places == 0, "places"},
        {LM_NEED_AGE_KNOWN, n->n == 0, "months"},
        {LM_NEED_BIRTH_YEAR_COLOUR, n->n == 0, "year"},
        {LM_NEED_BIRTH_YEAR_COLOUR, n->colours.n == 0, "colours"},
        {LM_NEED_VISIBLE_MATCH, n->colours.n == 0, "colours"},
        {LM_NEED_REPLACEMENT_COLOUR, n->colours.n == 0, "colours"},
        {LM_NEED_FORMS_NOT, n->forms == 0 && n->chip_forms == 0, "forms"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (rows[i].kind == (enum lm_need_kind) n->kind && rows[i].lacks)
            return rows[i].key;
    return NULL;
}

bool lm_pack_need(struct load *l, const json_t *o, struct lm_need *out)
{
    static const char *const known[] = {"kind", "forms", "chip_forms", "electronic", "formats",
        "date", "days", "colours", "except", "text", "places", "year", "months", "paper", "when",
        NULL};
    if (!json_is_object(o))
        return lm_pack_bad(l, NULL, "a requirement is an object with a kind");
    bool good = lm_pack_keys(l, o, known) && take_kind(l, o, out) &&
                lm_pack_forms(l, o, "forms", &out->forms) &&
                lm_pack_forms(l, o, "chip_forms", &out->chip_forms) &&
                lm_pack_bool(l, o, "electronic", &out->electronic) &&
                lm_pack_words(l, o, "formats", &out->formats) &&
                lm_pack_date(l, o, "date", &out->date) &&
                lm_pack_int(l, o, "days", 1, 36500, &out->days) &&
                lm_pack_words(l, o, "colours", &out->colours) &&
                lm_pack_words(l, o, "except", &out->except) &&
                lm_pack_text(l, o, "text", false, 200, &out->text) &&
                lm_pack_text(l, o, "paper", false, 60, &out->text) &&
                lm_pack_places(l, o, "places", &out->places) &&
                lm_pack_int(l, o, "year", 1900, 9999, &out->n) &&
                lm_pack_int(l, o, "months", 1, 600, &out->n) && take_only(l, o, out);
    for (size_t i = 0; good && i < out->formats.n; i++)
        if (lm_format_named(&l->pack->rules, out->formats.at[i]) == NULL)
            return lm_pack_bad(l, "formats", "the pack has no format \"%s\"", out->formats.at[i]);
    const char *missing = good ? lacks(out) : NULL;
    if (missing != NULL)
        return lm_pack_bad(
            l, NULL, "%s wants the key %s", lm_need_name((enum lm_need_kind) out->kind), missing);
    return good;
}

/* An unverified rule asks for a look at most, whatever the pack says. */
static bool take_weight(struct load *l, const json_t *o, struct lm_rule *out)
{
    const char *severity = NULL, *evidence = NULL;
    enum lm_evidence ev = LM_EVIDENCE_MEMORY;
    if (!lm_pack_text(l, o, "severity", true, 4, &severity) ||
        !lm_pack_text(l, o, "evidence", true, 4, &evidence))
        return false;
    if (strlen(severity) != 1 || strchr("EWI", severity[0]) == NULL)
        return lm_pack_bad(l, "severity", "severity is E, W or I, not \"%s\"", severity);
    if (lm_evidence_parse(evidence, &ev) != LM_OK)
        return lm_pack_bad(l, "evidence", "evidence is V, V2, M or own, not \"%s\"", evidence);
    if (ev == LM_EVIDENCE_OWN && strcmp(l->pack->rules.jurisdiction, "none") != 0)
        return lm_pack_bad(
            l, "evidence", "own is for packs of no jurisdiction; mark a rule of law V, V2 or M");
    out->evidence = (uint8_t) ev;
    out->severity = severity[0] == 'E'   ? LM_SEVERITY_STOP
                    : severity[0] == 'W' ? LM_SEVERITY_LOOK
                                         : LM_SEVERITY_NOTE;
    if (out->severity == LM_SEVERITY_STOP &&
        (ev == LM_EVIDENCE_SECOND || ev == LM_EVIDENCE_MEMORY)) {
        out->severity = LM_SEVERITY_LOOK;
        out->lowered = true;
    }
    return true;
}

static bool take_source(struct load *l, const json_t *o, struct lm_rule *out)
{
    struct lm_date as_of = {0};
    out->todo = out->source_url = "";
    return lm_pack_text(l, o, "citation", true, 300, &out->citation) &&
           lm_pack_text(l, o, "as_of", true, 10, &out->as_of) &&
           lm_pack_date(l, o, "as_of", &as_of) &&
           lm_pack_text(l, o, "source_url", false, 300, &out->source_url) &&
           lm_pack_text(l, o, "text", true, 400, &out->text) &&
           lm_pack_text(l, o, "todo", false, 200, &out->todo);
}

/* Whether a condition asks about an animal, which a lot cannot answer. */
static bool asks_animal(const struct lm_when *w)
{
    struct lm_when bare = {.destinations = w->destinations,
        .not_destinations = w->not_destinations,
        .cases = w->cases,
        .not_cases = w->not_cases,
        .purposes = w->purposes,
        .at_race = w->at_race,
        .move_from = w->move_from,
        .move_before = w->move_before,
        .season_from = w->season_from,
        .season_to = w->season_to};
    return bare.age_min != w->age_min || bare.age_max != w->age_max || w->sex != 0 ||
           w->castrated != 0 || w->born_here != 0 || w->single != 0 || w->born_from.year != 0 ||
           w->born_before.year != 0 || w->applied_from.year != 0 || w->applied_before.year != 0 ||
           w->wears != 0 || w->identified_by != 0 || w->tag_types.n > 0 || w->colours.n > 0 ||
           w->number_begins.n > 0;
}

static bool check_scope(struct load *l, const struct lm_rule *r)
{
    enum lm_need_kind kind = (enum lm_need_kind) r->need.kind;
    bool of_both = kind == LM_NEED_NOTE || kind == LM_NEED_PAPER || kind == LM_NEED_ONLY_WHEN;
    bool of_lot = kind == LM_NEED_HEADS_AGREE || kind == LM_NEED_COUNTED_WITHIN;
    if (!of_both && of_lot != r->of_lot)
        return lm_pack_bad(l, "requirement", "%s is asked of %s", lm_need_name(kind),
            of_lot ? "a lot: add \"of\":\"lot\"" : "an animal, not of a lot");
    bool animal = asks_animal(&r->when) || (r->unless != NULL && asks_animal(r->unless)) ||
                  (r->need.only != NULL && asks_animal(r->need.only));
    if (r->of_lot && (animal || r->species.n > 0))
        return lm_pack_bad(l, "of", "a rule of the lot cannot ask about one animal");
    return true;
}

static bool take_scope(struct load *l, const json_t *o, struct lm_rule *out)
{
    const char *of = "animal";
    if (!lm_pack_text(l, o, "of", false, 10, &of))
        return false;
    out->of_lot = strcmp(of, "lot") == 0;
    return out->of_lot || strcmp(of, "animal") == 0 ||
           lm_pack_bad(l, "of", "of is animal or lot, not \"%s\"", of);
}

static bool take_conditions(struct load *l, const json_t *o, struct lm_rule *out)
{
    const json_t *when = json_object_get(o, "applies_when");
    const json_t *unless = json_object_get(o, "unless");
    const json_t *need = json_object_get(o, "requirement");
    struct lm_when *but = unless != NULL ? lm_pack_take(l, 1, sizeof *but) : NULL;
    out->unless = but;
    if (need == NULL)
        return lm_pack_bad(l, NULL, "requirement is not there");
    l->part = "applies_when";
    bool good = when == NULL || lm_pack_when(l, when, &out->when);
    l->part = good ? "unless" : l->part;
    good = good && (unless == NULL || (but != NULL && lm_pack_when(l, unless, but)));
    l->part = good ? "requirement" : l->part;
    good = good && lm_pack_need(l, need, &out->need);
    l->part = NULL;
    return good;
}

bool lm_pack_rule(struct load *l, const json_t *o, struct lm_rule *out)
{
    static const char *const known[] = {"id", "species", "of", "applies_when", "unless",
        "requirement", "severity", "evidence", "citation", "as_of", "source_url", "text", "todo",
        "remark", NULL};
    const char *remark = NULL;
    return lm_pack_keys(l, o, known) && lm_pack_id(l, o, &out->id) &&
           lm_pack_words(l, o, "species", &out->species) && take_scope(l, o, out) &&
           take_conditions(l, o, out) && take_weight(l, o, out) && take_source(l, o, out) &&
           lm_pack_text(l, o, "remark", false, 400, &remark) && check_scope(l, out);
}
