#include "fold.h"

#include "clock.h"
#include <stdio.h>
#include <stdlib.h>

static enum lm_err put(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static enum lm_err load_roll(struct fold *f)
{
    /* The place first: a change that comes in between is then put twice, which changes nothing. */
    f->last_seq = lm_store_last_seq(f->store);
    f->roll = lm_roll_new();
    return f->roll == NULL ? LM_ENOMEM : lm_store_each(f->store, put, f->roll);
}

static enum lm_err room_for_act(struct fold *f)
{
    if (f->n_acts < f->room_acts) {
        return LM_OK;
    }
    size_t room = f->room_acts == 0 ? 256 : f->room_acts * 2;
    struct fold_act *acts = realloc(f->acts, room * sizeof *acts);
    if (acts == NULL) {
        return LM_ENOMEM;
    }
    f->acts = acts;
    f->room_acts = room;
    return LM_OK;
}

static enum lm_err note_act(struct fold *f, const struct lm_event *ev)
{
    if (ev->kind == LM_EVENT_UNDO && f->n_acts > 0) {
        f->n_acts--;
        return LM_OK;
    }
    if (ev->kind != LM_EVENT_SIGHTING && ev->kind != LM_EVENT_HEADS) {
        return LM_OK;
    }
    if (room_for_act(f) != LM_OK) {
        return LM_ENOMEM;
    }
    f->acts[f->n_acts++].seq = ev->seq;
    return LM_OK;
}

static enum lm_err note_replayed(
    const struct lm_event *ev, const struct lm_verdict *verdict, void *ctx)
{
    struct fold *f = ctx;
    lanes_note(&f->lanes, ev, verdict);
    return note_act(f, ev);
}

/* The session clock goes on where it stood, plus the time that passed by the wall clock. */
static void resume_clock(struct fold *f, const struct scratch *s)
{
    int64_t gap = s->t_ms == LM_TIME_NONE ? 0 : clock_wall_ms() - s->t_ms;
    f->clock_ms = (s->clock_ms == LM_TIME_NONE ? 0 : s->clock_ms) + (gap > 0 ? gap : 0);
    f->steady_ms = clock_steady_ms();
}

static enum lm_err resume_session(struct fold *f, const struct lm_store_session *row)
{
    struct scratch s;
    enum lm_err err = scratch_begin(&s, f->store, row);
    if (err != LM_OK) {
        return err;
    }
    err = scratch_run(&s, f->store, note_replayed, f);
    if (err != LM_OK) {
        scratch_end(&s);
        return err;
    }
    f->roll = s.roll;
    f->session = s.session;
    f->row = *row;
    f->last_seq = s.pos;
    resume_clock(f, &s);
    return LM_OK;
}

/*
 * From here on the register is read from memory and the file is written at its end: a large cache
 * would only fill with pages of the journal that nobody asks for again.
 */
#define CACHE_KIB 512u

/* A plan that cannot be read is no reason to stop the race. */
static void load_plan(struct fold *f)
{
    if (lm_markplan_load(f->store, &f->plan) != LM_OK) {
        f->plan = (struct lm_markplan){0};
    }
    f->no_plan = lm_markplan_empty(&f->plan);
}

enum lm_err fold_begin(struct fold *f, struct lm_store *store, const struct config *config)
{
    *f = (struct fold){.store = store, .config = config};
    struct lm_store_session row;
    enum lm_err err = lm_store_session_open(store, &row);
    if (err == LM_OK) {
        err = resume_session(f, &row);
    } else if (err == LM_ENOTFOUND) {
        err = load_roll(f);
    }
    if (err == LM_OK) {
        load_plan(f);
        lm_store_cache(store, CACHE_KIB);
    }
    return err;
}

void fold_end(struct fold *f)
{
    lm_session_free(f->session);
    lm_session_free(f->next);
    lm_roll_free(f->roll);
    free(f->acts);
    *f = (struct fold){0};
}

int64_t fold_clock(const struct fold *f)
{
    return f->session == NULL ? 0 : f->clock_ms + (clock_steady_ms() - f->steady_ms);
}

enum lm_err fold_prepare_open(struct fold *f)
{
    if (f->next == NULL) {
        f->next = lm_session_new(f->roll, NULL);
    }
    return f->next == NULL ? LM_ENOMEM : LM_OK;
}

static void begin_session(struct fold *f, const struct lm_event *ev)
{
    f->session = f->next;
    f->next = NULL;
    f->n_acts = 0;
    f->lanes = (struct lanes){.n = 0};
    f->clock_ms = 0;
    f->steady_ms = clock_steady_ms();
    if (lm_store_session_open(f->store, &f->row) != LM_OK) {
        /* Just written; if it cannot be read now, what the event says is the next best. */
        f->row = (struct lm_store_session){.open = *ev->open,
            .opened_ms = ev->t_ms,
            .closed_ms = LM_TIME_NONE,
            .first_seq = ev->seq};
        f->row.open.keys = NULL;
        f->row.open.n_keys = 0;
    }
}

/* The journal gives a session its name; the session must bear it now as it will when replayed. */
static enum lm_err apply_open(struct fold *f, const struct lm_event *ev, struct lm_verdict *verdict)
{
    struct lm_open named = *ev->open;
    struct lm_event e = *ev;
    snprintf(named.id, sizeof named.id, "%s", f->row.open.id);
    e.open = &named;
    return lm_session_apply(f->session, &e, verdict);
}

struct again {
    struct fold *f;
    int64_t upto;
    struct lm_verdict *verdict; /* of the event there */
};

static enum lm_err note_again(
    const struct lm_event *ev, const struct lm_verdict *verdict, void *ctx)
{
    struct again *a = ctx;
    enum lm_err err = note_replayed(ev, verdict, a->f);
    if (err == LM_OK && ev->seq == a->upto) {
        *a->verdict = *verdict;
    }
    return err == LM_OK && ev->seq >= a->upto ? LM_EAGAIN : err;
}

/* The open session from the journal, up to this event; what comes behind it is applied in its turn.
 */
static enum lm_err fold_again(struct fold *f, int64_t upto, struct lm_verdict *verdict)
{
    struct scratch s;
    struct again a = {f, upto, verdict};
    f->behind = true;
    enum lm_err err = scratch_begin(&s, f->store, &f->row);
    if (err != LM_OK) {
        return err;
    }
    f->n_acts = 0;
    f->lanes = (struct lanes){.n = 0};
    err = scratch_run(&s, f->store, note_again, &a);
    if (err != LM_OK && err != LM_EAGAIN) {
        scratch_end(&s);
        return err;
    }
    lm_session_free(f->session);
    lm_session_free(f->next); /* it was made for the roll that goes now */
    lm_roll_free(f->roll);
    f->session = s.session;
    f->roll = s.roll;
    f->next = NULL;
    f->last_seq = upto;
    f->stale = true; /* changes by others that stand behind it are taken over once more */
    f->behind = false;
    return LM_OK;
}

static enum lm_err apply(struct fold *f, const struct lm_event *ev, struct lm_verdict *verdict)
{
    enum lm_err err = ev->kind == LM_EVENT_OPEN ? apply_open(f, ev, verdict)
                                                : lm_session_apply(f->session, ev, verdict);
    if (err == LM_OK) {
        lanes_note(&f->lanes, ev, verdict);
        err = note_act(f, ev);
    }
    return err;
}

enum lm_err fold_apply(struct fold *f, const struct lm_event *ev, struct lm_verdict *verdict)
{
    *verdict = (struct lm_verdict){.animal = LM_NO_ANIMAL};
    f->last_seq = ev->seq > f->last_seq ? ev->seq : f->last_seq;
    if (ev->kind == LM_EVENT_OPEN && f->session == NULL && f->next != NULL) {
        begin_session(f, ev);
    }
    if (f->session == NULL) {
        return ev->kind == LM_EVENT_REGISTER ? lm_roll_put(f->roll, ev->record, NULL) : LM_EARG;
    }
    enum lm_err err = f->behind ? LM_ENOMEM : apply(f, ev, verdict);
    if (err == LM_ENOMEM) {
        err = fold_again(f, ev->seq, verdict);
    }
    if (err == LM_OK && ev->kind == LM_EVENT_CLOSE) {
        f->row.closed_ms = ev->t_ms;
        f->row.last_seq = ev->seq;
    }
    return err;
}

void fold_closed(struct fold *f)
{
    lm_session_free(f->session);
    f->session = NULL;
    f->n_acts = 0;
    f->behind = false;
}

struct catch
{
    struct fold *f;
    fold_change_fn *fn;
    void *ctx;
};

static enum lm_err take_change(const struct lm_event *ev, void *ctx)
{
    struct catch *c = ctx;
    struct lm_verdict verdict;
    enum lm_err err = fold_apply(c->f, ev, &verdict);
    if (err == LM_OK && c->fn != NULL) {
        c->fn(ev, c->ctx);
    }
    return err == LM_ENOMEM ? err : LM_OK;
}

enum lm_err fold_catch_up(struct fold *f, fold_change_fn *fn, void *ctx)
{
    f->stale = lm_store_changed(f->store) || f->stale;
    if (!f->stale) {
        return LM_OK;
    }
    load_plan(f);
    struct catch c = {f, fn, ctx};
    enum lm_err err = lm_store_changes(f->store, f->last_seq, take_change, &c);
    f->stale = err != LM_OK; /* the store tells of a change only once */
    return err;
}
