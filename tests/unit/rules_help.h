/* Animals and sales in one line each, for the tests of the rules.
 *
 * "goat female born=2025-03-01 purpose=breeding + official eid=840000000000001 applied=2025-04": a
 * blank separates, '_' stands for a blank, '+' begins a device. Words before it are of the animal
 * and of the sale. */
#ifndef RULES_HELP_H
#define RULES_HELP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "lugmark/rulepack.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct example {
    struct lm_record rec;
    struct lm_rule_animal animal;
    struct lm_rule_context ctx;
    char text[600];
    const char *own[4], *cases[4], *not_cases[4], *papers[4], *no_papers[4];
    struct lm_tag_type types[4];
};

static inline enum lm_answer yes_no(const char *v)
{
    if (strcmp(v, "yes") != 0 && strcmp(v, "no") != 0)
        fail_msg("yes or no, not %s", v);
    return strcmp(v, "yes") == 0 ? LM_ANSWER_YES : LM_ANSWER_NO;
}

static inline struct lm_date day(const char *v)
{
    struct lm_date d;
    if (lm_date_parse(v, strlen(v), &d) != LM_OK)
        fail_msg("no date: %s", v);
    return d;
}

static inline void add_word(struct lm_words *words, const char **room, const char *v)
{
    room[words->n++] = v;
    words->at = room;
}

static inline bool device_word(struct lm_device *d, const char *k, const char *v)
{
    enum lm_device_form form;
    enum lm_place place;
    if (strcmp(k, "official") == 0)
        d->official = true;
    else if (strcmp(k, "gone") == 0)
        d->gone = true;
    else if (strcmp(k, "eid") == 0) {
        struct lm_eid eid;
        unsigned country = (unsigned) strtoul((char[4]){v[0], v[1], v[2], 0}, NULL, 10);
        assert_int_equal(lm_eid_make(country, strtoull(v + 3, NULL, 10), &eid), LM_OK);
        d->eid = eid;
    } else if (strcmp(k, "visual") == 0)
        snprintf(d->visual, sizeof d->visual, "%s", v);
    else if (strcmp(k, "colour") == 0)
        snprintf(d->colour, sizeof d->colour, "%s", v);
    else if (strcmp(k, "why") == 0)
        snprintf(d->why, sizeof d->why, "%s", v);
    else if (strcmp(k, "applied") == 0)
        d->applied = day(v);
    else if (strcmp(k, "removed") == 0)
        d->removed = day(v);
    else if (strcmp(k, "replaces") == 0)
        d->replaces = (uint8_t) atoi(v);
    else if (strcmp(k, "form") == 0 && lm_device_form_parse(v, &form) == LM_OK)
        d->form = (uint8_t) form;
    else if (strcmp(k, "place") == 0 && lm_place_parse(v, &place) == LM_OK)
        d->place = (uint8_t) place;
    else
        return false;
    return true;
}

static inline bool sale_word(struct example *e, const char *k, char *v)
{
    struct lm_rule_context *c = &e->ctx;
    enum lm_purpose purpose;
    if (strcmp(k, "date") == 0)
        c->date = day(v);
    else if (strcmp(k, "purpose") == 0 && lm_purpose_parse(v, &purpose) == LM_OK)
        c->purpose = (uint8_t) purpose;
    else if (strcmp(k, "to") == 0)
        c->destination = v;
    else if (strcmp(k, "own") == 0)
        add_word(&c->own, e->own, v);
    else if (strcmp(k, "case") == 0)
        add_word(&c->cases, e->cases, v);
    else if (strcmp(k, "not") == 0)
        add_word(&c->not_cases, e->not_cases, v);
    else if (strcmp(k, "have") == 0)
        add_word(&c->papers, e->papers, v);
    else if (strcmp(k, "lack") == 0)
        add_word(&c->no_papers, e->no_papers, v);
    else if (strcmp(k, "type") == 0) {
        char *equals = strrchr(v, '=');
        *equals = '\0';
        e->types[c->n_types++] = (struct lm_tag_type){v, equals + 1};
        c->types = e->types;
    } else if (strcmp(k, "race") == 0) {
        c->at_race = true;
        c->race_over = strcmp(v, "over") == 0;
    } else if (strcmp(k, "heads") == 0) {
        c->has_heads = true;
        c->heads = (uint32_t) atoi(v);
    } else if (strcmp(k, "lot") == 0)
        c->animals = (uint32_t) atoi(v);
    else if (strcmp(k, "counted") == 0)
        c->counted = day(v);
    else
        return false;
    return true;
}

static inline bool animal_word(struct example *e, const char *k, char *v)
{
    struct lm_record *r = &e->rec;
    enum lm_status status;
    enum lm_sex sex;
    if (v == NULL && lm_sex_parse(k, &sex, &r->castrated) == LM_OK)
        r->sex = (uint8_t) sex;
    else if (v == NULL && lm_status_parse(k, &status) == LM_OK)
        r->status = (uint8_t) status;
    else if (v == NULL && strcmp(k, "struck") == 0)
        r->struck = true;
    else if (v == NULL)
        snprintf(r->species, sizeof r->species, "%s", k);
    else if (strcmp(k, "born") == 0)
        r->born = day(v);
    else if (strcmp(k, "here") == 0)
        e->animal.born_here = (uint8_t) yes_no(v);
    else if (strcmp(k, "seen") == 0)
        e->animal.seen = (uint8_t) yes_no(v);
    else if (strcmp(k, "read") == 0)
        e->animal.read = (uint8_t) yes_no(v);
    else if (strcmp(k, "shared") == 0)
        e->animal.shared = (uint8_t) yes_no(v);
    else
        return sale_word(e, k, v);
    return true;
}

/* Read an example. A rule of the lot gets no animal. */
static inline void example_read(struct example *e, const char *text, bool of_lot)
{
    char *rest = NULL;
    memset(e, 0, sizeof *e);
    snprintf(e->rec.key, sizeof e->rec.key, "A1");
    e->ctx.date = day("2026-11-02");
    assert_true(strlen(text) < sizeof e->text);
    snprintf(e->text, sizeof e->text, "%s", text);
    for (char *w = strtok_r(e->text, " ", &rest); w != NULL; w = strtok_r(NULL, " ", &rest)) {
        char *v = strchr(w, '=');
        if (v != NULL)
            *v++ = '\0';
        for (char *c = v; c != NULL && *c != '\0'; c++)
            *c = *c == '_' ? ' ' : *c;
        bool good = true;
        if (strcmp(w, "+") == 0)
            e->rec.n_devices++;
        else if (e->rec.n_devices > 0)
            good = device_word(&e->rec.devices[e->rec.n_devices - 1], w, v);
        else
            good = animal_word(e, w, v);
        if (!good)
            fail_msg("the example says %s, which is nothing: %s", w, text);
    }
    e->animal.rec = of_lot ? NULL : &e->rec;
}

static inline struct lm_rulepack *must_load(const char *id)
{
    char path[80];
    struct lm_problem p;
    struct lm_rulepack *pack = NULL;
    snprintf(path, sizeof path, "src/cli/packs/%s.json", id);
    if (lm_rulepack_read(path, &pack, &p) != LM_OK)
        fail_msg("%s:%ld: %s", path, p.line, p.what);
    return pack;
}

static inline const struct lm_rule *rule_of(const struct lm_rule_pack *pack, const char *id)
{
    for (size_t i = 0; i < pack->n_rules; i++)
        if (strcmp(pack->rules[i].id, id) == 0)
            return &pack->rules[i];
    fail_msg("pack %s has no rule %s", pack->id, id);
    return NULL;
}

#endif
