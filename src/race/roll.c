#include "race/roll_priv.h"

#include <stdlib.h>
#include <string.h>

struct lm_roll *lm_roll_new(void)
{
    struct lm_roll *roll = calloc(1, sizeof *roll);
    if (roll && lm_arena_init(&roll->arena)) {
        free(roll);
        return NULL;
    }
    return roll;
}

void lm_roll_free(struct lm_roll *roll)
{
    if (!roll)
        return;
    lm_arena_free(&roll->arena);
    free(roll->animals);
    free(roll->devices);
    free(roll->by_key.slots);
    free(roll->by_code.slots);
    free(roll->by_visual.slots);
    free(roll);
}

/** Grow an array of rows by half; glibc moves such blocks by remapping, not by copying. */
static enum lm_err grow(void **rows, uint32_t *cap, uint32_t need, size_t row_size)
{
    if (need <= *cap)
        return LM_OK;
    uint64_t want = *cap ? *cap + (uint64_t) *cap / 2 : 256;
    if (want < need)
        want = need;
    if (want >= LM_NO_ROW || want > SIZE_MAX / row_size)
        return LM_ENOMEM;
    void *bigger = realloc(*rows, (size_t) want * row_size);
    if (!bigger)
        return LM_ENOMEM;
    *rows = bigger;
    *cap = (uint32_t) want;
    return LM_OK;
}

static enum lm_err grow_rows(struct lm_roll *roll, uint32_t animals, uint32_t devices)
{
    void *rows = roll->animals;
    enum lm_err err = grow(&rows, &roll->cap_animals, animals, sizeof *roll->animals);
    roll->animals = rows;
    if (err)
        return err;
    rows = roll->devices;
    err = grow(&rows, &roll->cap_devices, devices, sizeof *roll->devices);
    roll->devices = rows;
    return err;
}

enum lm_err lm_roll_load_begin(struct lm_roll *roll, uint32_t animals, uint32_t devices)
{
    if (animals > LM_NO_ROW - roll->n_animals || devices > LM_NO_ROW - roll->n_devices)
        return LM_ENOMEM;
    roll->loading = true;
    roll->load_animal = roll->n_animals;
    roll->load_device = roll->n_devices;
    return grow_rows(roll, roll->n_animals + animals, roll->n_devices + devices);
}

enum lm_err lm_roll_load_end(struct lm_roll *roll)
{
    if (!roll->loading)
        return LM_EARG;
    roll->loading = false;
    return lm_roll_index_from(roll, roll->load_animal, roll->load_device);
}

bool lm_roll_in_scope(const struct lm_roll *roll, const struct animal_row *a)
{
    switch (roll->scope) {
    case SCOPE_ALL:
        return a->status == LM_ON_FARM;
    case SCOPE_MOB:
        return a->status == LM_ON_FARM && a->mob == roll->scope_mob;
    case SCOPE_KEYS:
        return a->expected;
    }
    return false;
}

static enum lm_err fill_texts(
    struct lm_roll *roll, struct animal_row *a, const struct lm_record *rec)
{
    enum lm_err err = LM_OK;
    const char *texts[] = {rec->species, rec->breed, rec->mob, rec->dam};
    uint32_t *offsets[] = {&a->species, &a->breed, &a->mob, &a->dam};
    for (size_t i = 0; i < 4 && !err; i++)
        err = lm_arena_intern(&roll->arena, texts[i], offsets[i]);
    return err;
}

static enum lm_err add_device(
    struct lm_roll *roll, uint32_t animal, const struct lm_device *from, struct lm_eid eid)
{
    struct device_row *d = &roll->devices[roll->n_devices];
    memset(d, 0, sizeof *d);
    d->bits = eid.bits;
    d->known = eid.known & 3u;
    d->animal = animal;
    d->applied = from->applied;
    d->form = from->form;
    d->place = from->place;
    d->official = from->official;
    d->gone = from->gone || from->removed.year != 0;
    enum lm_err err = lm_arena_add(&roll->arena, from->visual, &d->visual);
    if (!err)
        err = lm_arena_intern(&roll->arena, from->colour, &d->colour);
    if (!err && !roll->loading)
        err = lm_roll_index_device(roll, roll->n_devices);
    if (!err)
        roll->n_devices++;
    return err;
}

/** Old device rows stay in their chains; they are passed over from now on. */
static void forget_devices(struct lm_roll *roll, const struct animal_row *a)
{
    for (uint32_t k = 0; k < (uint32_t) a->n_devices + a->n_uids; k++)
        roll->devices[a->first + k].animal = LM_NO_ANIMAL;
    roll->live_devices -= a->n_devices;
}

/** A second row, not listed, for each device with a chip: so a look-up by its UID finds the animal.
 */
static enum lm_err add_uids(
    struct lm_roll *roll, struct animal_row *a, uint32_t row, const struct lm_record *rec)
{
    enum lm_err err = LM_OK;
    a->n_uids = 0;
    for (uint32_t k = 0; k < rec->n_devices && !err; k++) {
        const struct lm_device *from = &rec->devices[k];
        struct lm_eid uid;
        if (!from->uid[0] || lm_eid_from_uid(from->uid, strlen(from->uid), &uid))
            continue; /* a number that no reader can give is looked up by nobody */
        err = add_device(roll, row, from, uid);
        if (!err)
            a->n_uids = (a->n_uids + 1u) & 63u;
    }
    return err;
}

static enum lm_err add_devices(
    struct lm_roll *roll, struct animal_row *a, uint32_t row, const struct lm_record *rec)
{
    enum lm_err err = LM_OK;
    a->first = roll->n_devices;
    a->n_devices = 0;
    for (uint32_t k = 0; k < rec->n_devices && !err; k++) {
        err = add_device(roll, row, &rec->devices[k], rec->devices[k].eid);
        if (!err)
            a->n_devices++;
    }
    roll->live_devices += a->n_devices;
    return err ? err : add_uids(roll, a, row, rec);
}

static enum lm_err new_row(struct lm_roll *roll, const struct lm_record *rec, uint32_t *row)
{
    struct animal_row a = {0};
    enum lm_err err = lm_arena_add(&roll->arena, rec->key, &a.key);
    if (err)
        return err;
    roll->animals[roll->n_animals] = a;
    if (!roll->loading)
        err = lm_roll_index_key(roll, roll->n_animals);
    if (err)
        return err;
    *row = roll->n_animals++;
    return LM_OK;
}

enum lm_err lm_roll_put(struct lm_roll *roll, const struct lm_record *rec, uint32_t *animal)
{
    if (!rec->key[0] || rec->n_devices > LM_DEVICES_MAX)
        return LM_EARG;
    uint32_t row = roll->loading ? LM_NO_ANIMAL : lm_roll_by_key(roll, rec->key);
    uint32_t rows = (uint32_t) rec->n_devices;
    for (uint32_t k = 0; k < rec->n_devices; k++)
        rows += rec->devices[k].uid[0] != '\0';
    enum lm_err err = grow_rows(roll, roll->n_animals + 1, roll->n_devices + rows);
    if (!err && row == LM_NO_ANIMAL)
        err = new_row(roll, rec, &row);
    if (err)
        return err;
    struct animal_row *a = &roll->animals[row];
    roll->n_expected -= a->expected;
    forget_devices(roll, a);
    err = fill_texts(roll, a, rec);
    if (!err)
        err = add_devices(roll, a, row, rec);
    a->born = rec->born;
    a->sex = rec->sex;
    a->status = rec->struck ? LM_LOST : rec->status; /* a struck entry is nobody to wait for */
    a->castrated = rec->castrated;
    a->expected = lm_roll_in_scope(roll, a);
    roll->n_expected += a->expected;
    if (animal)
        *animal = row;
    return err;
}

static void mark_expected(struct lm_roll *roll)
{
    roll->n_expected = 0;
    for (uint32_t i = 0; i < roll->n_animals; i++) {
        struct animal_row *a = &roll->animals[i];
        a->expected = lm_roll_in_scope(roll, a);
        roll->n_expected += a->expected;
    }
}

void lm_roll_expect_mob(struct lm_roll *roll, const char *mob)
{
    roll->scope = mob && mob[0] ? SCOPE_MOB : SCOPE_ALL;
    /* a mob that no animal is in yet gets its word now, so that a later animal can be in it */
    if (roll->scope == SCOPE_MOB && lm_arena_intern(&roll->arena, mob, &roll->scope_mob))
        roll->scope_mob = UINT32_MAX;
    mark_expected(roll);
}

size_t lm_roll_expect_keys(struct lm_roll *roll, const char *const *keys, size_t n_keys)
{
    size_t found = 0;
    roll->scope = SCOPE_KEYS;
    for (uint32_t i = 0; i < roll->n_animals; i++)
        roll->animals[i].expected = 0;
    for (size_t k = 0; k < n_keys; k++) {
        uint32_t row = lm_roll_by_key(roll, keys[k]);
        if (row != LM_NO_ANIMAL) {
            roll->animals[row].expected = 1;
            found++;
        }
    }
    mark_expected(roll);
    return found;
}

uint32_t lm_roll_animals(const struct lm_roll *roll)
{
    return roll->n_animals;
}

uint32_t lm_roll_devices(const struct lm_roll *roll)
{
    return roll->live_devices;
}

uint32_t lm_roll_expected(const struct lm_roll *roll)
{
    return roll->n_expected;
}

size_t lm_roll_memory(const struct lm_roll *roll)
{
    return sizeof *roll + roll->arena.size + roll->arena.words_size * sizeof(uint32_t) +
           roll->cap_animals * sizeof *roll->animals + roll->cap_devices * sizeof *roll->devices +
           ((size_t) roll->by_key.size + roll->by_code.size + roll->by_visual.size) *
               sizeof(uint32_t);
}
