/* A sale check, for people and for machines. */
#include "sale.h"

#include <ctype.h>
#include <string.h>

#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define NAMES_SHOWN 12u

static const char *upper(enum lm_attention att)
{
    return att == LM_HOLD ? _("HOLD") : att == LM_LOOK ? _("LOOK") : _("GO");
}

/* --- for people --- */

static void race_line(const struct lm_sale_race *race)
{
    if (race->closed)
        printf(race->has_heads ? _("Race: session %lld, closed\n")
                               : _("Race: session %lld, closed, no head count\n"),
            (long long) race->id);
    else
        printf(race->has_heads ? _("Race: session %lld, still open\n")
                               : _("Race: session %lld, still open, no head count\n"),
            (long long) race->id);
}

static void head(const struct lm_sale *sale)
{
    const struct lm_rule_context *ctx = &sale->said.ctx;
    const struct lm_rule_pack *pack = sale->rules[sale->n_packs - 1];
    char date[LM_DATE_TEXT_SIZE];
    const char *purpose = ctx->purpose != 0 ? _(lm_purpose_name((enum lm_purpose) ctx->purpose))
                                            : _("a purpose that is not said");
    lm_date_format(ctx->date, date);
    if (sale->lot[0] != '\0')
        printf(_("Sale check of lot %s: %zu animals, leaving %s, for %s"), sale->lot,
            sale->n_animals, date, purpose);
    else
        printf(_("Sale check: %zu animals, leaving %s, for %s"), sale->n_animals, date, purpose);
    printf("%s%s\n", ctx->destination != NULL ? ", " : "",
        ctx->destination != NULL ? ctx->destination : "");
    printf(_("Rules: %s (pack %s, as of %s)\n"), _(pack->name), pack->id, pack->as_of);
    if (sale->race.joined)
        race_line(&sale->race);
    for (size_t i = 0; i < sale->said.n_overrides; i++)
        printf(_("By your setting: rule %s is %s\n"), sale->said.overrides[i].rule,
            _(sale->said.overrides[i].word));
}

/* A question mark: it is not known, and may be in order. */
static void result_line(const struct lm_sale_result *r)
{
    bool ask = r->outcome == LM_OUTCOME_UNKNOWN && r->attention != LM_GO;
    char word[40];
    snprintf(word, sizeof word, "%s%s",
        r->attention == LM_GO ? _("note") : _(lm_attention_name(r->attention)), ask ? "?" : "");
    fputs("     ", stdout);
    lm_tongue_pad(stdout, word, 7);
    printf("%-8s %s\n", lm_sale_id(r), r->words);
}

static void animal_block(const struct lm_sale *sale, const struct lm_sale_animal *a)
{
    lm_tongue_pad(stdout, upper(a->attention), 5);
    printf("%s%s%s%s%s%s%s\n", a->key, a->number[0] != '\0' ? "  " : "", a->number,
        a->code[0] != '\0' ? "  " : "", a->code, a->attention == LM_GO ? "  " : "",
        a->attention == LM_GO ? _("no problem found") : "");
    for (size_t k = 0; k < a->n_results; k++)
        result_line(&sale->results[a->first + k]);
}

static void animals(const struct lm_sale *sale)
{
    for (int att = LM_HOLD; att >= LM_GO; att--)
        for (size_t i = 0; i < sale->n_animals; i++)
            if (sale->animals[i].attention == (enum lm_attention) att)
                animal_block(sale, &sale->animals[i]);
    if (sale->n_results > sale->lot_first)
        puts(_("The lot"));
    for (size_t k = sale->lot_first; k < sale->n_results; k++)
        result_line(&sale->results[k]);
}

static int to_do(const struct lm_sale *sale)
{
    struct lm_sale_tasks tasks;
    if (lm_sale_tasks_make(sale, &tasks) != LM_OK) {
        lm_sale_tasks_free(&tasks);
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    }
    if (tasks.n > 0)
        puts(_("\nBefore loading:"));
    for (size_t i = 0; i < tasks.n; i++) {
        const struct lm_sale_task *t = &tasks.at[i];
        printf("  [ ] %s: %s (%s)", _(lm_attention_name(t->attention)), t->text, t->rules);
        for (size_t k = 0; k < t->n && k < NAMES_SHOWN; k++)
            printf("%s%s", k == 0 ? ": " : ", ", sale->animals[t->animals[k]].key);
        if (t->n > NAMES_SHOWN)
            printf(_(" and %zu more"), t->n - NAMES_SHOWN);
        putchar('\n');
    }
    lm_sale_tasks_free(&tasks);
    return LM_EXIT_OK;
}

int lm_sale_text(const struct lm_sale *sale)
{
    const struct lm_rule_pack *pack = sale->rules[sale->n_packs - 1];
    head(sale);
    putchar('\n');
    animals(sale);
    int exit = to_do(sale);
    printf(_("\n%zu to hold, %zu to look at, %zu without a problem found"),
        lm_sale_count(sale, LM_HOLD), lm_sale_count(sale, LM_LOOK), lm_sale_count(sale, LM_GO));
    puts(sale->lot_attention == LM_HOLD   ? _("; the lot: hold.")
         : sale->lot_attention == LM_LOOK ? _("; the lot: look.")
                                          : ".");
    printf(_("Pack %s as of %s. Law changes; your animal-health authority decides: %s.\n"),
        pack->id, pack->as_of, _(pack->authority));
    puts(_("Say why a rule asks: lugmark sale-check --explain-rule RULE"));
    return exit;
}

/* --- for machines --- */

static json_t *result_json(const struct lm_speech *in, const struct lm_sale_result *r)
{
    const struct lm_rule *rule = r->rule;
    json_t *o = json_pack("{s:s, s:s, s:s, s:s}", "rule", lm_sale_id(r), "outcome",
        lm_outcome_name(r->outcome), "attention", lm_attention_name(r->attention), "why", r->words);
    json_object_set_new(o, "pack", rule != NULL ? json_string(r->pack->id) : json_null());
    if (rule == NULL)
        return o;
    json_object_set_new(o, "text", json_string(lm_sale_in(in, rule->text)));
    json_object_set_new(o, "todo", lm_json_or_null(lm_sale_in(in, rule->todo)));
    json_object_set_new(o, "citation", json_string(lm_sale_in(in, rule->citation)));
    json_object_set_new(o, "as_of", json_string(rule->as_of));
    json_object_set_new(
        o, "evidence", json_string(lm_evidence_name((enum lm_evidence) rule->evidence)));
    json_object_set_new(o, "by_setting", json_boolean(r->by_setting));
    return o;
}

static json_t *results_json(const struct lm_sale *sale, size_t first, size_t n)
{
    json_t *list = json_array();
    for (size_t k = 0; k < n; k++)
        json_array_append_new(list, result_json(sale->said.ctx.speech, &sale->results[first + k]));
    return list;
}

static json_t *time_json(int64_t t_ms)
{
    char t[LM_TIME_TEXT_SIZE];
    return lm_json_or_null(lm_time_format(t_ms, t));
}

static json_t *animal_json(const struct lm_sale *sale, const struct lm_sale_animal *a)
{
    bool race = sale->race.joined;
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:s, s:s, s:o, s:o, s:o, s:o, s:i, s:o}", "animal",
        a->key, "attention", lm_attention_name(a->attention), "number", lm_json_or_null(a->number),
        "code", lm_json_or_null(a->code), "species", lm_json_or_null(a->species), "sex", a->sex,
        "age", a->age, "place", a->place > 0 ? json_integer((json_int_t) a->place) : json_null(),
        "seen", race ? json_boolean(a->place > 0) : json_null(), "read",
        race ? json_boolean(a->read) : json_null(), "t",
        time_json(a->place > 0 ? a->t_ms : LM_TIME_NONE), "passed", (int) a->passed, "results",
        results_json(sale, a->first, a->n_results));
}

static json_t *packs_json(const struct lm_sale *sale)
{
    const struct lm_speech *in = sale->said.ctx.speech;
    json_t *list = json_array();
    for (size_t i = 0; i < sale->n_packs; i++) {
        const struct lm_rule_pack *p = sale->rules[i];
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:s, s:s, s:s}", "id", p->id, "name",
                      lm_sale_in(in, p->name), "jurisdiction", p->jurisdiction, "as_of", p->as_of,
                      "authority", lm_sale_in(in, p->authority)));
    }
    return list;
}

static json_t *tasks_json(const struct lm_sale *sale)
{
    struct lm_sale_tasks tasks;
    json_t *list = json_array();
    enum lm_err err = lm_sale_tasks_make(sale, &tasks);
    for (size_t i = 0; err == LM_OK && i < tasks.n; i++) {
        const struct lm_sale_task *t = &tasks.at[i];
        json_t *keys = json_array();
        for (size_t k = 0; k < t->n; k++)
            json_array_append_new(keys, json_string(sale->animals[t->animals[k]].key));
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:s, s:o}", "attention", lm_attention_name(t->attention),
                      "do", t->text, "rules", t->rules, "animals", keys));
    }
    lm_sale_tasks_free(&tasks);
    return list;
}

static json_t *race_json(const struct lm_sale *sale)
{
    const struct lm_sale_race *r = &sale->race;
    if (!r->joined)
        return json_null();
    return json_pack("{s:I, s:b, s:o}", "id", (json_int_t) r->id, "closed", r->closed, "heads",
        r->has_heads ? json_integer(r->heads) : json_null());
}

int lm_sale_json(const struct lm_sale *sale)
{
    const struct lm_rule_context *ctx = &sale->said.ctx;
    char date[LM_DATE_TEXT_SIZE];
    json_t *list = json_array();
    for (size_t i = 0; i < sale->n_animals; i++)
        json_array_append_new(list, animal_json(sale, &sale->animals[i]));
    json_t *counts = json_pack("{s:i, s:i, s:i}", "hold", (int) lm_sale_count(sale, LM_HOLD),
        "look", (int) lm_sale_count(sale, LM_LOOK), "go", (int) lm_sale_count(sale, LM_GO));
    json_t *all = json_pack("{s:s, s:o, s:o, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:s, s:s}",
        "schema", "lugmark.sale/1", "packs", packs_json(sale), "lot", lm_json_or_null(sale->lot),
        "date", lm_date_format(ctx->date, date), "purpose",
        lm_json_or_null(lm_purpose_name((enum lm_purpose) ctx->purpose)), "destination",
        lm_json_or_null(ctx->destination), "session", race_json(sale), "counts", counts, "animals",
        list, "of_lot", results_json(sale, sale->lot_first, sale->n_results - sale->lot_first),
        "todo", tasks_json(sale), "say",
        lm_sale_in(ctx->speech,
            lm_sale_flagged(sale) ? N_("something to hold or to look at") : N_("no problem found")),
        "decides", lm_sale_in(ctx->speech, N_("your animal-health authority decides")));
    if (all == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    lm_json_line(stdout, all);
    return LM_EXIT_OK;
}
