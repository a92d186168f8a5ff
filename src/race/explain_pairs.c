/* Pairs of animal and item for which something speaks. Everything else is background. */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define EXPLICIT_PAIRS                                                                             \
    64u /* so few pairs without evidence are solved as pairs, not as a background */

static struct ex_pair *find_pair(struct ex *x, uint32_t from, uint32_t animal)
{
    for (uint32_t i = from; i < x->n_pairs; i++) {
        if (x->pairs[i].animal == animal)
            return &x->pairs[i];
    }
    return NULL;
}

/** Note a piece of evidence for a pair; pairs of one item are made one after another from @p from.
 */
static enum lm_err note(
    struct ex *x, uint32_t from, uint32_t animal, uint32_t item, unsigned ev, double confuse)
{
    struct ex_pair *p = find_pair(x, from, animal);
    if (!p) {
        enum lm_err err = ex_grow(&x->pairs, &x->cap_pairs, x->n_pairs, sizeof *x->pairs);
        if (err)
            return err;
        p = &x->pairs[x->n_pairs++];
        *p = (struct ex_pair){.animal = animal, .item = item};
    }
    p->evidence |= ev;
    p->confuse = fmax(p->confuse, confuse);
    return LM_OK;
}

/** Animals whose number was called, or a number like it. */
static enum lm_err by_call(struct ex *x, uint32_t from, uint32_t i)
{
    const struct ex_item *item = &x->items[i];
    uint32_t hits[EX_KEY_HITS];
    enum lm_err err = LM_OK;
    uint32_t n = ex_index_find(x, item->text, hits);
    for (uint32_t k = 0; k < n && !err; k++) {
        const struct ex_animal *a = &x->animals[hits[k]];
        double confuse = ex_confuse(x->roll, a->animal, item->text);
        bool named = a->animal == item->named || ex_has_number(x->roll, a->animal, item->text);
        if (hits[k] == item->owner)
            continue;
        if (named && item->type == EX_CODE)
            err = note(x, from, hits[k], i, EV_CALLED, 0.0);
        else if (confuse > 0.0 && !a->unread)
            err = note(x, from, hits[k], i, EV_CONFUSED, confuse);
    }
    if (!err && item->owner != EX_NONE)
        err = note(x, from, item->owner, i, EV_OWN, 0.0);
    return err;
}

static enum lm_err by_number(
    struct ex *x, uint32_t from, uint32_t i, const char *number, unsigned ev)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    enum lm_err err = LM_OK;
    unsigned n = 0;
    if (!number[0])
        return LM_OK;
    for (bool ok = lm_roll_visual_first(x->roll, number, &it, &d); ok && n++ < EX_KEY_HITS && !err;
         ok = lm_roll_visual_next(x->roll, &it, &d)) {
        uint32_t node = d.gone ? 0 : x->node_of[d.animal];
        if (node)
            err = note(x, from, node - 1, i, ev, 0.0);
    }
    return err;
}

/** Where the code itself says that its printed number starts (only when all 64 bits were read). */
static enum lm_err by_start(struct ex *x, uint32_t from, uint32_t i)
{
    struct lm_eid eid = x->items[i].eid;
    char digits[LM_EID_TEXT_SIZE];
    if (eid.known != LM_EID_FULL)
        return LM_OK;
    unsigned start = lm_eid_unpack(eid).visual_start;
    lm_eid_format(eid, digits);
    if (!start || strlen(digits) != 15)
        return LM_OK;
    return by_number(x, from, i, digits + 3 + start - 1, EV_START);
}

static enum lm_err family(struct ex *x, uint32_t from, uint32_t i, uint32_t beside)
{
    const struct seen *e = &x->s->seen[beside];
    if (e->animal == LM_NO_ANIMAL)
        return LM_OK;
    const char *dam = lm_roll_animal(x->roll, e->animal).dam;
    uint32_t animal = dam[0] ? lm_roll_by_key(x->roll, dam) : LM_NO_ANIMAL;
    uint32_t node = animal == LM_NO_ANIMAL ? 0 : x->node_of[animal];
    return node ? note(x, from, node - 1, i, EV_FAMILY, 0.0) : LM_OK;
}

/** A missing kid whose dam walked beside the code: the list was made from the kids. */
static enum lm_err kids(struct ex *x, uint32_t from, uint32_t i, const uint32_t *dam_seen)
{
    enum lm_err err = LM_OK;
    for (uint32_t k = dam_seen[x->items[i].seen]; k && !err; k = dam_seen[x->s->n_seen + k - 1])
        err = note(x, from, k - 1, i, EV_FAMILY, 0.0);
    return err;
}

/**
 * For each place in the walk the chain of missing kids whose dam was beside it. One kid is chained
 * at one place only: the nearest code beside its dam.
 */
static uint32_t *kids_by_place(const struct ex *x)
{
    uint32_t n = x->s->n_seen;
    uint32_t *at = calloc((size_t) n + x->n_animals + 1, sizeof *at);
    for (uint32_t k = 0; at && k < x->n_missing; k++) {
        const char *dam = lm_roll_animal(x->roll, x->animals[k].animal).dam;
        uint32_t animal = dam[0] ? lm_roll_by_key(x->roll, dam) : LM_NO_ANIMAL;
        uint32_t seen = animal == LM_NO_ANIMAL ? LM_NO_SEEN : lm_session_find_animal(x->s, animal);
        for (uint32_t d = 1; seen != LM_NO_SEEN && d <= EX_BESIDE; d++) {
            uint32_t near[2] = {seen + d, seen - d};
            for (int side = 0; side < 2; side++) {
                if (near[side] >= n || x->s->seen[near[side]].animal != LM_NO_ANIMAL)
                    continue;
                at[n + k] = at[near[side]];
                at[near[side]] = k + 1;
                seen = LM_NO_SEEN;
                break;
            }
            if (seen == LM_NO_SEEN)
                break;
        }
    }
    return at;
}

/** How much more often dam and kid were read side by side here than two animals by chance. */
static double family_odds(const struct ex *x)
{
    double near = 0.0, pairs = 0.0;
    double chance = 2.0 * EX_BESIDE / fmax(2.0 * EX_BESIDE, x->s->n_seen);
    for (uint32_t i = 0; i < x->s->n_seen; i++) {
        const struct seen *e = &x->s->seen[i];
        const char *dam = e->animal == LM_NO_ANIMAL ? "" : lm_roll_animal(x->roll, e->animal).dam;
        uint32_t animal = dam[0] ? lm_roll_by_key(x->roll, dam) : LM_NO_ANIMAL;
        uint32_t k = animal == LM_NO_ANIMAL ? LM_NO_SEEN : lm_session_find_animal(x->s, animal);
        if (k == LM_NO_SEEN)
            continue;
        pairs += 1.0;
        near += k > i ? k - i <= EX_BESIDE : i - k <= EX_BESIDE;
    }
    /* as if three pairs had been seen that walk together three times as often as others */
    return fmax(1.0, (near + 9.0 * chance) / (pairs + 3.0) / chance);
}

static enum lm_err by_walk(struct ex *x, uint32_t from, uint32_t i, const uint32_t *dam_seen)
{
    uint32_t seen = x->items[i].seen;
    enum lm_err err = kids(x, from, i, dam_seen);
    for (uint32_t d = 1; d <= EX_BESIDE && !err; d++) {
        if (seen >= d)
            err = family(x, from, i, seen - d);
        if (!err && seen + d < x->s->n_seen)
            err = family(x, from, i, seen + d);
    }
    return err;
}

static enum lm_err all_missing(struct ex *x, uint32_t from, uint32_t i)
{
    enum lm_err err = LM_OK;
    for (uint32_t k = 0; k < x->n_missing && !err; k++)
        err = note(x, from, k, i, EV_BACKGROUND, 0.0);
    return err;
}

enum lm_err ex_pairs(struct ex *x)
{
    enum lm_err err = ex_index_build(x);
    uint32_t *dam_seen = kids_by_place(x);
    if (!dam_seen)
        err = LM_ENOMEM;
    x->rates.family = family_odds(x);
    x->background = (uint64_t) x->n_missing * x->n_codes > EXPLICIT_PAIRS;
    for (uint32_t i = 0; i < x->n_items && !err; i++) {
        const struct ex_item *item = &x->items[i];
        uint32_t from = x->n_pairs;
        if (item->text)
            err = by_call(x, from, i);
        if (err || item->type != EX_CODE)
            continue;
        if (item->stock != EX_NONE)
            err = by_number(x, from, i, x->options->stock[item->stock].visual, EV_PRINTED);
        if (!err)
            err = by_start(x, from, i);
        if (!err)
            err = by_walk(x, from, i, dam_seen);
        if (!err && !x->background)
            err = all_missing(x, from, i);
    }
    free(dam_seen);
    return err;
}
