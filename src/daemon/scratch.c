#include "scratch.h"

#include <string.h>

static enum lm_err put(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

enum lm_err scratch_begin(
    struct scratch *s, struct lm_store *store, const struct lm_store_session *row)
{
    *s = (struct scratch){.row = *row,
        .pos = row->first_seq - 1,
        .clock_ms = LM_TIME_NONE,
        .t_ms = LM_TIME_NONE,
        .roll = lm_roll_new()};
    enum lm_err err = s->roll == NULL ? LM_ENOMEM : LM_OK;
    if (err == LM_OK) {
        err = lm_store_each_at(store, row->first_seq, put, s->roll);
    }
    if (err == LM_OK) {
        s->session = lm_session_new(s->roll, NULL);
        err = s->session == NULL ? LM_ENOMEM : LM_OK;
    }
    if (err != LM_OK) {
        scratch_end(s);
    }
    return err;
}

struct run {
    struct scratch *s;
    scratch_fn *fn;
    void *ctx;
};

static enum lm_err fold_one(const struct lm_event *ev, void *ctx)
{
    struct run *run = ctx;
    struct scratch *s = run->s;
    struct lm_verdict verdict = {.animal = LM_NO_ANIMAL};
    enum lm_err err = lm_session_apply(s->session, ev, &verdict);
    if (err == LM_ENOMEM) {
        return err;
    }
    s->pos = ev->seq;
    if (ev->clock_ms != LM_TIME_NONE && ev->kind != LM_EVENT_REGISTER) {
        s->clock_ms = ev->clock_ms;
        s->t_ms = ev->t_ms;
    }
    /* An event that made no sense was refused live, too: it changed nothing, it says nothing. */
    return err == LM_OK && run->fn != NULL ? run->fn(ev, &verdict, run->ctx) : LM_OK;
}

enum lm_err scratch_run(struct scratch *s, struct lm_store *store, scratch_fn *fn, void *ctx)
{
    struct run run = {s, fn, ctx};
    return lm_store_events(store, s->row.id, s->pos, fold_one, &run);
}

void scratch_end(struct scratch *s)
{
    lm_session_free(s->session);
    lm_roll_free(s->roll);
    *s = (struct scratch){0};
}
