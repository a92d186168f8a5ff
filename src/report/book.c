/*
 * The register at a place in the journal, and when each of its animals was here.
 */
#include "lugmark/inventory.h"

#include <stdlib.h>
#include <string.h>

#define DAY_MS INT64_C(86400000)

int32_t lm_day_of(int64_t t_ms, int32_t other)
{
    return t_ms == LM_TIME_NONE ? other : lm_date_days(lm_date_of(t_ms), 0);
}

struct lm_date lm_date_of_day(int32_t day)
{
    return lm_date_of((int64_t) day * DAY_MS);
}

static enum lm_err take_first(const struct lm_event *ev, void *ctx)
{
    int32_t *begun = ctx;
    *begun = lm_day_of(ev->t_ms, LM_DAY_BEGIN);
    return LM_EAGAIN; /* one is enough */
}

struct loading {
    struct lm_book *book;
    lm_record_fn *fn;
    void *ctx;
};

static enum lm_err take_record(const struct lm_record *rec, long line, void *ctx)
{
    struct loading *l = ctx;
    enum lm_err err = lm_roll_put(l->book->roll, rec, NULL);
    return err != LM_OK || !l->fn ? err : l->fn(rec, line, l->ctx);
}

struct past {
    struct lm_stays *stays;
    int64_t seq;
    int32_t begun;
};

static enum lm_err take_change(const struct lm_event *ev, const char *why, void *ctx)
{
    struct past *p = ctx;
    if (ev->seq <= p->seq)
        lm_stays_change(p->stays, ev->record, why, lm_day_of(ev->t_ms, p->begun), p->begun);
    return LM_OK;
}

static enum lm_err take_stays(struct lm_store *store, int64_t seq, struct lm_book *book)
{
    enum lm_err err = LM_OK;
    uint32_t n = lm_roll_animals(book->roll);
    book->stays = calloc((size_t) n + 1, sizeof *book->stays);
    if (!book->stays)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < n && err == LM_OK; i++) {
        struct past p = {&book->stays[i], seq, book->begun};
        err = lm_store_history(store, lm_roll_animal(book->roll, i).key, take_change, &p);
    }
    return err;
}

enum lm_err lm_book_load(
    struct lm_store *store, int64_t seq, lm_record_fn *fn, void *ctx, struct lm_book *out)
{
    struct loading l = {out, fn, ctx};
    memset(out, 0, sizeof *out);
    out->begun = LM_DAY_NEVER;
    out->roll = lm_roll_new();
    if (!out->roll)
        return LM_ENOMEM;
    if (seq == 0)
        seq = lm_store_last_seq(store);
    enum lm_err err = lm_store_changes(store, 0, take_first, &out->begun);
    if (err == LM_OK || err == LM_EAGAIN)
        err = lm_store_each_at(store, seq + 1, take_record, &l);
    if (err == LM_OK)
        err = take_stays(store, seq, out);
    if (err != LM_OK)
        lm_book_free(out);
    return err;
}

void lm_book_free(struct lm_book *book)
{
    lm_roll_free(book->roll);
    free(book->stays);
    memset(book, 0, sizeof *book);
}
