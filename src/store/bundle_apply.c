/* Appending what is missing, and setting the animals to what they shall be. */
#include "bundle_priv.h"

#include "lugmark/decode.h"
#include "lugmark/stock.h"

#include <stdlib.h>
#include <string.h>

struct apply {
    struct plan *p;
    struct lm_eventline *hold;
    sqlite3_stmt *stamp, *session_at, *undone;
    json_t *copies; /* name to row */
};

static enum lm_err no_memory(struct plan *p)
{
    return lm_problem_set(&p->store->problem, LM_ENOMEM, NULL, "out of memory");
}

static enum lm_err copy_row(struct apply *a, const char *is, int64_t *row)
{
    char name[BUNDLE_ID_SIZE];
    snprintf(name, sizeof name, "%.32s", is);
    const json_t *known = json_object_get(a->copies, name);
    if (known != NULL) {
        *row = json_integer_value(known);
        return LM_OK;
    }
    sqlite3_stmt *st = lm_store_prepare(a->p->store,
        "INSERT INTO copy(name) VALUES(?1) ON CONFLICT(name) DO UPDATE SET name = name "
        "RETURNING id");
    if (st == NULL)
        return a->p->store->problem.err;
    sqlite3_bind_text(st, 1, name, -1, SQLITE_STATIC);
    enum lm_err err = LM_OK;
    if (sqlite3_step(st) == SQLITE_ROW)
        *row = sqlite3_column_int64(st, 0);
    else
        err = lm_store_fail(a->p->store, "writing where events come from");
    sqlite3_finalize(st);
    if (err == LM_OK && json_object_set_new(a->copies, name, json_integer(*row)) != 0)
        err = no_memory(a->p);
    return err;
}

/* Place in our journal of an event named in the bundle; 0 for none. */
static int64_t seq_of(const struct plan *p, const char *is)
{
    const json_t *at = is != NULL ? json_object_get(p->b->index, is) : NULL;
    return at != NULL ? p->b->events[json_integer_value(at)].seq : 0;
}

/* Write down where an event came from, so that it is known again. */
static enum lm_err stamp(struct apply *a, struct bundle_event *e)
{
    int64_t copy = 0;
    enum lm_err err = copy_row(a, e->is, &copy);
    if (err != LM_OK)
        return err;
    sqlite3_reset(a->stamp);
    struct lm_bind b = {a->stamp, 0};
    lm_bind_int(&b, copy);
    lm_bind_int(&b, strtoll(e->is + BUNDLE_ID_SIZE, NULL, 10));
    lm_bind_int(&b, e->seq);
    return lm_store_run(a->p->store, a->stamp, "writing where an event comes from");
}

static enum lm_err session_of(struct apply *a, const struct bundle_event *e, int64_t *session)
{
    *session = 0;
    if (e->of == NULL || e->kind == LM_EVENT_OPEN)
        return LM_OK;
    sqlite3_reset(a->session_at);
    sqlite3_bind_int64(a->session_at, 1, seq_of(a->p, e->of));
    if (sqlite3_step(a->session_at) != SQLITE_ROW)
        return lm_bundle_bad(a->p->b, LM_EINPUT, 0, "make the bundle again",
            "an event belongs to a session that was never opened");
    *session = sqlite3_column_int64(a->session_at, 0);
    sqlite3_reset(a->session_at);
    return LM_OK;
}

/* Place of the change that an event takes back; 0 when it is none, or was taken back here too. */
static int64_t undoes(struct apply *a, const struct bundle_event *e)
{
    int64_t seq = seq_of(a->p, e->undoes);
    sqlite3_reset(a->undone);
    sqlite3_bind_int64(a->undone, 1, seq);
    return seq != 0 && sqlite3_step(a->undone) == SQLITE_ROW ? 0 : seq;
}

/* The whole entry is written at the end; here it is only history, link by link. */
static enum lm_err append_change(struct apply *a, struct bundle_event *e, const struct lm_event *ev)
{
    struct plan *p = a->p;
    struct lm_store *s = p->store;
    struct lm_record before, after = *ev->record;
    struct side *side = lm_unite_side(p, e->animal, false);
    struct lm_change change = {.stamp = ev, .why = e->why, .undoes = undoes(a, e)};
    int64_t row = 0;
    bool there = side->cur != NULL;
    enum lm_err err = session_of(a, e, &change.session);
    err = err ? err : lm_unite_map(p, &after);
    err = err ? err : lm_store_record_check(s, &after);
    if (err == LM_OK && there)
        err = lm_unite_record(p, side->cur, &before);
    err = err ? err : lm_store_animal_row(s, e->animal, &row);
    if (err == LM_ENOTFOUND)
        err = lm_store_animal_write(s, &after, &row);
    s->one_change = true;
    s->change_first = seq_of(p, e->part);
    err = err ? err : lm_store_change_write(s, there ? &before : NULL, row, &change, &e->seq);
    free(side->cur);
    side->cur = lm_record_json(&after);
    return err ? err : side->cur != NULL ? LM_OK : no_memory(p);
}

static enum lm_err append(struct apply *a, struct bundle_event *e)
{
    struct lm_event ev = {0};
    int64_t session = 0;
    enum lm_err err = lm_bundle_event(a->p->b, e, a->hold, &ev);
    if (err == LM_OK && e->kind == LM_EVENT_REGISTER) {
        err = append_change(a, e, &ev);
    } else if (err == LM_OK) {
        err = session_of(a, e, &session);
        err = err ? err : lm_store_append(a->p->store, &session, &ev, NULL, &e->seq);
        if (err == LM_EARG)
            err = lm_bundle_bad(a->p->b, LM_EINPUT, 0,
                "close a session on the machine where it runs before uniting",
                "a session went on there after it was closed here: %s", a->p->store->problem.what);
    }
    return err ? err : stamp(a, e);
}

static enum lm_err clear_devices(struct lm_store *s, const char *key, int64_t *row)
{
    enum lm_err err = lm_store_animal_row(s, key, row);
    sqlite3_stmt *st = err == LM_OK ? lm_store_st(s, LM_ST_DEVICES_UNADD) : NULL;
    if (st == NULL)
        return err ? err : s->problem.err;
    sqlite3_bind_int64(st, 1, *row);
    return lm_store_run(s, st, "writing a device");
}

/* Where the end is not what the last event left, uniting is itself a change. */
static enum lm_err conclude(struct plan *p, struct side *side, int64_t row)
{
    struct lm_record before;
    struct lm_event now = {.t_ms = p->t_ms, .clock_ms = LM_TIME_NONE};
    struct lm_change change = {.stamp = &now, .why = "united with another copy"};
    int64_t seq = 0;
    if (!side->decided && strcmp(side->cur, side->fin) == 0)
        return LM_OK;
    enum lm_err err = lm_unite_record(p, side->cur, &before);
    return err ? err : lm_store_change_write(p->store, &before, row, &change, &seq);
}

static enum lm_err set_animals(struct plan *p)
{
    struct lm_store *s = p->store;
    int64_t row = 0;
    enum lm_err err = LM_OK;
    lm_store_one_change(s);
    for (size_t i = 0; i < p->n && err == LM_OK; i++) {
        err = clear_devices(s, p->sides[i].key, &row);
        err = err ? err : conclude(p, &p->sides[i], row);
    }
    for (size_t i = 0; i < p->n && err == LM_OK; i++) {
        struct lm_record rec;
        err = lm_unite_record(p, p->sides[i].fin, &rec);
        err = err ? err : lm_store_animal_row(s, rec.key, &row);
        err = err ? err : lm_store_animal_write(s, &rec, &row);
        err = err ? err : lm_store_devices_write(s, &rec, row);
        p->united->animals++;
    }
    return err;
}

static enum lm_err close_session(struct plan *p)
{
    struct lm_store_session open;
    struct lm_event ev = {.kind = LM_EVENT_CLOSE, .t_ms = p->t_ms, .clock_ms = LM_TIME_NONE};
    enum lm_err err = lm_store_session_open(p->store, &open);
    if (err == LM_ENOTFOUND)
        return LM_OK;
    return err ? err : lm_store_append(p->store, &open.id, &ev, NULL, NULL);
}

/* Our open session steps aside while others are appended: only one may be open at a time. */
static enum lm_err step_aside(struct plan *p, bool aside)
{
    bool opens = false;
    for (size_t i = 0; i < p->b->n && !opens; i++)
        opens = p->b->events[i].missing && p->b->events[i].kind == LM_EVENT_OPEN;
    if (!opens)
        return LM_OK;
    p->store->live_session = 0;
    return lm_store_exec(p->store,
        aside ? "UPDATE session SET close_seq = -1 WHERE close_seq IS NULL"
              : "UPDATE session SET close_seq = NULL WHERE close_seq = -1",
        "uniting the sessions");
}

static enum lm_err append_all(struct apply *a)
{
    struct plan *p = a->p;
    enum lm_err err = p->close_ours ? close_session(p) : LM_OK;
    err = err ? err : step_aside(p, true);
    for (size_t i = 0; i < p->b->n && err == LM_OK; i++)
        if (p->b->events[i].missing)
            err = append(a, &p->b->events[i]);
    if (err == LM_OK && p->close_theirs)
        err = close_session(p);
    return err ? err : step_aside(p, false);
}

enum lm_err lm_unite_apply(struct plan *p)
{
    struct apply a = {.p = p, .hold = lm_eventline_new(), .copies = json_object()};
    a.stamp =
        lm_store_prepare(p->store, "UPDATE event SET copy_id = ?1, copy_seq = ?2 WHERE seq = ?3");
    a.undone = lm_store_prepare(p->store, "SELECT 1 FROM event WHERE undoes = ?1");
    a.session_at = lm_store_prepare(p->store, "SELECT id FROM session WHERE open_seq = ?1");
    enum lm_err err =
        a.stamp != NULL && a.session_at != NULL && a.undone != NULL ? LM_OK : p->store->problem.err;
    if (err == LM_OK && (a.hold == NULL || a.copies == NULL))
        err = no_memory(p);
    err = err ? err : append_all(&a);
    err = err ? err : set_animals(p);
    sqlite3_finalize(a.stamp);
    sqlite3_finalize(a.session_at);
    sqlite3_finalize(a.undone);
    lm_eventline_free(a.hold);
    json_decref(a.copies);
    return err;
}
