/* Who is missing, which codes and numbers nobody has, and which calls contradict a code. */
#include "race/explain_priv.h"
#include "race/findings_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FAR 20u /* a code so many times the flock's highest was not bought in the same place */

enum lm_err ex_grow(void *rows, uint32_t *cap, uint32_t used, size_t row_size)
{
    void *now;
    memcpy(&now, rows, sizeof now);
    enum lm_err err = lm_session_grow(&now, cap, used, row_size);
    memcpy(rows, &now, sizeof now);
    return err;
}

const char *ex_number_of(const struct lm_roll *roll, uint32_t animal)
{
    uint32_t n = animal == LM_NO_ANIMAL ? 0 : lm_roll_animal(roll, animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        if (!d.gone && d.visual[0])
            return d.visual;
    }
    return "";
}

bool ex_has_number(const struct lm_roll *roll, uint32_t animal, const char *number)
{
    char want[LM_VISUAL_MAX + 1], mine[LM_VISUAL_MAX + 1];
    uint32_t n = lm_roll_animal(roll, animal).n_devices;
    if (!lm_visual_fold_loose(number, want))
        return false;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        lm_visual_fold_loose(d.visual, mine);
        if (!d.gone && strcmp(mine, want) == 0)
            return true;
    }
    return false;
}

double ex_confuse(const struct lm_roll *roll, uint32_t animal, const char *called)
{
    double best = 0.0;
    uint32_t n = lm_roll_animal(roll, animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        if (!d.gone && d.visual[0])
            best = fmax(best, lm_confuse(d.visual, called));
    }
    return best;
}

static enum lm_err add_animal(struct ex *x, uint32_t animal, uint32_t seen)
{
    enum lm_err err = ex_grow(&x->animals, &x->cap_animals, x->n_animals, sizeof *x->animals);
    if (err)
        return err;
    x->node_of[animal] = x->n_animals + 1;
    x->animals[x->n_animals++] = (struct ex_animal){.animal = animal,
        .unread = seen != LM_NO_SEEN,
        .coded = lm_findings_wears_code(x->s, animal),
        .seen = seen,
        .number = ex_number_of(x->roll, animal),
        .age = 1.0};
    return LM_OK;
}

static enum lm_err gather_animals(struct ex *x)
{
    const struct lm_session *s = x->s;
    enum lm_err err = LM_OK;
    for (uint32_t i = 0, n = lm_roll_animals(x->roll); i < n && !err && s->closed; i++) {
        if (lm_roll_animal(x->roll, i).expected && !lm_session_seen(s, i))
            err = add_animal(x, i, LM_NO_SEEN);
    }
    x->n_missing = x->n_animals;
    for (uint32_t i = 0; i < s->n_seen && !err; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal != LM_NO_ANIMAL && !e->readings && e->sightings &&
            lm_findings_wears_code(s, e->animal))
            err = add_animal(x, e->animal, i);
    }
    return err;
}

static enum lm_err add_item(struct ex *x, struct ex_item item)
{
    enum lm_err err = ex_grow(&x->items, &x->cap_items, x->n_items, sizeof *x->items);
    if (!err)
        x->items[x->n_items++] = item;
    return err;
}

static unsigned range_of(const struct ex *x, struct lm_eid eid)
{
    if (eid.known == LM_EID_UID || lm_eid_country(eid) != x->country)
        return EX_RANGE_FOREIGN;
    uint64_t n = lm_eid_national(eid), room = (x->high - x->low) / 4 + 200;
    bool near = n + room >= x->low && n <= x->high + room;
    bool far = n / FAR > x->high || n < x->low / FAR;
    return near ? EX_RANGE_NEAR : far ? EX_RANGE_FAR : EX_RANGE_COUNTRY;
}

static enum lm_err gather_codes(struct ex *x)
{
    const struct lm_session *s = x->s;
    enum lm_err err = LM_OK;
    for (uint32_t i = 0; i < s->n_seen && !err; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal != LM_NO_ANIMAL)
            continue;
        struct ex_item item = {.type = EX_CODE,
            .eid = {.bits = e->bits, .known = e->known},
            .seen = i,
            .sighting = EX_NONE,
            .named = LM_NO_ANIMAL,
            .owner = EX_NONE};
        ex_stock_place(x, &item);
        item.range = range_of(x, item.eid);
        err = add_item(x, item);
    }
    x->n_codes = x->n_items;
    return err;
}

/** Codes are gathered in the order of the walk: look one up by its place there. */
static uint32_t item_of_seen(const struct ex *x, uint32_t seen)
{
    uint32_t lo = 0, hi = x->n_codes;
    while (lo < hi) {
        uint32_t mid = (lo + hi) / 2;
        if (x->items[mid].seen < seen)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo < x->n_codes && x->items[lo].seen == seen ? lo : EX_NONE;
}

static enum lm_err add_clash(struct ex *x, uint32_t i, const struct sighting *call)
{
    enum lm_err err = ex_grow(&x->clashes, &x->cap_clashes, x->n_clashes, sizeof *x->clashes);
    if (err)
        return err;
    struct ex_clash c = {.sighting = i,
        .other = call->other,
        .text = lm_arena_at(&x->s->arena, call->text),
        .place = EX_NONE,
        .other_place = EX_NONE,
        .group = EX_NONE,
        .partner = EX_NONE};
    c.eid = lm_findings_conflict_code(call, &c.animal);
    if (c.animal == LM_NO_ANIMAL)
        return LM_OK;
    c.confuse = ex_confuse(x->roll, c.animal, c.text);
    x->clashes[x->n_clashes++] = c;
    x->calls_of[c.animal] |= 2;
    return LM_OK;
}

/** A lone call of an animal that was read too: its own, or another's misread. */
static bool is_stray(const struct ex *x, const struct sighting *call, bool rare)
{
    const struct seen *e = &x->s->seen[lm_session_find_animal(x->s, call->animal)];
    if (!e->readings)
        return false;
    if (call->t != LM_TIME_NONE && e->first_t != LM_TIME_NONE)
        return rare && llabs((long long) (call->t - e->first_t)) > 5000;
    return rare;
}

/** Where people call numbers beside readings without saying for which, a lone call says nothing. */
static bool lone_is_rare(const struct ex *x)
{
    uint32_t read = 0;
    for (uint32_t i = 0; i < x->s->n_sightings; i++) {
        const struct sighting *call = &x->s->sightings[i];
        if (call->undone || call->with || call->animal == LM_NO_ANIMAL)
            continue;
        read += x->s->seen[lm_session_find_animal(x->s, call->animal)].readings > 0;
    }
    return read <= 3 + x->s->n_seen / 50;
}

/** A number called for no code, whose animal the register knows. */
static enum lm_err lone_call(struct ex *x, uint32_t i, const struct sighting *call, bool rare)
{
    struct ex_item item = {.type = EX_CALL,
        .seen = EX_NONE,
        .sighting = i,
        .text = lm_arena_at(&x->s->arena, call->text),
        .named = call->animal,
        .stock = EX_NONE,
        .owner = EX_NONE};
    uint32_t node = x->node_of[call->animal];
    if (node) {
        if (x->animals[node - 1].lone)
            return LM_OK;
        x->animals[node - 1].lone = true;
        item.owner = node - 1;
        return add_item(x, item);
    }
    return is_stray(x, call, rare) ? add_item(x, item) : LM_OK;
}

static enum lm_err unknown_number(struct ex *x, struct lm_arena *words, uint32_t i)
{
    const struct sighting *call = &x->s->sightings[i];
    const char *text = lm_arena_at(&x->s->arena, call->text);
    char fold[LM_VISUAL_MAX + 1];
    uint32_t was = words->used, at;
    lm_visual_fold(text, fold);
    enum lm_err err = lm_arena_intern(words, fold, &at);
    if (err || words->used == was)
        return err;
    return add_item(x, (struct ex_item){.type = EX_NUMBER,
                           .seen = EX_NONE,
                           .sighting = i,
                           .text = text,
                           .named = LM_NO_ANIMAL,
                           .stock = EX_NONE,
                           .owner = EX_NONE});
}

/** A call that belongs to a pass: a stranger's number, or a right one. */
static void call_of_pass(struct ex *x, uint32_t i, const struct sighting *call)
{
    uint32_t seen = lm_session_find_stranger(x->s, lm_eid_from_key(call->with));
    uint32_t item = seen == LM_NO_SEEN ? EX_NONE : item_of_seen(x, seen);
    if (item == EX_NONE) {
        if (call->animal != LM_NO_ANIMAL)
            x->calls_of[call->animal] |= 1;
        return;
    }
    if (x->items[item].text)
        return;
    x->items[item].text = lm_arena_at(&x->s->arena, call->text);
    x->items[item].sighting = i;
    x->items[item].named = call->animal;
}

static enum lm_err gather_calls(struct ex *x)
{
    const struct lm_session *s = x->s;
    struct lm_arena words;
    enum lm_err err = lm_arena_init(&words);
    bool rare = lone_is_rare(x);
    for (uint32_t i = 0; i < s->n_sightings && !err; i++) {
        const struct sighting *call = &s->sightings[i];
        if (call->undone)
            continue;
        x->calls++;
        if (call->conflict)
            err = add_clash(x, i, call);
        else if (call->unknown)
            err = unknown_number(x, &words, i);
        else if (call->with)
            call_of_pass(x, i, call);
        else
            err = lone_call(x, i, call, rare);
    }
    lm_arena_free(&words);
    return err;
}

/** The flock's main country and the range of its codes there. */
static void flock_range(struct ex *x)
{
    uint32_t count[1024] = {0};
    for (uint32_t i = 0; i < x->n_places; i++)
        count[(x->places[i].key >> 38) & 1023u]++;
    for (unsigned c = 0; c < 1024; c++) {
        if (count[c] > count[x->country])
            x->country = c;
    }
    x->low = UINT64_MAX;
    for (uint32_t i = 0; i < x->n_places; i++) {
        uint64_t n = x->places[i].key & LM_NATIONAL_MAX;
        if (((x->places[i].key >> 38) & 1023u) != x->country)
            continue;
        x->low = n < x->low ? n : x->low;
        x->high = n > x->high ? n : x->high;
    }
    if (x->low > x->high)
        x->low = x->high;
}

enum lm_err ex_gather(struct ex *x)
{
    size_t n = lm_roll_animals(x->roll);
    x->node_of = calloc(n + 1, sizeof *x->node_of);
    x->calls_of = calloc(n + 1, 1);
    x->swapped = calloc(n + 1, sizeof *x->swapped);
    if (!x->node_of || !x->calls_of || !x->swapped)
        return LM_ENOMEM;
    enum lm_err err = ex_stock_prepare(x);
    if (!err)
        err = ex_places(x);
    if (!err) {
        flock_range(x);
        err = gather_animals(x);
    }
    if (!err)
        err = gather_codes(x);
    if (!err)
        err = gather_calls(x);
    return err ? err : ex_ages(x);
}
