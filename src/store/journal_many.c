/* Many events at once. Readings that came without doubt are most of what a race writes: many of
 * them are one statement, which costs half of what as many statements cost, and less when they are
 * of one turn of a reader and share all but their code. Everything else takes the plain way,
 * lm_store_append(), which is also what the test compares with. */
#include "store/store_priv.h"

#include <string.h>

#define ROWS_MAX 64u

static const struct piece {
    size_t rows;
    enum lm_st st;
    bool turn; /* all of one turn of a reader */
} pieces[] = {
    {ROWS_MAX, LM_ST_TURN_64, true}, {16, LM_ST_TURN_16, true}, {8, LM_ST_READINGS_8, false}};

/* What the statements for many have a column for. */
static bool plain(const struct lm_event *ev)
{
    return ev->kind == LM_EVENT_READING && ev->doubt == LM_DOUBT_NONE && ev->text[0] == '\0' &&
           !ev->cut;
}

static bool one_turn(const struct lm_event *a, const struct lm_event *b)
{
    return a->t_ms == b->t_ms && a->clock_ms == b->clock_ms && strcmp(a->lane, b->lane) == 0 &&
           strcmp(a->reader, b->reader) == 0;
}

static void bind_turn(struct lm_bind *b, const struct lm_event *ev)
{
    lm_bind_time(b, ev->t_ms);
    lm_bind_time(b, ev->clock_ms);
    lm_bind_opt(b, ev->lane);
    lm_bind_opt(b, ev->reader);
}

static enum lm_err insert(
    struct lm_store *s, const struct piece *piece, int64_t session, const struct lm_event evs[])
{
    sqlite3_stmt *st = lm_store_st(s, piece->st);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    if (session != 0)
        lm_bind_int(&b, session);
    else
        lm_bind_null(&b);
    for (size_t i = 0; i < piece->rows; i++) {
        if (i == 0 || !piece->turn)
            bind_turn(&b, &evs[i]);
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
    size_t run = 0, turn = 0; /* how many are for one statement, and of one turn */
    *done = 0;
    for (; run < n && run < ROWS_MAX && plain(&evs[run]); run++)
        turn += turn == run && one_turn(&evs[0], &evs[run]) ? 1u : 0u;
    for (size_t k = 0; k < sizeof pieces / sizeof pieces[0]; k++) {
        if ((pieces[k].turn ? turn : run) < pieces[k].rows)
            continue;
        enum lm_err err = lm_store_bulk_end(s);
        err = err || session == 0 ? err : lm_store_session_live(s, session);
        err = err ? err : insert(s, &pieces[k], session, evs);
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
