#include "race/roll_priv.h"

#include <string.h>

struct lm_roll_animal lm_roll_animal(const struct lm_roll *roll, uint32_t i)
{
    const struct animal_row *a = &roll->animals[i];
    return (struct lm_roll_animal){
        .key = lm_arena_at(&roll->arena, a->key),
        .species = lm_arena_at(&roll->arena, a->species),
        .breed = lm_arena_at(&roll->arena, a->breed),
        .mob = lm_arena_at(&roll->arena, a->mob),
        .dam = lm_arena_at(&roll->arena, a->dam),
        .born = a->born,
        .sex = a->sex,
        .status = a->status,
        .castrated = a->castrated,
        .expected = a->expected,
        .n_devices = a->n_devices,
    };
}

static struct lm_roll_device view(const struct lm_roll *roll, const struct device_row *d)
{
    return (struct lm_roll_device){
        .animal = d->animal,
        .eid = {.bits = d->bits, .known = d->known},
        .visual = lm_arena_at(&roll->arena, d->visual),
        .colour = lm_arena_at(&roll->arena, d->colour),
        .applied = d->applied,
        .form = d->form,
        .place = d->place,
        .official = d->official,
        .gone = d->gone,
    };
}

struct lm_roll_device lm_roll_device(const struct lm_roll *roll, uint32_t i, uint32_t k)
{
    return view(roll, &roll->devices[roll->animals[i].first + k]);
}

bool lm_roll_code_alone(const struct lm_roll *roll, uint32_t i, uint32_t k)
{
    uint32_t row = roll->animals[i].first + k;
    return roll->devices[row].next_code == row;
}

bool lm_roll_visual_alone(const struct lm_roll *roll, uint32_t i, uint32_t k)
{
    uint32_t row = roll->animals[i].first + k;
    return roll->devices[row].next_visual == row;
}

/*
 * An iterator stands on the row to give next; `key` holds the tail of the chain, where it ends.
 * LM_NO_ROW: there is no more.
 */
static bool code_step(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out)
{
    while (it->pos != LM_NO_ROW) {
        const struct device_row *d = &roll->devices[it->pos];
        it->pos = it->pos == (uint32_t) it->key ? LM_NO_ROW : d->next_code;
        if (d->animal != LM_NO_ANIMAL) {
            *out = view(roll, d);
            return true;
        }
    }
    return false;
}

bool lm_roll_code_first(const struct lm_roll *roll, struct lm_eid eid, struct lm_roll_hits *it,
    struct lm_roll_device *out)
{
    uint32_t tail = eid.known ? lm_roll_code_tail(roll, lm_eid_key(eid)) : LM_NO_ROW;
    it->key = tail;
    it->pos = tail == LM_NO_ROW ? LM_NO_ROW : roll->devices[tail].next_code;
    return code_step(roll, it, out);
}

bool lm_roll_code_next(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out)
{
    return code_step(roll, it, out);
}

/** With an empty `fold` every number of the chain is taken: they differ in leading zeros only. */
static bool visual_step(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out)
{
    char mine[LM_VISUAL_MAX + 1];
    while (it->pos != LM_NO_ROW) {
        const struct device_row *d = &roll->devices[it->pos];
        it->pos = it->pos == (uint32_t) it->key ? LM_NO_ROW : d->next_visual;
        if (d->animal == LM_NO_ANIMAL)
            continue;
        if (it->fold[0])
            lm_visual_fold(lm_arena_at(&roll->arena, d->visual), mine);
        if (!it->fold[0] || strcmp(mine, it->fold) == 0) {
            *out = view(roll, d);
            return true;
        }
    }
    return false;
}

static void rewind_visual(const struct lm_roll *roll, struct lm_roll_hits *it, uint32_t tail)
{
    it->key = tail;
    it->pos = tail == LM_NO_ROW ? LM_NO_ROW : roll->devices[tail].next_visual;
}

static bool one_animal_only(const struct lm_roll *roll, struct lm_roll_hits it)
{
    struct lm_roll_device d;
    uint32_t animal = LM_NO_ANIMAL;
    while (visual_step(roll, &it, &d)) {
        if (animal != LM_NO_ANIMAL && d.animal != animal)
            return false;
        animal = d.animal;
    }
    return animal != LM_NO_ANIMAL;
}

bool lm_roll_visual_first(const struct lm_roll *roll, const char *visual, struct lm_roll_hits *it,
    struct lm_roll_device *out)
{
    char loose[LM_VISUAL_MAX + 1];
    lm_visual_fold_loose(visual, loose);
    uint32_t tail = lm_roll_visual_tail(roll, loose);
    lm_visual_fold(visual, it->fold);
    rewind_visual(roll, it, tail);
    if (visual_step(roll, it, out))
        return true;
    it->fold[0] = '\0';
    rewind_visual(roll, it, tail);
    if (!one_animal_only(roll, *it)) {
        it->pos = LM_NO_ROW;
        return false;
    }
    return visual_step(roll, it, out);
}

bool lm_roll_visual_next(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out)
{
    return visual_step(roll, it, out);
}
