/* The table of codes, and what the register has twice. */
#include "priv.h"

#include <stdlib.h>
#include <sys/mman.h>

#define AHEAD 16u /* rows looked at ahead, so that the memory is there when it is their turn */
#define HUGE_PAGE (UINT32_C(1) << 21)

/* Half full, and in large pages where the system has them: it is read all over the place. */
static uint64_t *make_table(uint32_t entries, uint32_t *size)
{
    *size = entries < 64 ? 128 : entries * 2;
    size_t bytes = ((size_t) *size * sizeof(uint64_t) + HUGE_PAGE - 1) / HUGE_PAGE * HUGE_PAGE;
    if (entries > UINT32_C(1) << 29)
        return NULL;
    if (bytes < 2 * HUGE_PAGE)
        return calloc(*size, sizeof(uint64_t));
    uint64_t *slots = aligned_alloc(HUGE_PAGE, bytes);
    if (slots == NULL)
        return NULL;
    madvise(slots, bytes, MADV_HUGEPAGE);
    for (size_t i = 0; i < *size; i++)
        slots[i] = 0;
    return slots;
}

bool lm_sieve_twins(
    const uint32_t *hash, const uint32_t *other, uint32_t n, uint8_t *flags, bool *any)
{
    uint32_t size;
    uint64_t *slots = make_table(n, &size);
    *any = false;
    for (uint32_t i = 0; slots != NULL && i < n; i++) {
        if (i + AHEAD < n)
            __builtin_prefetch(&slots[(uint64_t) hash[i + AHEAD] * size >> 32], 1);
        uint32_t at = (uint32_t) ((uint64_t) hash[i] * size >> 32);
        if (hash[i] == 0)
            continue;
        while (slots[at] != 0 && slots[at] >> 32 != hash[i])
            at = at + 1 == size ? 0 : at + 1;
        if (slots[at] != 0) {
            flags[i] |= ROW_STAYS;
            flags[(uint32_t) slots[at] - 1] |= ROW_STAYS;
            *any = *any || other[(uint32_t) slots[at] - 1] == other[i];
        } else {
            slots[at] = (uint64_t) hash[i] << 32 | (i + 1);
        }
    }
    free(slots);
    return slots != NULL;
}

/* The slot of a code, made when new. */
static uint32_t claim(struct sieve_codes *c, uint64_t code, bool *twice)
{
    uint32_t at = lm_sieve_place(code, c->size);
    while (c->slots[at] != 0 && (c->slots[at] & SLOT_CODE) != code)
        at = at + 1 == c->size ? 0 : at + 1;
    *twice = c->slots[at] != 0;
    c->slots[at] |= code | (*twice ? SLOT_STAYS | SLOT_SHARED : 0);
    return at;
}

bool lm_sieve_codes(struct lm_sieve *s)
{
    struct sieve_rows *rows = &s->rows;
    struct sieve_codes *c = &s->codes;
    bool twice = false;
    c->slots = make_table(rows->n, &c->size);
    rows->slot = malloc(rows->n * sizeof *rows->slot);
    if (c->slots == NULL || rows->slot == NULL)
        return false;
    for (uint32_t i = 0; i < rows->n; i++) {
        if (i + AHEAD < rows->n)
            __builtin_prefetch(&c->slots[lm_sieve_place(rows->code[i + AHEAD], c->size)], 1);
        rows->slot[i] = rows->code[i] != 0 ? claim(c, rows->code[i], &twice) : SIEVE_NONE;
        if (rows->code[i] != 0 && twice && !rows->named)
            return false; /* only the plain way knows what they are called */
        if (rows->code[i] != 0 && rows->flags[i] != ROW_EXPECTED)
            c->slots[rows->slot[i]] |= SLOT_STAYS;
    }
    free(rows->code);
    rows->code = NULL;
    return true;
}
