#include "store/store_priv.h"

#include <stdio.h>
#include <string.h>

static void take_session(sqlite3_stmt *st, struct lm_store_session *out)
{
    struct lm_take t = {st, 0};
    memset(out, 0, sizeof *out);
    out->id = lm_take_int(&t);
    lm_take_text(&t, out->open.id, sizeof out->open.id);
    out->open.kind = (enum lm_session_kind) lm_take_word(&t, LM_SALE);
    lm_take_text(&t, out->open.mob, sizeof out->open.mob);
    lm_take_text(&t, out->open.lot, sizeof out->open.lot);
    lm_take_text(&t, out->open.count, sizeof out->open.count);
    lm_take_text(&t, out->open.who, sizeof out->open.who);
    out->opened_ms = lm_take_time(&t);
    out->closed_ms = lm_take_time(&t);
    out->first_seq = lm_take_int(&t);
    out->last_seq = lm_take_int(&t);
}

/* The one session a statement names. LM_ENOTFOUND, without a problem, when there is none. */
static enum lm_err one(
    struct lm_store *s, enum lm_st which, int64_t id, struct lm_store_session *out)
{
    sqlite3_stmt *st = lm_store_st(s, which);
    if (st == NULL)
        return s->problem.err;
    if (which == LM_ST_SESSION_GET)
        sqlite3_bind_int64(st, 1, id);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_OK;
    if (rc == SQLITE_ROW)
        take_session(st, out);
    else
        err = rc == SQLITE_DONE ? LM_ENOTFOUND : lm_store_fail(s, "reading a session");
    if (sqlite3_reset(st) != SQLITE_OK && err == LM_OK) /* a text had no memory */
        err = lm_store_fail(s, "reading a session");
    return err;
}

static enum lm_err name_session(struct lm_store *s, int64_t id)
{
    char sql[96];
    snprintf(sql, sizeof sql, "UPDATE session SET name = id WHERE id = %lld", (long long) id);
    return lm_store_exec(s, sql, "naming a session");
}

enum lm_err lm_store_session_insert(
    struct lm_store *s, const struct lm_event *ev, int64_t *id, int64_t *seq)
{
    struct lm_store_session live;
    const struct lm_open *o = ev->open;
    enum lm_err err = one(s, LM_ST_SESSION_OPEN, 0, &live);
    if (err == LM_OK)
        return lm_problem_set(&s->problem, LM_EBUSY, "close it first, with `lugmark close`",
            "session %s is open already", live.open.id);
    sqlite3_stmt *st = err == LM_ENOTFOUND ? lm_store_st(s, LM_ST_SESSION_ADD) : NULL;
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, o->id);
    lm_bind_int(&b, o->kind);
    lm_bind_text(&b, o->mob);
    lm_bind_text(&b, o->lot);
    lm_bind_text(&b, o->count);
    lm_bind_text(&b, o->who);
    lm_bind_time(&b, ev->t_ms);
    if (sqlite3_step(st) == SQLITE_ROW) {
        *id = sqlite3_column_int64(st, 0);
        *seq = sqlite3_column_int64(st, 1);
        err = LM_OK;
    } else {
        err = lm_store_fail(s, "opening a session");
    }
    sqlite3_reset(st);
    if (err == LM_OK && o->id[0] == '\0')
        err = name_session(s, *id);
    s->live_session = err == LM_OK ? *id : 0;
    return err;
}

enum lm_err lm_store_session_close(struct lm_store *s, int64_t id, int64_t t_ms, int64_t seq)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_SESSION_CLOSE);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_time(&b, t_ms);
    lm_bind_int(&b, seq);
    lm_bind_int(&b, id);
    s->live_session = 0;
    return lm_store_run(s, st, "closing a session");
}

/* Events join open sessions only. Asked once in a transaction: nobody else can write in between. */
enum lm_err lm_store_session_live(struct lm_store *s, int64_t id)
{
    if (s->live_session == id)
        return LM_OK;
    struct lm_store_session found = {0};
    enum lm_err err = one(s, LM_ST_SESSION_GET, id, &found);
    if (err == LM_ENOTFOUND)
        return lm_problem_set(&s->problem, LM_EARG, "list them with `lugmark report`",
            "there is no session %lld", (long long) id);
    if (err == LM_OK && found.last_seq != 0)
        return lm_problem_set(&s->problem, LM_EARG, "open a new one with `lugmark open`",
            "session %s is closed", found.open.id);
    s->live_session = err == LM_OK ? id : 0;
    return err;
}

enum lm_err lm_store_session_open(struct lm_store *store, struct lm_store_session *out)
{
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : one(store, LM_ST_SESSION_OPEN, 0, out);
    if (err == LM_ENOTFOUND)
        lm_problem_set(&store->problem, err, "open one with `lugmark open`", "no session is open");
    return err;
}

enum lm_err lm_store_session(struct lm_store *store, int64_t id, struct lm_store_session *out)
{
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : one(store, id == 0 ? LM_ST_SESSION_LAST : LM_ST_SESSION_GET, id, out);
    if (err == LM_ENOTFOUND && id == 0)
        lm_problem_set(
            &store->problem, err, "open one with `lugmark open`", "there has been no session yet");
    else if (err == LM_ENOTFOUND)
        lm_problem_set(&store->problem, err, "leave the number out for the latest one",
            "there is no session %lld", (long long) id);
    return err;
}

enum lm_err lm_store_sessions(struct lm_store *store, lm_session_fn *fn, void *ctx)
{
    struct lm_store_session found;
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    sqlite3_stmt *st = lm_store_prepare(store, "SELECT " LM_SQL_SESSION " ORDER BY id");
    int rc = SQLITE_DONE;
    err = st != NULL ? LM_OK : store->problem.err;
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        take_session(st, &found);
        err = fn(&found, ctx);
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(store, "reading the sessions");
    sqlite3_finalize(st);
    lm_store_read_end(store, own);
    return err;
}
