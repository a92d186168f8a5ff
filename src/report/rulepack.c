/* A rule pack from its file. */
#include "rulepack_priv.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define ELEMENTS_MAX 1000u

/* Take each element of a section. `room` gets the table. */
typedef bool take_fn(struct load *l, const json_t *element, void *out);

static bool take_format(struct load *l, const json_t *o, void *out)
{
    return lm_pack_format(l, o, out);
}

static bool take_rule(struct load *l, const json_t *o, void *out)
{
    return lm_pack_rule(l, o, out);
}

static bool take_case(struct load *l, const json_t *o, void *out)
{
    static const char *const known[] = {"id", "text", "ask", NULL};
    struct lm_case *c = out;
    return lm_pack_keys(l, o, known) && lm_pack_id(l, o, &c->id) &&
           lm_pack_text(l, o, "text", true, 160, &c->text) && lm_pack_bool(l, o, "ask", &c->ask);
}

static bool id_is_new(struct load *l, const json_t *list, size_t index, const json_t *element)
{
    const char *id = json_string_value(json_object_get(element, "id"));
    for (size_t i = 0; i < index; i++) {
        const char *other = json_string_value(json_object_get(json_array_get(list, i), "id"));
        if (id != NULL && other != NULL && lm_word_is(id, other))
            return lm_pack_bad(l, "id", "the id \"%.40s\" is there twice", id);
    }
    return true;
}

/* The table of a section, and how many are in it. NULL when it is not there or was refused. */
static void *take_section(
    struct load *l, const char *section, size_t size, take_fn *take, size_t *n, bool *good)
{
    const json_t *list = json_object_get(l->pack->root, section);
    if (list == NULL || !*good)
        return NULL;
    *good = json_is_array(list) && json_array_size(list) <= ELEMENTS_MAX;
    if (!*good) {
        lm_pack_bad(l, section, "%s is no list of at most %u", section, ELEMENTS_MAX);
        return NULL;
    }
    char *room = lm_pack_take(l, json_array_size(list), size);
    *good = room != NULL;
    l->section = section;
    for (l->index = 0; *good && l->index < json_array_size(list); l->index++) {
        const json_t *element = json_array_get(list, l->index);
        *good = json_is_object(element) ? id_is_new(l, list, l->index, element) &&
                                              take(l, element, room + l->index * size)
                                        : lm_pack_bad(l, NULL, "this is no object");
        *n += *good;
    }
    l->section = NULL;
    return room;
}

static bool take_countries(struct load *l)
{
    json_t *map = json_object_get(l->pack->root, "countries");
    const char *letters;
    json_t *value;
    if (map == NULL)
        return true;
    if (!json_is_object(map))
        return lm_pack_bad(l, "countries", "countries is no object such as {\"UK\":826}");
    struct lm_country_pair *pairs = lm_pack_take(l, json_object_size(map), sizeof *pairs);
    l->pack->rules.countries = pairs;
    l->part = "countries";
    json_object_foreach(map, letters, value)
    {
        if (pairs == NULL)
            return false;
        size_t len = strspn(letters, "ABCDEFGHIJKLMNOPQRSTUVWXYZ");
        int number = 0;
        if (len < 2 || len > 3 || letters[len] != '\0' ||
            !lm_pack_int(l, map, letters, 1, 999, &number))
            return lm_pack_bad(
                l, letters, "\"%.10s\" is no country of 2 or 3 letters and a number", letters);
        pairs[l->pack->rules.n_countries++] = (struct lm_country_pair){letters, (unsigned) number};
    }
    l->part = NULL;
    return true;
}

static bool take_head(struct load *l)
{
    static const char *const known[] = {"schema", "id", "name", "jurisdiction", "as_of",
        "authority", "countries", "destinations", "cases", "formats", "rules", "remark", NULL};
    struct lm_rule_pack *r = &l->pack->rules;
    const json_t *root = l->pack->root;
    const char *schema = NULL, *remark = NULL;
    struct lm_date as_of = {0};
    if (!lm_pack_text(l, root, "schema", true, 40, &schema))
        return false;
    if (strcmp(schema, "lugmark.rules/1") != 0)
        return lm_pack_bad(l, "schema", "the schema is \"%s\", not lugmark.rules/1", schema);
    return lm_pack_keys(l, root, known) && lm_pack_id(l, root, &r->id) &&
           lm_pack_text(l, root, "name", true, 120, &r->name) &&
           lm_pack_text(l, root, "jurisdiction", true, 120, &r->jurisdiction) &&
           lm_pack_text(l, root, "as_of", true, 10, &r->as_of) &&
           lm_pack_date(l, root, "as_of", &as_of) &&
           lm_pack_text(l, root, "authority", true, 200, &r->authority) &&
           lm_pack_text(l, root, "remark", false, 1000, &remark);
}

static bool take_all(struct load *l)
{
    struct lm_rule_pack *r = &l->pack->rules;
    if (!json_is_object(l->pack->root))
        return lm_pack_bad(l, NULL, "a rule pack is one object");
    bool good = take_head(l) && take_countries(l);
    r->destinations = take_section(
        l, "destinations", sizeof *r->destinations, take_case, &r->n_destinations, &good);
    r->cases = take_section(l, "cases", sizeof *r->cases, take_case, &r->n_cases, &good);
    r->formats = take_section(l, "formats", sizeof *r->formats, take_format, &r->n_formats, &good);
    r->rules = take_section(l, "rules", sizeof *r->rules, take_rule, &r->n_rules, &good);
    if (!good)
        return false;
    return r->n_rules > 0 || lm_pack_bad(l, "rules", "the pack has no rule");
}

enum lm_err lm_rulepack_parse(
    const char *text, size_t len, const char *name, struct lm_rulepack **pack, struct lm_problem *p)
{
    struct lm_problem own;
    json_error_t error;
    struct load l = {.text = text, .len = len, .p = p != NULL ? p : &own};
    memset(l.p, 0, sizeof *l.p);
    snprintf(l.p->file, sizeof l.p->file, "%s", name);
    *pack = NULL;
    l.pack = calloc(1, sizeof *l.pack);
    if (l.pack == NULL)
        return lm_problem_set(l.p, LM_ENOMEM, NULL, "out of memory");
    l.pack->root = json_loadb(text, len, JSON_REJECT_DUPLICATES, &error);
    if (l.pack->root == NULL) {
        l.p->line = error.line > 0 ? error.line : 1;
        l.p->column = error.column > 0 ? error.column : 1;
        lm_problem_set(
            l.p, LM_EINPUT, "the pack is not used until this is mended", "%s", error.text);
    } else if (take_all(&l)) {
        *pack = l.pack;
        return LM_OK;
    }
    lm_rulepack_free(l.pack);
    return l.no_memory ? lm_problem_set(l.p, LM_ENOMEM, NULL, "out of memory") : LM_EINPUT;
}

enum lm_err lm_rulepack_read(const char *path, struct lm_rulepack **pack, struct lm_problem *p)
{
    *pack = NULL;
    memset(p, 0, sizeof *p);
    snprintf(p->file, sizeof p->file, "%s", path);
    FILE *in = fopen(path, "rbe");
    if (in == NULL)
        return lm_problem_set(p, errno == ENOENT ? LM_ENOTFOUND : LM_EIO, NULL,
            "cannot be opened: %s", strerror(errno));
    char *text = malloc(LM_RULEPACK_BYTES + 1);
    size_t len = text != NULL ? fread(text, 1, LM_RULEPACK_BYTES + 1, in) : 0;
    enum lm_err err = LM_OK;
    if (text == NULL)
        err = lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    else if (ferror(in))
        err = lm_problem_set(p, LM_EIO, NULL, "cannot be read: %s", strerror(errno));
    else if (len > LM_RULEPACK_BYTES)
        err = lm_problem_set(p, LM_EINPUT, NULL, "longer than %u bytes", LM_RULEPACK_BYTES);
    else
        err = lm_rulepack_parse(text, len, path, pack, p);
    free(text);
    fclose(in);
    return err;
}

const struct lm_rule_pack *lm_rulepack_rules(const struct lm_rulepack *pack)
{
    return &pack->rules;
}
