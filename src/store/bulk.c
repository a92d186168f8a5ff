/*
 * Filling an empty register: its indexes are made once at the end, by sorting, not entry by entry.
 *
 * The events of these animals are alike, but for the animal: one statement writes them all, then.
 * Living codes must still be told apart one by one, because the second one is told with its line:
 * a set in memory does that. The first thing out of the ordinary (a code for the second time, a
 * failure) brings the indexes back, and all goes on as ever.
 */
#include "store/store_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct lm_bulk {
    char *sql;       /* makes the indexes again */
    uint64_t *codes; /* open addressing; 0 is a free place */
    uint32_t size, used;
    int64_t base, n; /* last place in the journal before it; events not yet written */
    int64_t row;     /* the animal of the last of them */
    int64_t t_ms;    /* what they have in common */
    char why[LM_PROBLEM_TEXT_MAX];
};

static const char pick[] =
    "FROM sqlite_schema WHERE type = 'index' AND sql IS NOT NULL AND tbl_name IN ('device', "
    "'event') AND (name = 'device_living_code' OR sql NOT LIKE 'CREATE UNIQUE%')";

/* One text of all the rows that a statement gives. NULL with the handle's problem set. */
static char *statements(struct lm_store *s, const char *what)
{
    char sql[400], *text = NULL;
    snprintf(sql, sizeof sql, "SELECT coalesce(group_concat(%s, '; '), '') %s", what, pick);
    sqlite3_stmt *st = lm_store_prepare(s, sql);
    if (st == NULL)
        return NULL;
    if (sqlite3_step(st) == SQLITE_ROW) {
        const char *got = (const char *) sqlite3_column_text(st, 0);
        text = got != NULL ? strdup(got) : NULL;
        if (text == NULL)
            lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    } else {
        lm_store_fail(s, "looking at the file");
    }
    sqlite3_finalize(st);
    return text;
}

static enum lm_err drop_indexes(struct lm_store *s, struct lm_bulk *bulk)
{
    char *drop = statements(s, "'DROP INDEX ' || name");
    bulk->sql = drop != NULL ? statements(s, "sql") : NULL;
    enum lm_err err =
        bulk->sql != NULL ? lm_store_exec(s, drop, "setting the indexes aside") : s->problem.err;
    free(drop);
    return err;
}

static enum lm_err write_events(struct lm_store *s, const struct lm_bulk *b)
{
    if (b->n == 0)
        return LM_OK;
    sqlite3_stmt *st = lm_store_prepare(s,
        "INSERT INTO event(kind, t_ms, animal_id, why, part_of) SELECT 6, ?1, id, ?2, "
        "CASE WHEN row_number() OVER (ORDER BY id) > 1 THEN ?3 END FROM animal "
        "WHERE id <= ?4 ORDER BY id");
    if (st == NULL)
        return s->problem.err;
    struct lm_bind bind = {st, 0};
    lm_bind_time(&bind, b->t_ms);
    lm_bind_opt(&bind, b->why);
    if (s->one_change)
        lm_bind_int(&bind, b->base + 1);
    else
        lm_bind_null(&bind);
    lm_bind_int(&bind, b->row);
    enum lm_err err = lm_store_run(s, st, "writing the history");
    sqlite3_finalize(st);
    return err;
}

bool lm_store_bulk_event(
    struct lm_store *s, int64_t row, const struct lm_change *change, int64_t *seq)
{
    struct lm_bulk *b = s->bulk;
    if (b == NULL || change->session != 0 || change->undoes != 0 || change->token != NULL ||
        change->stamp->clock_ms != LM_TIME_NONE || row <= b->row)
        return false;
    if (b->n == 0) {
        b->t_ms = change->stamp->t_ms;
        snprintf(b->why, sizeof b->why, "%s", change->why != NULL ? change->why : "");
    } else if (b->t_ms != change->stamp->t_ms ||
               strcmp(b->why, change->why != NULL ? change->why : "") != 0) {
        return false;
    }
    b->row = row;
    *seq = b->base + ++b->n;
    if (s->one_change && s->change_first == 0)
        s->change_first = *seq;
    return true;
}

static bool is_empty(struct lm_store *s)
{
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT 1 FROM animal LIMIT 1");
    bool empty = st != NULL && sqlite3_step(st) == SQLITE_DONE;
    sqlite3_finalize(st);
    return empty;
}

/*
 * The write-ahead log would write every page of the new register twice. A roll-back journal is as
 * safe, and has next to nothing to keep of an empty file. Refused while somebody else has it open;
 * then all stays as it is. Should we die before switching back, the next one who opens it does so.
 */
static void journal_mode(struct lm_store *s, const char *mode)
{
    char sql[64];
    snprintf(sql, sizeof sql, "PRAGMA journal_mode = %s", mode);
    sqlite3_busy_timeout(s->db, 0);
    sqlite3_exec(s->db, sql, NULL, NULL, NULL);
    sqlite3_busy_timeout(s->db, LM_STORE_BUSY_MS);
}

static enum lm_err set_aside(struct lm_store *s)
{
    s->bulk = calloc(1, sizeof *s->bulk);
    if (s->bulk == NULL)
        return LM_OK; /* slower, that is all */
    s->bulk->base = lm_store_last_seq(s);
    enum lm_err err = drop_indexes(s, s->bulk);
    if (err != LM_OK)
        lm_store_rollback(s);
    return err;
}

enum lm_err lm_store_begin_bulk(struct lm_store *store)
{
    enum lm_err err = lm_store_fresh(store);
    if (err == LM_OK && !store->txn && store->mode != LM_STORE_READ && is_empty(store)) {
        journal_mode(store, "DELETE");
        store->no_wal = true;
    }
    err = err ? err : lm_store_begin(store);
    return err == LM_OK && is_empty(store) ? set_aside(store) : err;
}

void lm_store_bulk_done(struct lm_store *s)
{
    if (s->no_wal)
        journal_mode(s, "WAL");
    s->no_wal = false;
}

void lm_store_bulk_forget(struct lm_store *s)
{
    if (s->bulk != NULL) {
        free(s->bulk->sql);
        free(s->bulk->codes);
        free(s->bulk);
    }
    s->bulk = NULL;
}

enum lm_err lm_store_bulk_end(struct lm_store *s)
{
    if (s->bulk == NULL)
        return LM_OK;
    enum lm_err err = write_events(s, s->bulk);
    err = err ? err : lm_store_exec(s, s->bulk->sql, "making the indexes");
    if (err != LM_OK)
        s->broken = s->problem;
    lm_store_bulk_forget(s);
    return err;
}

static uint32_t place(uint64_t code, uint32_t size)
{
    return (uint32_t) ((code * UINT64_C(0x9e3779b97f4a7c15)) >> 32) & (size - 1);
}

static bool grow(struct lm_bulk *b)
{
    uint32_t size = b->size != 0 ? b->size * 2 : 4096;
    uint64_t *codes = size != 0 ? calloc(size, sizeof *codes) : NULL;
    if (codes == NULL)
        return false;
    for (uint32_t i = 0; i < b->size; i++) {
        uint32_t at = place(b->codes[i], size);
        if (b->codes[i] == 0)
            continue;
        while (codes[at] != 0)
            at = (at + 1) & (size - 1);
        codes[at] = b->codes[i];
    }
    free(b->codes);
    b->codes = codes;
    b->size = size;
    return true;
}

/* false when it is there already, or there is no room to know. */
static bool claim(struct lm_bulk *b, uint64_t code)
{
    if (b->used * 3 >= b->size * 2 && !grow(b))
        return false;
    uint32_t at = place(code, b->size);
    while (b->codes[at] != 0 && b->codes[at] != code)
        at = (at + 1) & (b->size - 1);
    if (b->codes[at] == code)
        return false;
    b->codes[at] = code;
    b->used++;
    return true;
}

enum lm_err lm_store_bulk_claim(struct lm_store *s, const struct lm_record *rec)
{
    for (unsigned i = 0; i < rec->n_devices && s->bulk != NULL; i++) {
        const struct lm_device *d = &rec->devices[i];
        uint64_t code = lm_eid_key(d->eid);
        if (code == 0 || d->gone)
            continue;
        code |= (uint64_t) lm_eid_retag(d->eid) << 48 | LM_EID_KEY_UID;
        if (!claim(s->bulk, code))
            return lm_store_bulk_end(s);
    }
    return LM_OK;
}
