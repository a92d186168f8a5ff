/* Many events at once. Readings that came without doubt are most of what a race writes: 64 or 8
 * of them are one statement, which costs half of what as many statements cost. Everything else
 * takes the plain way, lm_store_append(), which is also what the test compares with. */
#include "store/store_priv.h"

static const struct {
    size_t rows;
    enum lm_st st;
} pieces[] = {{64, LM_ST_READINGS_64}, {8, LM_ST_READINGS_8}};

/* What the statements for many have a column for. */
static bool plain(const struct lm_event *ev)
{
    return ev->kind == LM_EVENT_READING && ev->doubt == LM_DOUBT_NONE && ev->text[0] == '\0' &&
           !ev->cut;
}

static enum lm_err insert(
    struct lm_store *s, enum lm_st which, int64_t session, const struct lm_event evs[], size_t n)
{
    sqlite3_stmt *st = lm_store_st(s, which);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    if (session != 0)
        lm_bind_int(&b, session);
    else
        lm_bind_null(&b);
    for (size_t i = 0; i < n; i++) {
        lm_bind_time(&b, evs[i].t_ms);
        lm_bind_time(&b, evs[i].clock_ms);
        lm_bind_opt(&b, evs[i].lane);
        lm_bind_opt(&b, evs[i].reader);
        lm_bind_int(&b, (int64_t) evs[i].eid.bits);
        lm_bind_int(&b, evs[i].eid.known);
    }
    return lm_store_run(s, st, "writing the journal");
}

/* SQLite numbers the rows of a statement one after the other, from the last one there was. */
static void number(struct lm_store *s, struct lm_event evs[], size_t n)
{
    int64_t last = sqlite3_last_insert_rowid(s->db);
    for (size_t i = 0; i < n; i++)
        evs[i].seq = last - (int64_t) (n - 1 - i);
}

/* *done: how many of the first were written, 0 when they are not for this way. */
static enum lm_err readings(
    struct lm_store *s, int64_t session, struct lm_event evs[], size_t n, size_t *done)
{
    size_t run = 0;
    *done = 0;
    while (run < n && run < pieces[0].rows && plain(&evs[run]))
        run++;
    for (size_t k = 0; k < sizeof pieces / sizeof pieces[0]; k++) {
        if (run < pieces[k].rows)
            continue;
        enum lm_err err = lm_store_bulk_end(s);
        err = err || session == 0 ? err : lm_store_session_live(s, session);
        err = err ? err : insert(s, pieces[k].st, session, evs, pieces[k].rows);
        if (err != LM_OK)
            return err;
        *done = pieces[k].rows;
        number(s, evs, *done);
        return LM_OK;
    }
    return LM_OK;
}

static enum lm_err append(struct lm_store *s, int64_t *session, struct lm_event evs[], size_t n)
{
    enum lm_err err = LM_OK;
    for (size_t at = 0, done = 0; at < n && err == LM_OK; at += done) {
        err = readings(s, *session, evs + at, n - at, &done);
        if (err == LM_OK && done == 0) {
            err = lm_store_append(s, session, &evs[at], NULL, &evs[at].seq);
            done = 1;
        }
    }
    return err;
}

enum lm_err lm_store_append_all(
    struct lm_store *store, int64_t *session, struct lm_event evs[], size_t n)
{
    int64_t before = *session;
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_write_begin(store, n > 1, &scope);
    if (err != LM_OK)
        return err;
    err = append(store, session, evs, n);
    err = lm_store_write_end(store, scope, err);
    for (size_t i = 0; err != LM_OK && i < n; i++)
        evs[i].seq = 0;
    if (err != LM_OK)
        *session = before;
    return err;
}
