/*
 * Worn devices in the order of their strips: by the supply list where it knows the code, else by
 * the rank of the code among the flock's codes of its country.
 */
#include "race/explain_priv.h"

#include <stdlib.h>
#include <string.h>

static int by_place(const void *a, const void *b)
{
    const struct ex_place *x = a, *y = b;
    if (x->strip != y->strip)
        return x->strip < y->strip ? -1 : 1;
    if (x->position != y->position)
        return x->position < y->position ? -1 : 1;
    return (x->animal > y->animal) - (x->animal < y->animal);
}

/** A number as an integer when it is digits only and short enough; else -1. */
static long long as_integer(const char *text)
{
    char fold[LM_VISUAL_MAX + 1];
    size_t len = lm_visual_fold(text, fold);
    if (!len || len > 15 || strspn(fold, "0123456789") != len)
        return -1;
    return strtoll(fold, NULL, 10);
}

/** First stock row of the strip that a stock row is on: names the strip. */
static uint32_t strip_of(uint32_t stock, const uint32_t *heads)
{
    return stock == EX_NONE ? EX_NONE : heads[stock] + 1024u;
}

static uint32_t *strip_heads(const struct ex *x)
{
    uint32_t n = x->options->n_stock;
    uint32_t *heads = calloc(n + 1u, sizeof *heads);
    for (uint32_t i = 0; heads && i < n; i++) {
        bool same = i && strcmp(x->options->stock[i].strip, x->options->stock[i - 1].strip) == 0;
        heads[i] = same ? heads[i - 1] : i;
    }
    return heads;
}

static void fill(struct ex *x, const uint32_t *heads)
{
    uint32_t n = 0;
    for (uint32_t i = 0; i < lm_roll_animals(x->roll); i++) {
        uint32_t devices = lm_roll_animal(x->roll, i).n_devices;
        for (uint32_t k = 0; k < devices; k++) {
            struct lm_roll_device d = lm_roll_device(x->roll, i, k);
            if (d.gone || !d.eid.known || d.eid.known == LM_EID_UID)
                continue;
            uint32_t stock = ex_stock_of(x, d.eid);
            x->places[n++] = (struct ex_place){.animal = i,
                .strip = stock == EX_NONE ? lm_eid_country(d.eid) : strip_of(stock, heads),
                .position = stock == EX_NONE ? (int64_t) lm_eid_national(d.eid)
                                             : (int64_t) x->options->stock[stock].position,
                .key = lm_eid_key(d.eid),
                .number = as_integer(d.visual[0] ? d.visual : ex_number_of(x->roll, i)),
                .stock = stock};
        }
    }
    x->n_places = n;
}

enum lm_err ex_places(struct ex *x)
{
    uint32_t *heads = strip_heads(x);
    x->places = calloc((size_t) lm_roll_devices(x->roll) + 1, sizeof *x->places);
    if (!x->places || !heads) {
        free(heads);
        return LM_ENOMEM;
    }
    fill(x, heads);
    free(heads);
    if (x->n_places)
        qsort(x->places, x->n_places, sizeof *x->places, by_place);
    int64_t rank = 0;
    for (uint32_t i = 0; i < x->n_places; i++) {
        struct ex_place *p = &x->places[i];
        rank = i && p[-1].strip == p->strip ? rank + 1 : 0;
        if (p->stock == EX_NONE)
            p->position = rank;
    }
    return LM_OK;
}
