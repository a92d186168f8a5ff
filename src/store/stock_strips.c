/* Strips as a whole: how many devices are left, and which is next. */
#include "lugmark/stock.h"

#include "store/store_priv.h"

#include <string.h>

struct tally {
    struct lm_stock_strip now;
    struct lm_stock_item first_left, after_used; /* `strip` "" while there is none */
    lm_stock_strip_fn *fn;
    void *ctx;
};

static enum lm_err finish(struct tally *t)
{
    if (t->now.items == 0)
        return LM_OK;
    t->now.next = t->after_used.strip[0] != '\0' ? t->after_used : t->first_left;
    enum lm_err err = t->fn(&t->now, t->ctx);
    t->now.items = 0;
    return err;
}

static void begin(struct tally *t, const struct lm_stock_item *item)
{
    t->now = (struct lm_stock_strip){.first = *item};
    t->first_left.strip[0] = t->after_used.strip[0] = '\0';
}

static enum lm_err count(const struct lm_stock_item *item, long line, void *ctx)
{
    struct tally *t = ctx;
    enum lm_err err = LM_OK;
    (void) line;
    if (t->now.items > 0 && strcmp(t->now.first.strip, item->strip) != 0)
        err = finish(t);
    if (err != LM_OK)
        return err;
    if (t->now.items == 0)
        begin(t, item);
    t->now.items++;
    if (item->use != LM_STOCK_LEFT) {
        *(item->use == LM_STOCK_WORN ? &t->now.worn : &t->now.gone) += 1;
        t->after_used.strip[0] = '\0';
        return LM_OK;
    }
    t->now.left++;
    if (t->after_used.strip[0] == '\0')
        t->after_used = *item;
    if (t->first_left.strip[0] == '\0')
        t->first_left = *item;
    return LM_OK;
}

enum lm_err lm_store_stock_strips(struct lm_store *store, lm_stock_strip_fn *fn, void *ctx)
{
    struct tally t = {.fn = fn, .ctx = ctx};
    enum lm_err err = lm_store_stock_each(store, NULL, count, &t);
    return err ? err : finish(&t);
}

static enum lm_err take_next(const struct lm_stock_strip *strip, void *ctx)
{
    *(struct lm_stock_item *) ctx = strip->next;
    return LM_OK;
}

enum lm_err lm_store_stock_next(
    struct lm_store *store, const char *strip, struct lm_stock_item *out)
{
    struct tally t = {.fn = take_next, .ctx = out};
    memset(out, 0, sizeof *out);
    if (strip == NULL)
        return lm_problem_set(&store->problem, LM_EARG, NULL, "no strip was named");
    enum lm_err err = lm_store_stock_each(store, strip, count, &t);
    bool there = t.now.items > 0;
    err = err ? err : finish(&t);
    if (err != LM_OK || out->strip[0] != '\0')
        return err;
    return there ? lm_problem_set(&store->problem, LM_ENOTFOUND, "take another strip",
                       "every device of strip %s is used", strip)
                 : lm_problem_set(&store->problem, LM_ENOTFOUND, "see them with `lugmark stock`",
                       "there is no strip %s", strip);
}
