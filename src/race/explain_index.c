/*
 * Finding numbers that may be called as another without comparing all with all: two numbers that
 * differ by one changed, lost, added or turned character share one of the texts left when a
 * character is taken out of either.
 */
#include "race/explain_priv.h"

#include <stdlib.h>
#include <string.h>

static uint64_t without(const char *s, size_t len, size_t skip)
{
    char rest[LM_VISUAL_MAX + 1];
    memcpy(rest, s, skip);
    memcpy(rest + skip, s + skip + 1, len - skip - 1);
    return lm_hash_text(rest, len - 1);
}

/** All keys of a folded number, without repeats of a run of equal characters. */
static uint32_t keys_of(const char *fold, uint64_t keys[EX_KEY_LENGTH + 2])
{
    size_t len = strlen(fold), zeros = strspn(fold, "0");
    uint32_t n = 0;
    keys[n++] = lm_hash_text(fold, len);
    if (len > EX_KEY_LENGTH)
        return n;
    if (zeros && fold[zeros])
        keys[n++] = lm_hash_text(fold + zeros, len - zeros);
    for (size_t i = 0; i < len && len > 1 && n < EX_KEY_LENGTH + 2; i++) {
        if (i == 0 || fold[i] != fold[i - 1])
            keys[n++] = without(fold, len, i);
    }
    return n;
}

static enum lm_err add(struct ex *x, uint64_t hash, uint32_t node)
{
    struct ex_index *d = &x->numbers;
    enum lm_err err = ex_grow(&d->links, &d->cap_links, d->n_links, sizeof *d->links);
    if (err)
        return err;
    d->links[d->n_links++] = (struct ex_link){hash, node, 0};
    return LM_OK;
}

static enum lm_err add_animal(struct ex *x, uint32_t node)
{
    uint32_t animal = x->animals[node].animal;
    struct lm_roll_animal a = lm_roll_animal(x->roll, animal);
    enum lm_err err = LM_OK;
    for (uint32_t k = 0; k < a.n_devices && !err; k++) {
        struct lm_roll_device d = lm_roll_device(x->roll, animal, k);
        char fold[LM_VISUAL_MAX + 1];
        uint64_t keys[EX_KEY_LENGTH + 2];
        if (d.gone || !lm_visual_fold(d.visual, fold))
            continue;
        uint32_t n = keys_of(fold, keys);
        for (uint32_t i = 0; i < n && !err; i++)
            err = add(x, keys[i], node);
    }
    return err;
}

enum lm_err ex_index_build(struct ex *x)
{
    struct ex_index *d = &x->numbers;
    enum lm_err err = LM_OK;
    for (uint32_t i = 0; i < x->n_animals && !err; i++)
        err = add_animal(x, i);
    for (d->n_slots = 64; d->n_slots < 2 * d->n_links;)
        d->n_slots *= 2;
    d->slots = calloc(d->n_slots, sizeof *d->slots);
    if (!d->slots)
        return LM_ENOMEM;
    for (uint32_t i = d->n_links;
         i-- > 0;) { /* backwards: chains run in the order of the register */
        uint32_t slot = (uint32_t) d->links[i].hash & (d->n_slots - 1);
        d->links[i].next = d->slots[slot];
        d->slots[slot] = i + 1;
    }
    return err;
}

uint32_t ex_index_find(const struct ex *x, const char *text, uint32_t out[EX_KEY_HITS])
{
    const struct ex_index *d = &x->numbers;
    char fold[LM_VISUAL_MAX + 1];
    uint64_t keys[EX_KEY_LENGTH + 2];
    uint32_t n = 0, looked = 0;
    lm_visual_fold(text, fold); /* of nothing but marks: no number is kept so */
    uint32_t n_keys = keys_of(fold, keys);
    for (uint32_t k = 0; k < n_keys; k++) {
        looked = 0;
        for (uint32_t i = d->slots[(uint32_t) keys[k] & (d->n_slots - 1)];
             i && looked < EX_KEY_HITS && n < EX_KEY_HITS; i = d->links[i - 1].next) {
            const struct ex_link *l = &d->links[i - 1];
            looked++;
            bool there = l->hash != keys[k];
            for (uint32_t j = 0; j < n && !there; j++)
                there = out[j] == l->node;
            if (!there)
                out[n++] = l->node;
        }
    }
    return n;
}
