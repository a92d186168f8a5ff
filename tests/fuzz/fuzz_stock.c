/* Any bytes as a supplier's list: refused with a reason, or taken whole into a register. */
#include "fuzz_help.h"

#include "lugmark/stock.h"

#define ITEMS 64u

struct list {
    unsigned problems; /* first: fuzz_count() counts here */
    size_t n;
    struct lm_stock_item items[ITEMS];
};

static enum lm_err item(const struct lm_stock_item *it, long line, void *ctx)
{
    struct list *l = ctx;
    MUST(line > 0 && it->strip[0] != '\0' && it->use == LM_STOCK_LEFT);
    MUST(it->position >= 1 && it->position <= LM_STOCK_POSITION_MAX);
    MUST(it->eid.known || it->visual[0] != '\0');
    if (l->n < ITEMS)
        l->items[l->n++] = *it;
    return LM_OK;
}

static enum lm_err count(const struct lm_stock_item *it, long line, void *ctx)
{
    size_t *n = ctx;
    (void) it;
    (void) line;
    ++*n;
    return LM_OK;
}

/* What was read without a complaint goes in, and all of it is there. */
static void keep(const struct list *l)
{
    struct fuzz_store f = fuzz_store_new("stock");
    unsigned problems = 0;
    size_t n = 0;
    const struct lm_stock_add how = {.problem = fuzz_count, .ctx = &problems};
    enum lm_err err = lm_store_stock_add(f.s, l->items, NULL, l->n, &how);
    MUST(l->n == ITEMS || err == LM_OK);
    MUST(lm_store_stock_each(f.s, NULL, count, &n) == LM_OK && n == (err == LM_OK ? l->n : 0));
    fuzz_store_end(&f);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct list l; /* too big for a stack under a sanitizer */
    memset(&l, 0, sizeof l);
    const struct lm_stock_hooks hooks = {
        .item = item, .problem = fuzz_count, .ctx = &l, .lenient = size > 0 && (data[0] & 1u) != 0};
    FILE *in = fuzz_file(data, size);
    enum lm_err err = lm_stock_read(in, "stock", &hooks);
    fclose(in);
    MUST((err == LM_EINPUT) == (l.problems > 0) && (err == LM_OK || err == LM_EINPUT));
    if (err == LM_OK && l.n > 0)
        keep(&l);
    return 0;
}
