/* The supply list as evidence: which device a code is, and how far along its strip. */
#include "race/explain_priv.h"

#include <stdlib.h>
#include <string.h>

static int by_code(const void *a, const void *b, void *ctx)
{
    const struct lm_explain_stock *stock = ctx;
    uint32_t i = *(const uint32_t *) a, k = *(const uint32_t *) b;
    uint64_t x = lm_eid_key(stock[i].eid), y = lm_eid_key(stock[k].eid);
    if (x != y)
        return x < y ? -1 : 1;
    return (i > k) - (i < k);
}

enum lm_err ex_stock_prepare(struct ex *x)
{
    uint32_t n = x->options->n_stock;
    x->stock_sorted = calloc(n + 1u, sizeof *x->stock_sorted);
    if (!x->stock_sorted)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < n; i++)
        x->stock_sorted[i] = i;
    if (n)
        qsort_r(x->stock_sorted, n, sizeof *x->stock_sorted, by_code,
            (void *) (uintptr_t) x->options->stock);
    return LM_OK;
}

uint32_t ex_stock_of(const struct ex *x, struct lm_eid eid)
{
    uint32_t lo = 0, hi = x->options->n_stock;
    uint64_t key = lm_eid_key(eid);
    while (lo < hi) {
        uint32_t mid = (lo + hi) / 2;
        if (lm_eid_key(x->options->stock[x->stock_sorted[mid]].eid) < key)
            lo = mid + 1;
        else
            hi = mid;
    }
    if (lo == x->options->n_stock || !key)
        return EX_NONE;
    uint32_t i = x->stock_sorted[lo];
    return lm_eid_key(x->options->stock[i].eid) == key ? i : EX_NONE;
}

static bool used(const struct ex *x, uint32_t stock)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    return lm_roll_code_first(x->roll, x->options->stock[stock].eid, &it, &d);
}

/* The list is strip by strip in order of position as it is read, so neighbours stand together. */
void ex_stock_place(struct ex *x, struct ex_item *item)
{
    item->stock = ex_stock_of(x, item->eid);
    item->ahead = 0;
    if (item->stock == EX_NONE)
        return;
    const struct lm_explain_stock *all = x->options->stock;
    for (uint32_t i = item->stock; i-- > 0 && item->ahead < 100;) {
        if (strcmp(all[i].strip, all[item->stock].strip) != 0 || used(x, i))
            break;
        item->ahead++;
    }
}
