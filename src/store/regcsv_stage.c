/* The stage: a whole register in little memory, until it is known to be good. */
#include "regcsv_priv.h"

#include <stdlib.h>
#include <string.h>

enum lm_err lm_stage_init(struct regcsv_stage *s)
{
    s->arena_size = 65536;
    s->arena = malloc(s->arena_size);
    if (!s->arena)
        return LM_ENOMEM;
    s->arena[0] = s->arena[1] = '\0'; /* offset 0 is the empty string */
    s->arena_used = 2;
    return LM_OK;
}

void lm_stage_free(struct regcsv_stage *s)
{
    free(s->arena);
    free(s->words.slots);
    free(s->names.slots);
    free(s->animals.items);
    free(s->devices.items);
    free(s->rares.items);
    free(s->rounds.items);
}

void *lm_stage_more(struct regcsv_list *list, size_t item_size)
{
    if (list->n == list->size) {
        uint32_t size = list->size ? list->size * 2 : 256;
        void *items = size > list->size && size < UINT32_MAX / 2
                          ? realloc(list->items, size * item_size)
                          : NULL;
        if (!items)
            return NULL;
        list->items = items;
        list->size = size;
    }
    return (char *) list->items + list->n++ * item_size;
}

regcsv_str lm_stage_text(struct regcsv_stage *s, const char *text, size_t n)
{
    size_t at = s->arena_used;

    if (at + n + 2 > s->arena_size) {
        char *arena = s->arena_size < UINT32_MAX / 2 ? realloc(s->arena, s->arena_size * 2) : NULL;
        if (!arena)
            return 0;
        s->arena = arena;
        s->arena_size *= 2;
    }
    s->arena[at] = (char) n;
    memcpy(s->arena + at + 1, text, n);
    s->arena[at + 1 + n] = '\0';
    s->arena_used = at + n + 2;
    return (regcsv_str) at;
}

/* Eight bytes at a time; good enough to spread names and numbers, and quick. */
static uint32_t hash_of(const char *text, size_t n)
{
    uint64_t h = 0x9e3779b97f4a7c15u ^ n, w;

    for (; n >= 8; text += 8, n -= 8) {
        memcpy(&w, text, 8);
        h = (h ^ w) * 0xff51afd7ed558ccdu;
        h ^= h >> 32;
    }
    w = 0;
    for (size_t i = 0; i < n; i++)
        w = w << 8 | (uint8_t) text[i];
    h = (h ^ w) * 0xff51afd7ed558ccdu;
    h ^= h >> 29;
    return (uint32_t) ((h * 0xc4ceb9fe1a85ec53u) >> 32);
}

static enum lm_err grow(struct regcsv_table *t, uint32_t size)
{
    struct regcsv_slot *slots = calloc(size, sizeof *slots);

    if (!slots)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < t->size; i++) {
        uint32_t at = t->slots[i].hash & (size - 1);
        if (!t->slots[i].item)
            continue;
        while (slots[at].item)
            at = (at + 1) & (size - 1);
        slots[at] = t->slots[i];
    }
    free(t->slots);
    t->slots = slots;
    t->size = size;
    return LM_OK;
}

/* Item of the words is the string itself, of the names an animal. */
static regcsv_str str_of(const struct regcsv_stage *s, const struct regcsv_table *t, uint32_t item)
{
    return t == &s->words ? item : lm_stage_at(s, item - 1)->key;
}

/* The slot of a text, or the free one where it belongs. NULL when out of memory. */
static struct regcsv_slot *find(
    struct regcsv_stage *s, struct regcsv_table *t, const char *text, size_t n)
{
    uint32_t hash = hash_of(text, n), at;

    if (t->used * 3u >= t->size * 2u && grow(t, t->size ? t->size * 2 : 256))
        return NULL;
    for (at = hash & (t->size - 1); t->slots[at].item; at = (at + 1) & (t->size - 1)) {
        if (t->slots[at].hash == hash) {
            regcsv_str str = str_of(s, t, t->slots[at].item);
            if (lm_stage_len(s, str) == n && !memcmp(lm_stage_str(s, str), text, n))
                return &t->slots[at];
        }
    }
    t->slots[at].hash = hash;
    return &t->slots[at];
}

regcsv_str lm_stage_word(struct regcsv_stage *s, const char *text, size_t n)
{
    struct regcsv_slot *slot = find(s, &s->words, text, n);
    regcsv_str str;

    if (!slot || slot->item)
        return slot ? slot->item : 0;
    str = lm_stage_text(s, text, n);
    if (str) {
        slot->item = str;
        s->words.used++;
    }
    return str;
}

uint32_t lm_stage_nameless(struct regcsv_stage *s, uint32_t line)
{
    struct staged_animal *a = lm_stage_more(&s->animals, sizeof *a);

    if (!a)
        return UINT32_MAX;
    memset(a, 0, sizeof *a);
    a->line = line;
    return s->animals.n - 1;
}

uint32_t lm_stage_animal(struct regcsv_stage *s, const char *key, size_t n, uint32_t line)
{
    struct regcsv_slot *slot = find(s, &s->names, key, n);
    uint32_t animal;
    regcsv_str str;

    if (!slot)
        return UINT32_MAX;
    if (slot->item)
        return slot->item - 1;
    str = lm_stage_text(s, key, n);
    animal = str ? lm_stage_nameless(s, line) : UINT32_MAX;
    if (animal == UINT32_MAX)
        return UINT32_MAX;
    lm_stage_at(s, animal)->key = str;
    slot->item = animal + 1;
    s->names.used++;
    return animal;
}

enum lm_err lm_stage_claim(struct regcsv_stage *s, uint32_t animal, regcsv_str name)
{
    struct regcsv_slot *slot = find(s, &s->names, lm_stage_str(s, name), lm_stage_len(s, name));

    if (!slot || slot->item)
        return slot ? LM_EEXISTS : LM_ENOMEM;
    lm_stage_at(s, animal)->key = name;
    slot->item = animal + 1;
    s->names.used++;
    return LM_OK;
}

enum lm_err lm_stage_device(struct regcsv_stage *s, uint32_t animal,
    const struct staged_device *device, const struct staged_rare *rare)
{
    struct staged_animal *a = lm_stage_at(s, animal);
    struct staged_device *d = lm_stage_more(&s->devices, sizeof *d);
    struct staged_rare *r = d && rare ? lm_stage_more(&s->rares, sizeof *r) : NULL;

    if (!d || (rare && !r))
        return LM_ENOMEM;
    *d = *device;
    if (r) {
        *r = *rare;
        d->rare = s->rares.n;
    }
    if (a->last)
        ((struct staged_device *) s->devices.items)[a->last - 1].next = s->devices.n;
    else
        a->first = s->devices.n;
    a->last = s->devices.n;
    a->n_devices++;
    return LM_OK;
}
