/* Pairs of animal and item for which something speaks. Everything else is background. */
#include "race/explain_walk.h"

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
        *p = (struct ex_pair){.animal = animal, .item = item, .mob = 1.0};
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
static enum lm_err kids(struct ex *x, uint32_t from, uint32_t i, const struct ex_walk *w)
{
    enum lm_err err = LM_OK;
    for (uint32_t k = w->kids[x->items[i].seen]; k && !err; k = w->kids[x->s->n_seen + k - 1])
        err = note(x, from, k - 1, i, EV_FAMILY, 0.0);
    return err;
}

/** Missing animals that walked beside @p beside in the session before. */
static enum lm_err friends(
    struct ex *x, uint32_t from, uint32_t i, uint32_t beside, const struct ex_walk *w)
{
    uint32_t animal = x->s->seen[beside].animal;
    enum lm_err err = LM_OK;
    if (animal == LM_NO_ANIMAL || x->rates.before.beside <= 1.0)
        return LM_OK;
    for (uint32_t f = w->friend_first[animal]; f < w->friend_first[animal + 1] && !err; f++) {
        uint32_t node = x->node_of[w->friends[f]];
        if (node)
            err = note(x, from, node - 1, i, EV_BEFORE, 0.0);
    }
    return err;
}

/** The missing of one mob; how many pairs are made is bounded. */
static enum lm_err of_mob(
    struct ex *x, uint32_t from, uint32_t i, uint32_t mob, const struct ex_walk *w)
{
    enum lm_err err = LM_OK;
    if (mob == EX_NONE || ex_mob_odds(w, &x->items[i], mob) < 1.2)
        return LM_OK;
    for (uint32_t k = w->mob_first[mob]; k && !err; k = w->mob_next[k - 1])
        err = note(x, from, k - 1, i, EV_MOB, 0.0);
    return err;
}

static enum lm_err by_mob(struct ex *x, uint32_t from, uint32_t i, struct ex_walk *w)
{
    struct ex_item *item = &x->items[i];
    enum lm_err err = LM_OK;
    uint32_t n = 0;
    ex_walk_item(x, w, item);
    for (int k = 0; k < 2; k++)
        n += item->mob[k] == EX_NONE ? 0 : w->mob_missing[item->mob[k]];
    if (n > EX_MOB_EACH || w->made + n > EX_MOB_PAIRS) {
        item->mob[0] = item->mob[1] = EX_NONE;
        item->mob_any = item->mob_other = 1.0;
        return LM_OK;
    }
    w->made += n;
    for (int k = 0; k < 2 && !err; k++)
        err = of_mob(x, from, i, item->mob[k], w);
    return err;
}

static enum lm_err by_walk(struct ex *x, uint32_t from, uint32_t i, struct ex_walk *w)
{
    uint32_t seen = x->items[i].seen;
    enum lm_err err = kids(x, from, i, w);
    for (uint32_t d = 1; d <= EX_BESIDE && !err; d++) {
        if (seen >= d)
            err = family(x, from, i, seen - d);
        if (!err && seen >= d)
            err = friends(x, from, i, seen - d, w);
        if (!err && seen + d < x->s->n_seen)
            err = family(x, from, i, seen + d);
        if (!err && seen + d < x->s->n_seen)
            err = friends(x, from, i, seen + d, w);
    }
    return err ? err : by_mob(x, from, i, w);
}

/** What the mobs beside a code say of each animal that it is paired with. */
static void weigh_mobs(struct ex *x, uint32_t from, uint32_t i, const struct ex_walk *w)
{
    for (uint32_t k = from; k < x->n_pairs; k++) {
        const struct ex_animal *a = &x->animals[x->pairs[k].animal];
        if (!a->unread)
            x->pairs[k].mob = ex_mob_odds(w, &x->items[i], a->mob);
    }
}

static enum lm_err all_missing(struct ex *x, uint32_t from, uint32_t i)
{
    enum lm_err err = LM_OK;
    for (uint32_t k = 0; k < x->n_missing && !err; k++)
        err = note(x, from, k, i, EV_BACKGROUND, 0.0);
    return err;
}

static enum lm_err pairs_of_code(struct ex *x, uint32_t from, uint32_t i, struct ex_walk *w)
{
    const struct ex_item *item = &x->items[i];
    enum lm_err err = LM_OK;
    if (item->stock != EX_NONE)
        err = by_number(x, from, i, x->options->stock[item->stock].visual, EV_PRINTED);
    if (!err)
        err = by_start(x, from, i);
    if (!err)
        err = by_walk(x, from, i, w);
    if (!err && !x->background)
        err = all_missing(x, from, i);
    weigh_mobs(x, from, i, w);
    return err;
}

enum lm_err ex_pairs(struct ex *x)
{
    struct ex_walk w;
    enum lm_err err = ex_index_build(x);
    enum lm_err begun = ex_walk_begin(x, &w);
    err = err ? err : begun;
    x->background = (uint64_t) x->n_missing * x->n_codes > EXPLICIT_PAIRS;
    for (uint32_t i = 0; i < x->n_items && !err; i++) {
        uint32_t from = x->n_pairs;
        if (x->items[i].text)
            err = by_call(x, from, i);
        if (!err && x->items[i].type == EX_CODE)
            err = pairs_of_code(x, from, i, &w);
    }
    ex_walk_end(&w);
    return err;
}
