#include "store/store_priv.h"

#include <string.h>

/* Hand out the events a bound statement selects; takes the statement over. */
static enum lm_err give_events(
    struct lm_store *s, sqlite3_stmt *st, lm_event_fn *fn, lm_history_fn *history, void *ctx)
{
    struct lm_store_event e;
    enum lm_err err = LM_OK;
    int rc = SQLITE_DONE;
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        err = lm_store_event_row(s, st, &e);
        if (err == LM_OK)
            err = fn != NULL ? fn(&e.ev, ctx) : history(&e.ev, e.why, ctx);
        lm_store_event_free(&e);
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(s, "reading the journal");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err session_events(
    struct lm_store *s, int64_t session, int64_t after, lm_event_fn *fn, void *ctx)
{
    struct lm_store_session row;
    enum lm_err err = lm_store_session(s, session, &row);
    if (err != LM_OK)
        return err;
    /* One session at a time: its events are a stretch of the journal, no index is needed. */
    sqlite3_stmt *st =
        lm_store_prepare(s, "SELECT " LM_SQL_EVENT " WHERE seq > ?1 AND seq >= ?2 AND seq <= ?3 "
                            "AND (session_id = ?4 OR kind = 6) ORDER BY seq");
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_int(&b, after);
    lm_bind_int(&b, row.first_seq);
    lm_bind_int(&b, row.last_seq != 0 ? row.last_seq : INT64_MAX);
    lm_bind_int(&b, row.id);
    return give_events(s, st, fn, NULL, ctx);
}

enum lm_err lm_store_events(
    struct lm_store *store, int64_t session, int64_t after, lm_event_fn *fn, void *ctx)
{
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = session_events(store, session, after, fn, ctx);
    lm_store_read_end(store, own);
    return err;
}

enum lm_err lm_store_changes(struct lm_store *store, int64_t after, lm_event_fn *fn, void *ctx)
{
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    sqlite3_stmt *st =
        lm_store_prepare(store, "SELECT " LM_SQL_EVENT " WHERE seq > ?1 AND kind = 6 ORDER BY seq");
    if (st != NULL) {
        sqlite3_bind_int64(st, 1, after);
        err = give_events(store, st, fn, NULL, ctx);
    } else {
        err = store->problem.err;
    }
    lm_store_read_end(store, own);
    return err;
}

static enum lm_err animal_history(struct lm_store *s, const char *key, lm_history_fn *fn, void *ctx)
{
    int64_t row = 0;
    enum lm_err err = lm_store_animal_row(s, key, &row);
    if (err == LM_ENOTFOUND)
        return lm_problem_set(&s->problem, err, "look for it with `lugmark find`",
            "no animal %s in the register", key);
    sqlite3_stmt *st = err == LM_OK ? lm_store_prepare(s, "SELECT " LM_SQL_EVENT
                                                          " WHERE animal_id = ?1 ORDER BY seq")
                                    : NULL;
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, row);
    return give_events(s, st, NULL, fn, ctx);
}

enum lm_err lm_store_history(struct lm_store *store, const char *key, lm_history_fn *fn, void *ctx)
{
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = animal_history(store, key, fn, ctx);
    lm_store_read_end(store, own);
    return err;
}

/* The first change of each animal at or after a place: what it found is how the animal stood. */
struct past {
    struct lm_store *store;
    sqlite3_stmt *st;
    bool has_row;
};

static enum lm_err past_step(struct past *p)
{
    int rc = sqlite3_step(p->st);
    p->has_row = rc == SQLITE_ROW;
    return rc == SQLITE_ROW || rc == SQLITE_DONE ? LM_OK
                                                 : lm_store_fail(p->store, "reading the history");
}

/* Make of an animal as it is what it was; *there: it was in the register then. */
static enum lm_err past_apply(struct past *p, int64_t animal, struct lm_record *rec, bool *there)
{
    *there = !rec->struck;
    if (!p->has_row || sqlite3_column_int64(p->st, 0) != animal)
        return LM_OK;
    const char *body = (const char *) sqlite3_column_text(p->st, 2);
    enum lm_err err = LM_OK;
    if (body != NULL)
        err = lm_store_image(p->store, sqlite3_column_int64(p->st, 1), body,
            (size_t) sqlite3_column_bytes(p->st, 2), rec);
    *there = body != NULL && !rec->struck;
    return err ? err : past_step(p);
}

static enum lm_err each_past(struct past *p, struct lm_walk *w, lm_record_fn *fn, void *ctx)
{
    struct lm_record rec;
    bool more = true, there = true;
    enum lm_err err = past_step(p);
    err = err ? err : lm_walk_begin(w, p->store);
    while (err == LM_OK && more) {
        err = lm_walk_next(w, &rec, &more);
        if (err != LM_OK || !more)
            break;
        err = past_apply(p, w->animal, &rec, &there);
        if (err == LM_OK && there)
            err = fn(&rec, 0, ctx);
    }
    return err;
}

enum lm_err lm_store_each_at(struct lm_store *store, int64_t seq, lm_record_fn *fn, void *ctx)
{
    struct past past = {.store = store};
    struct lm_walk walk = {0};
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    /* SQLite gives, beside min(), the other columns of the row that holds it. */
    past.st = lm_store_prepare(store,
        "SELECT animal_id, min(seq), body FROM event WHERE animal_id IS NOT NULL AND seq >= ?1 "
        "GROUP BY animal_id ORDER BY animal_id");
    if (past.st != NULL) {
        sqlite3_bind_int64(past.st, 1, seq);
        err = each_past(&past, &walk, fn, ctx);
    } else {
        err = store->problem.err;
    }
    sqlite3_finalize(past.st);
    lm_walk_end(&walk);
    lm_store_read_end(store, own);
    return err;
}
