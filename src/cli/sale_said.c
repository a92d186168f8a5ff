/* What the person said about a sale: options, and settings kept in the register. */
#include "sale.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "problem.h"

/* Options that --keep writes down, so that they need not be said again. */
static const struct {
    const char *option, *setting;
} kept[] = {
    {"pack", "sale.pack"},
    {"own", "sale.own"},
    {"type", "sale.types"},
    {"rule", "sale.rules"},
};

#define KEPT (sizeof kept / sizeof *kept)

const char *lm_sale_setting(const char *option)
{
    for (size_t i = 0; i < KEPT; i++)
        if (strcmp(kept[i].option, option) == 0)
            return kept[i].setting;
    return NULL;
}

void lm_sale_said_free(struct lm_sale_said *said)
{
    for (size_t i = 0; i < said->n_texts; i++)
        free(said->texts[i]);
    for (size_t i = 0; i < said->n_lists; i++)
        free(said->lists[i]);
    said->n_texts = said->n_lists = 0;
}

/* A copy that lives as long as `said`. */
static char *hold_text(struct lm_sale_said *said, const char *text)
{
    char *copy = said->n_texts < sizeof said->texts / sizeof *said->texts ? strdup(text) : NULL;
    if (copy != NULL)
        said->texts[said->n_texts++] = copy;
    return copy;
}

int lm_sale_value(const struct lm_args *args, struct lm_store *store, struct lm_sale_said *said,
    const char *option, const char **value)
{
    char text[LM_SALE_SETTING + 1] = "";
    const char *given = lm_arg(args, option), *setting = lm_sale_setting(option);
    *value = NULL;
    if (given != NULL && strlen(given) > LM_SALE_SETTING)
        return lm_usage(args, "--%s is longer than %u bytes", option, LM_SALE_SETTING);
    if (given != NULL && !lm_text_clean(given, strlen(given)))
        return lm_usage(args, "--%s is no clean text", option);
    if (given == NULL && setting != NULL && store != NULL &&
        lm_store_setting(store, setting, text, sizeof text) != LM_OK)
        return LM_EXIT_FAILED;
    if (given == NULL && text[0] == '\0')
        return LM_EXIT_OK;
    *value = hold_text(said, given != NULL ? given : text);
    return *value != NULL ? LM_EXIT_OK : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
}

/* Cut a text at its commas, in place; blanks around the parts are dropped. */
static size_t cut(char *text, const char **out, size_t max)
{
    size_t n = 0;
    char *rest = NULL;
    for (char *w = strtok_r(text, ",", &rest); w != NULL && n < max;
         w = strtok_r(NULL, ",", &rest)) {
        while (*w == ' ')
            w++;
        size_t len = strlen(w);
        while (len > 0 && w[len - 1] == ' ')
            w[--len] = '\0';
        if (len > 0)
            out[n++] = w;
    }
    return n;
}

static int take_list(const struct lm_args *args, struct lm_store *store, struct lm_sale_said *said,
    const char *option, struct lm_words *out)
{
    const char *value;
    int exit = lm_sale_value(args, store, said, option, &value);
    if (exit != LM_EXIT_OK || value == NULL)
        return exit;
    const char **words = calloc(LM_SALE_WORDS_MAX, sizeof *words);
    if (words == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    said->lists[said->n_lists++] = words;
    /* the copy is ours, though it is given out as constant */
    *out = (struct lm_words){words, cut(said->texts[said->n_texts - 1], words, LM_SALE_WORDS_MAX)};
    return LM_EXIT_OK;
}

/* --- checked against the packs --- */

struct packs {
    const struct lm_args *args;
    const struct lm_rule_pack *const *at;
    size_t n;
};

static const struct lm_rule *rule_named(const struct packs *p, const char *id)
{
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->at[i]->n_rules; k++)
            if (lm_word_is(id, p->at[i]->rules[k].id))
                return &p->at[i]->rules[k];
    return NULL;
}

static bool format_is_there(const struct packs *p, const char *id)
{
    for (size_t i = 0; i < p->n; i++)
        if (lm_format_named(p->at[i], id) != NULL)
            return true;
    return false;
}

static bool case_is_there(const struct packs *p, const char *id)
{
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->at[i]->n_cases; k++)
            if (lm_word_is(id, p->at[i]->cases[k].id))
                return true;
    return false;
}

static bool paper_is_there(const struct packs *p, const char *id)
{
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->at[i]->n_rules; k++) {
            const struct lm_need *need = &p->at[i]->rules[k].need;
            if (need->kind == LM_NEED_PAPER && lm_word_is(id, need->text))
                return true;
        }
    return false;
}

static int check_words(const struct packs *p, const char *option, const struct lm_words *words,
    bool (*there)(const struct packs *, const char *), const char *what)
{
    for (size_t i = 0; i < words->n; i++)
        if (!there(p, words->at[i]))
            return lm_usage(
                p->args, "--%s: the rule pack knows of no %s \"%s\"", option, what, words->at[i]);
    return LM_EXIT_OK;
}

/* NUMBER=FORMAT. Of what was kept, a format of another pack is no mistake. */
static int take_types(const struct packs *p, struct lm_sale_said *said, struct lm_words *list)
{
    bool given = lm_arg_given(p->args, "type");
    for (size_t i = 0; i < list->n; i++) {
        char *word = (char *) (uintptr_t) list->at[i], *equals = strrchr(word, '=');
        if (equals == NULL || equals == word)
            return lm_usage(p->args, "--type wants NUMBER=FORMAT, not \"%s\"", word);
        *equals = '\0';
        if (given && !format_is_there(p, equals + 1))
            return lm_usage(
                p->args, "--type: the rule pack has no number format \"%s\"", equals + 1);
        said->types[said->ctx.n_types++] = (struct lm_tag_type){word, equals + 1};
    }
    said->ctx.types = said->types;
    return LM_EXIT_OK;
}

/* RULE=off|note|look|hold. */
static int take_overrides(const struct packs *p, struct lm_sale_said *said, struct lm_words *list)
{
    bool given = lm_arg_given(p->args, "rule");
    for (size_t i = 0; i < list->n; i++) {
        static const char *const asks = " off note look hold ";
        char *word = (char *) (uintptr_t) list->at[i], *equals = strchr(word, '='), padded[12];
        if (equals == NULL || strlen(equals + 1) > 4)
            return lm_usage(p->args, "--rule wants RULE=off, note, look or hold, not \"%s\"", word);
        *equals = '\0';
        snprintf(padded, sizeof padded, " %s ", equals + 1);
        if (strstr(asks, padded) == NULL)
            return lm_usage(
                p->args, "--rule wants off, note, look or hold, not \"%s\"", equals + 1);
        const struct lm_rule *rule = rule_named(p, word);
        if (rule == NULL && given)
            return lm_usage(p->args, "--rule: no rule is called \"%s\"", word);
        bool weak = rule != NULL && lm_rule_attention(LM_OUTCOME_FAIL, LM_SEVERITY_STOP,
                                        (enum lm_evidence) rule->evidence) != LM_HOLD;
        if (weak && given && strcmp(equals + 1, "hold") == 0)
            return lm_usage(p->args,
                "%s is not verified: it can ask for a look, never hold an animal", rule->id);
        said->overrides[said->n_overrides++] = (struct lm_sale_override){word, equals + 1};
    }
    return LM_EXIT_OK;
}

static int take_destination(const struct packs *p, struct lm_sale_said *said)
{
    const char *word = lm_arg(p->args, "destination");
    char known[200] = "";
    if (word == NULL)
        return LM_EXIT_OK;
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->at[i]->n_destinations; k++) {
            const char *id = p->at[i]->destinations[k].id;
            size_t len = strlen(known);
            if (lm_word_is(word, id)) {
                said->ctx.destination = id;
                return LM_EXIT_OK;
            }
            snprintf(known + len, sizeof known - len, "%s%s", len > 0 ? ", " : "", id);
        }
    if (known[0] == '\0')
        return lm_usage(p->args, "--destination: the rule pack has none");
    return lm_usage(p->args, "--destination is one of %s, not \"%s\"", known, word);
}

static int take_simple(const struct packs *p, struct lm_sale_said *said)
{
    const char *purpose = lm_arg(p->args, "purpose"), *born = lm_arg(p->args, "born");
    const char *date = lm_arg(p->args, "date");
    enum lm_purpose found = LM_PURPOSE_UNKNOWN;
    if (purpose != NULL && lm_purpose_parse(purpose, &found) != LM_OK)
        return lm_usage(
            p->args, "--purpose is breeding, fattening, slaughter or show, not \"%s\"", purpose);
    said->ctx.purpose = (uint8_t) found;
    if (born != NULL && strcmp(born, "here") != 0 && strcmp(born, "elsewhere") != 0)
        return lm_usage(p->args, "--born is here or elsewhere, not \"%s\"", born);
    if (born != NULL)
        said->born = strcmp(born, "here") == 0 ? LM_ANSWER_YES : LM_ANSWER_NO;
    if (date != NULL &&
        (lm_date_parse(date, strlen(date), &said->ctx.date) != LM_OK || said->ctx.date.day == 0))
        return lm_usage(p->args, "--date wants a day such as 2026-11-02, not \"%s\"", date);
    return take_destination(p, said);
}

int lm_sale_said_take(const struct lm_args *args, struct lm_store *store,
    const struct lm_rule_pack *const *packs, size_t n_packs, struct lm_sale_said *said)
{
    struct packs p = {args, packs, n_packs};
    struct lm_rule_context *ctx = &said->ctx;
    struct lm_words types = {0}, rules = {0};
    const struct {
        const char *option;
        struct lm_words *out;
    } lists[] = {{"own", &ctx->own}, {"type", &types}, {"rule", &rules}, {"case", &ctx->cases},
        {"not", &ctx->not_cases}, {"have", &ctx->papers}, {"lack", &ctx->no_papers}};
    int exit = take_simple(&p, said);
    for (size_t i = 0; exit == LM_EXIT_OK && i < sizeof lists / sizeof *lists; i++)
        exit = take_list(args, store, said, lists[i].option, lists[i].out);
    if (exit == LM_EXIT_OK)
        exit = check_words(&p, "case", &ctx->cases, case_is_there, "case");
    if (exit == LM_EXIT_OK)
        exit = check_words(&p, "not", &ctx->not_cases, case_is_there, "case");
    if (exit == LM_EXIT_OK)
        exit = check_words(&p, "have", &ctx->papers, paper_is_there, "paper");
    if (exit == LM_EXIT_OK)
        exit = check_words(&p, "lack", &ctx->no_papers, paper_is_there, "paper");
    if (exit == LM_EXIT_OK)
        exit = take_types(&p, said, &types);
    return exit == LM_EXIT_OK ? take_overrides(&p, said, &rules) : exit;
}

int lm_sale_said_keep(const struct lm_args *args, struct lm_store *store)
{
    for (size_t i = 0; i < KEPT; i++) {
        const char *value = lm_arg(args, kept[i].option);
        if (value == NULL)
            continue;
        if (lm_store_set(store, kept[i].setting, value) != LM_OK)
            return LM_EXIT_FAILED;
    }
    return LM_EXIT_OK;
}
