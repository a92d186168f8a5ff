#include "race/roll_priv.h"

#include <stdlib.h>
#include <string.h>

static uint64_t code_of(const struct lm_roll *roll, uint32_t row)
{
    const struct device_row *d = &roll->devices[row];
    return lm_eid_key((struct lm_eid){.bits = d->bits, .known = d->known});
}

static uint32_t hash_text(const char *text, size_t len)
{
    return (uint32_t) lm_hash_text(text, len);
}

static uint32_t hash_code_row(const struct lm_roll *roll, uint32_t row)
{
    return (uint32_t) lm_hash_u64(code_of(roll, row));
}

static uint32_t hash_visual_row(const struct lm_roll *roll, uint32_t row)
{
    return roll->devices[row].fold_hash;
}

static uint32_t hash_key_row(const struct lm_roll *roll, uint32_t row)
{
    const char *key = lm_arena_at(&roll->arena, roll->animals[row].key);
    return hash_text(key, strlen(key));
}

typedef uint32_t hash_row_fn(const struct lm_roll *roll, uint32_t row);

/** Move to a table of @p size slots; rows are hashed again from what they hold. */
static enum lm_err resize(
    const struct lm_roll *roll, struct row_table *t, hash_row_fn *hash, uint32_t size)
{
    struct row_table bigger = {.size = size, .used = t->used};
    bigger.slots = calloc(bigger.size, sizeof *bigger.slots);
    if (!bigger.slots)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < t->size; i++) {
        if (!t->slots[i])
            continue;
        uint32_t at = hash(roll, t->slots[i] - 1) & (bigger.size - 1);
        while (bigger.slots[at])
            at = (at + 1) & (bigger.size - 1);
        bigger.slots[at] = t->slots[i];
    }
    free(t->slots);
    *t = bigger;
    return LM_OK;
}

/** Make room for one more entry. */
static enum lm_err grow(const struct lm_roll *roll, struct row_table *t, hash_row_fn *hash)
{
    if (t->used < t->size - t->size / 3)
        return LM_OK;
    return resize(roll, t, hash, t->size ? t->size * 2 : 256);
}

static enum lm_err fit(
    const struct lm_roll *roll, struct row_table *t, hash_row_fn *hash, uint32_t rows)
{
    uint32_t size = t->size ? t->size : 256;
    while (size - size / 3 <= rows && size < UINT32_C(1) << 31)
        size *= 2;
    return size == t->size ? LM_OK : resize(roll, t, hash, size);
}

static uint32_t code_slot(const struct lm_roll *roll, uint64_t key)
{
    const uint32_t *slots = roll->by_code.slots;
    uint32_t mask = roll->by_code.size - 1, at = (uint32_t) lm_hash_u64(key) & mask;
    while (slots[at] && code_of(roll, slots[at] - 1) != key)
        at = (at + 1) & mask;
    return at;
}

static bool visual_is(const struct lm_roll *roll, uint32_t row, const char *loose, uint32_t hash)
{
    char mine[LM_VISUAL_MAX + 1];
    if (roll->devices[row].fold_hash != hash)
        return false;
    lm_visual_fold_loose(lm_arena_at(&roll->arena, roll->devices[row].visual), mine);
    return strcmp(mine, loose) == 0;
}

static uint32_t visual_slot(const struct lm_roll *roll, const char *loose, uint32_t hash)
{
    const uint32_t *slots = roll->by_visual.slots;
    uint32_t mask = roll->by_visual.size - 1, at = hash & mask;
    while (slots[at] && !visual_is(roll, slots[at] - 1, loose, hash))
        at = (at + 1) & mask;
    return at;
}

uint32_t lm_roll_code_tail(const struct lm_roll *roll, uint64_t key)
{
    if (!roll->by_code.size)
        return LM_NO_ROW;
    return roll->by_code.slots[code_slot(roll, key)] - 1; /* a free slot, 0, wraps to LM_NO_ROW */
}

uint32_t lm_roll_visual_tail(const struct lm_roll *roll, const char *loose)
{
    if (!roll->by_visual.size || !loose[0])
        return LM_NO_ROW;
    uint32_t slot = visual_slot(roll, loose, hash_text(loose, strlen(loose)));
    return roll->by_visual.slots[slot] - 1;
}

/** Make @p row the new tail of the chain in a slot, so that chains keep the order recorded. */
static void chain(
    struct row_table *t, uint32_t slot, uint32_t row, uint32_t *next_of_row, uint32_t *next_of_tail)
{
    if (next_of_tail) {
        *next_of_row = *next_of_tail;
        *next_of_tail = row;
    } else {
        *next_of_row = row;
        t->used++;
    }
    t->slots[slot] = row + 1;
}

static enum lm_err index_code(struct lm_roll *roll, uint32_t row)
{
    struct device_row *d = &roll->devices[row];
    enum lm_err err = grow(roll, &roll->by_code, hash_code_row);
    if (err)
        return err;
    uint32_t slot = code_slot(roll, code_of(roll, row));
    uint32_t tail = roll->by_code.slots[slot] - 1;
    chain(&roll->by_code, slot, row, &d->next_code,
        tail == LM_NO_ROW ? NULL : &roll->devices[tail].next_code);
    return LM_OK;
}

static enum lm_err index_visual(struct lm_roll *roll, uint32_t row)
{
    struct device_row *d = &roll->devices[row];
    char loose[LM_VISUAL_MAX + 1];
    size_t len = lm_visual_fold_loose(lm_arena_at(&roll->arena, d->visual), loose);
    if (!len)
        return LM_OK;
    d->fold_hash = hash_text(loose, len);
    enum lm_err err = grow(roll, &roll->by_visual, hash_visual_row);
    if (err)
        return err;
    uint32_t slot = visual_slot(roll, loose, d->fold_hash);
    uint32_t tail = roll->by_visual.slots[slot] - 1;
    chain(&roll->by_visual, slot, row, &d->next_visual,
        tail == LM_NO_ROW ? NULL : &roll->devices[tail].next_visual);
    return LM_OK;
}

enum lm_err lm_roll_index_device(struct lm_roll *roll, uint32_t row)
{
    struct device_row *d = &roll->devices[row];
    d->next_code = d->next_visual = row;
    enum lm_err err = LM_OK;
    if (d->known && code_of(roll, row) != 0)
        err = index_code(roll, row);
    if (!err && d->visual && !lm_row_is_hidden(d))
        err = index_visual(roll, row);
    return err;
}

enum lm_err lm_roll_index_key(struct lm_roll *roll, uint32_t row)
{
    enum lm_err err = grow(roll, &roll->by_key, hash_key_row);
    if (err)
        return err;
    uint32_t mask = roll->by_key.size - 1, at = hash_key_row(roll, row) & mask;
    while (roll->by_key.slots[at])
        at = (at + 1) & mask;
    roll->by_key.slots[at] = row + 1;
    roll->by_key.used++;
    return LM_OK;
}

#define AHEAD                                                                                      \
    12u /* rows hashed ahead, so that their slots are in the cache when it is their turn */

static void prefetch_slot(const struct row_table *t, uint32_t hash)
{
    __builtin_prefetch(&t->slots[hash & (t->size - 1)]);
}

void lm_roll_prefetch(const struct lm_roll *roll, struct lm_eid eid)
{
    if (roll->by_code.size && eid.known)
        prefetch_slot(&roll->by_code, (uint32_t) lm_hash_u64(lm_eid_key(eid)));
}

static void hash_number(struct lm_roll *roll, uint32_t row)
{
    char loose[LM_VISUAL_MAX + 1];
    struct device_row *d = &roll->devices[row];
    size_t len = lm_visual_fold_loose(lm_arena_at(&roll->arena, d->visual), loose);
    d->fold_hash = hash_text(loose, len);
}

static enum lm_err index_devices(struct lm_roll *roll, uint32_t from)
{
    enum lm_err err = fit(roll, &roll->by_code, hash_code_row, roll->n_devices);
    if (!err)
        err = fit(roll, &roll->by_visual, hash_visual_row, roll->n_devices);
    for (uint32_t row = from; row < roll->n_devices && !err; row++) {
        if (row + AHEAD < roll->n_devices) {
            hash_number(roll, row + AHEAD);
            prefetch_slot(&roll->by_visual, roll->devices[row + AHEAD].fold_hash);
            prefetch_slot(&roll->by_code, hash_code_row(roll, row + AHEAD));
        }
        err = lm_roll_index_device(roll, row);
    }
    return err;
}

static enum lm_err index_keys(struct lm_roll *roll, uint32_t from)
{
    enum lm_err err = fit(roll, &roll->by_key, hash_key_row, roll->n_animals);
    for (uint32_t row = from; row < roll->n_animals && !err; row++) {
        if (row + AHEAD < roll->n_animals)
            prefetch_slot(&roll->by_key, hash_key_row(roll, row + AHEAD));
        err = lm_roll_index_key(roll, row);
    }
    return err;
}

enum lm_err lm_roll_index_from(struct lm_roll *roll, uint32_t animal, uint32_t device)
{
    enum lm_err err = index_keys(roll, animal);
    return err ? err : index_devices(roll, device);
}

uint32_t lm_roll_by_key(const struct lm_roll *roll, const char *key)
{
    const uint32_t *slots = roll->by_key.slots;
    if (!roll->by_key.size)
        return LM_NO_ANIMAL;
    uint32_t mask = roll->by_key.size - 1;
    for (uint32_t at = hash_text(key, strlen(key)) & mask; slots[at]; at = (at + 1) & mask) {
        uint32_t row = slots[at] - 1;
        if (strcmp(lm_arena_at(&roll->arena, roll->animals[row].key), key) == 0)
            return row;
    }
    return LM_NO_ANIMAL;
}
