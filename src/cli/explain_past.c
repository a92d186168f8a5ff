/* Evidence from the register's past: folded again, within bounds, and never stored. */
#include "explain_past.h"

#include <math.h>
#include <stdlib.h>

#include "lugmark/inventory.h"
#include "lugmark/report.h"

#define SEEN_LEAST 10u /* a session with fewer shows no order of the walk */
#define DAY_MS 86400000.0

/* --- which sessions --- */

struct earlier {
    int64_t before;
    struct lm_store_session rows[LM_PAST_SESSIONS]; /* a ring, the latest overwrite the oldest */
    unsigned n;
};

static enum lm_err take_row(const struct lm_store_session *row, void *ctx)
{
    struct earlier *e = ctx;
    if (row->id < e->before && row->last_seq != 0)
        e->rows[e->n++ % LM_PAST_SESSIONS] = *row;
    return LM_OK;
}

/* --- who walked beside whom --- */

struct walk {
    const struct lm_session *then, *now;
    uint32_t last[2]; /* indexes in the roll of now */
    uint32_t seen, here;
    struct lm_past *out; /* NULL: only counted */
    enum lm_err err;
};

static uint32_t in_now(const struct walk *w, uint32_t animal)
{
    const char *key = lm_roll_animal(lm_session_roll(w->then), animal).key;
    return lm_roll_by_key(lm_session_roll(w->now), key);
}

static enum lm_err add_pair(struct lm_past *p, uint32_t a, uint32_t b)
{
    if (p->n_beside == p->room_beside) {
        uint32_t room = p->room_beside > 0 ? p->room_beside * 2 : 256;
        struct lm_explain_beside *more = realloc(p->beside, room * sizeof *more);
        if (more == NULL)
            return LM_ENOMEM;
        p->beside = more;
        p->room_beside = room;
    }
    p->beside[p->n_beside++] = (struct lm_explain_beside){a, b};
    return LM_OK;
}

static void take_seen(const struct lm_seen_how *how, void *ctx)
{
    struct walk *w = ctx;
    uint32_t animal = in_now(w, how->animal);
    w->seen++;
    w->here += animal != LM_NO_ANIMAL && lm_session_seen(w->now, animal);
    for (int k = 0; k < 2 && w->out != NULL && w->err == LM_OK; k++)
        if (animal != LM_NO_ANIMAL && w->last[k] != LM_NO_ANIMAL)
            w->err = add_pair(w->out, animal, w->last[k]);
    w->last[1] = w->last[0];
    w->last[0] = animal;
}

static struct walk walk_of(
    const struct lm_session *then, const struct lm_session *now, struct lm_past *out)
{
    struct walk w = {.then = then, .now = now, .last = {LM_NO_ANIMAL, LM_NO_ANIMAL}, .out = out};
    lm_seen_each(then, take_seen, &w);
    return w;
}

/* The latest session in which most of those that are seen now were seen too. */
static enum lm_err take_walk(struct lm_past *out, const struct lm_store_session *row,
    const struct lm_session *then, const struct lm_store_session *now_row,
    const struct lm_session *now)
{
    struct lm_summary sum;
    struct walk w = walk_of(then, now, NULL);
    lm_session_tally(now, &sum);
    if (out->interval > 0.0 || w.seen < SEEN_LEAST || w.here * 2 < sum.identified)
        return LM_OK;
    if (row->opened_ms != LM_TIME_NONE && now_row->opened_ms != LM_TIME_NONE)
        out->interval = fmax(1.0, (double) (now_row->opened_ms - row->opened_ms) / DAY_MS);
    return walk_of(then, now, out).err;
}

/* --- one session, then all --- */

static enum lm_err take_session(struct lm_store *store, const struct lm_store_session *row,
    const struct lm_store_session *now_row, const struct lm_session *now,
    const struct lm_supply *supply, struct lm_past *out, uint32_t *animals)
{
    struct lm_replay replay;
    struct lm_explain *x = NULL;
    enum lm_err err = lm_replay_session(store, row, NULL, &replay);
    if (err != LM_OK)
        return err;
    *animals += lm_roll_animals(replay.roll);
    err = lm_supply_explain(supply, replay.session, &x);
    if (err == LM_OK) {
        lm_explain_tally(x, &out->history);
        err = take_walk(out, row, replay.session, now_row, now);
    }
    lm_explain_free(x);
    lm_replay_free(&replay);
    return err;
}

static enum lm_err take_lives(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_lives_add(ctx, rec);
}

static enum lm_err take_begun(const struct lm_event *ev, void *ctx)
{
    double *begun = ctx;
    *begun = lm_day_of(ev->t_ms, 0);
    return LM_EAGAIN; /* one is enough */
}

static double day_of(const struct lm_session *session)
{
    int64_t t_ms = lm_explain_now_ms(session);
    return t_ms != LM_TIME_NONE ? (double) lm_day_of(t_ms, 0) : (double) NAN;
}

/* The register as the session found it, so that accepting one explanation moves no other. */
static enum lm_err make_lives(struct lm_store *store, const struct lm_store_session *row,
    const struct lm_session *session, const struct lm_supply *supply, struct lm_lives *lives)
{
    double begun = 0.0, today = day_of(session);
    enum lm_err err = lm_store_changes(store, 0, take_begun, &begun);
    if (isnan(today) || (err != LM_OK && err != LM_EAGAIN))
        return err == LM_EAGAIN ? LM_OK : err;
    err = lm_store_each_at(store, row->first_seq, take_lives, lives);
    return err ? err : lm_lives_make(lives, supply->items, supply->n, begun, today);
}

enum lm_err lm_past_store(struct lm_store *store, const struct lm_store_session *row,
    const struct lm_session *session, const struct lm_supply *supply, struct lm_past *out)
{
    struct earlier e = {.before = row->id};
    uint32_t animals = 0;
    enum lm_err err = lm_store_sessions(store, take_row, &e);
    for (unsigned k = 1; err == LM_OK && k <= LM_PAST_SESSIONS && k <= e.n; k++) {
        const struct lm_store_session *then = &e.rows[(e.n - k) % LM_PAST_SESSIONS];
        if (animals >= LM_PAST_ANIMALS)
            break;
        err = take_session(store, then, row, session, supply, out, &animals);
    }
    return err ? err : make_lives(store, row, session, supply, &out->lives);
}

enum lm_err lm_past_file(
    struct lm_past *past, const struct lm_session *session, const struct lm_supply *supply)
{
    double today = day_of(session);
    if (isnan(today))
        return LM_OK;
    return lm_lives_make(&past->lives, supply->items, supply->n, -INFINITY, today);
}

void lm_past_free(struct lm_past *past)
{
    lm_lives_free(&past->lives);
    free(past->beside);
    *past = (struct lm_past){0};
}
