#include "store/part.h"
#include "store/store_priv.h"

#include <string.h>

enum lm_err lm_store_exec(struct lm_store *s, const char *sql, const char *doing)
{
    return sqlite3_exec(s->db, sql, NULL, NULL, NULL) == SQLITE_OK ? LM_OK
                                                                   : lm_store_fail(s, doing);
}

/* What the handle remembers of the file is only as good as the transaction it was seen in. */
static void forget(struct lm_store *s)
{
    memset(s->mobs, 0, sizeof s->mobs);
    s->live_session = 0;
}

/* The end of an earlier one failed, for want of memory perhaps: it would refuse all that come. */
static void end_left_over(struct lm_store *s)
{
    if (!s->txn && s->reading == 0 && !sqlite3_get_autocommit(s->db))
        sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
}

enum lm_err lm_store_begin(struct lm_store *store)
{
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK)
        return err;
    if (store->txn || store->reading > 0)
        return lm_problem_set(&store->problem, LM_EARG, NULL,
            store->txn ? "a transaction is open already" : "the register is being read");
    end_left_over(store);
    /* IMMEDIATE: found busy now and not in the middle of the work. */
    err = lm_store_exec(
        store, store->mode == LM_STORE_READ ? "BEGIN" : "BEGIN IMMEDIATE", "beginning a change");
    if (err == LM_OK) {
        store->txn = true;
        store->live_session = 0;
        store->one_change = false;
        store->change_first = 0;
        store->broken.err = LM_OK;
    }
    return err;
}

void lm_store_one_change(struct lm_store *store)
{
    store->one_change = true;
    store->change_first = 0;
}

void lm_store_rollback(struct lm_store *store)
{
    if (store == NULL || !store->txn)
        return;
    /* SQLite rolls back by itself after some errors; then there is nothing left to end. */
    if (!sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    store->txn = false;
    store->broken.err = LM_OK;
    lm_store_bulk_forget(store);
    lm_store_bulk_done(store);
    forget(store);
}

enum lm_err lm_store_commit(struct lm_store *store)
{
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK)
        return err;
    if (!store->txn)
        return lm_problem_set(&store->problem, LM_EARG, NULL, "no transaction is open");
    if (store->broken.err != LM_OK) {
        store->problem = store->broken;
        err = store->broken.err;
    } else {
        err = lm_store_bulk_end(store);
        if (err == LM_OK && store->one_change)
            err = lm_store_part_renew(store);
        err = err ? err : lm_store_exec(store, "COMMIT", "keeping a change");
    }
    if (err != LM_OK) {
        lm_store_rollback(store);
        return err;
    }
    store->txn = false;
    store->live_session = 0;
    lm_store_bulk_done(store);
    return LM_OK;
}

static enum lm_err may_write(struct lm_store *s)
{
    if (s->mode == LM_STORE_READ)
        return lm_problem_set(&s->problem, LM_EIO, "open the register for writing",
            "the register is open for reading only");
    if (s->reading > 0)
        return lm_problem_set(
            &s->problem, LM_EARG, NULL, "a callback that reads the register may not write to it");
    if (s->broken.err != LM_OK && s->txn) {
        s->problem = s->broken;
        return s->broken.err;
    }
    return LM_OK;
}

/*
 * Begin the changes of one call.
 * save: it is more than one statement, so inside a caller's transaction a savepoint is wanted.
 */
enum lm_err lm_store_write_begin(struct lm_store *s, bool save, enum lm_scope *scope)
{
    *scope = LM_SCOPE_NONE;
    enum lm_err err = may_write(s);
    if (err != LM_OK)
        return err;
    if (!s->txn) {
        err = lm_store_begin(s);
        *scope = err == LM_OK ? LM_SCOPE_OWN : LM_SCOPE_NONE;
        return err;
    }
    if (!save)
        return LM_OK;
    sqlite3_stmt *st = lm_store_st(s, LM_ST_SAVE);
    err = st != NULL ? lm_store_run(s, st, "beginning a change") : s->problem.err;
    *scope = err == LM_OK ? LM_SCOPE_SAVED : LM_SCOPE_NONE;
    return err;
}

static void undo(struct lm_store *s, enum lm_scope scope)
{
    struct lm_problem first = s->problem; /* the failure, not what undoing it may say */
    if (scope == LM_SCOPE_OWN) {
        lm_store_rollback(s);
    } else if (scope == LM_SCOPE_SAVED && !sqlite3_get_autocommit(s->db)) {
        sqlite3_stmt *back = lm_store_st(s, LM_ST_UNSAVE);
        if (back == NULL || lm_store_run(s, back, "taking a change back") != LM_OK)
            s->broken = first;
        sqlite3_stmt *release = lm_store_st(s, LM_ST_RELEASE);
        if (release != NULL)
            lm_store_run(s, release, "taking a change back");
        forget(s);
    }
    s->problem = first;
}

/* End the changes of one call: kept when @p err is LM_OK, else undone as far as this call goes. */
enum lm_err lm_store_write_end(struct lm_store *s, enum lm_scope scope, enum lm_err err)
{
    if (err != LM_OK) {
        undo(s, scope);
        return err;
    }
    if (scope == LM_SCOPE_OWN)
        return lm_store_commit(s);
    if (scope == LM_SCOPE_SAVED) {
        sqlite3_stmt *st = lm_store_st(s, LM_ST_RELEASE);
        return st != NULL ? lm_store_run(s, st, "keeping a change") : s->problem.err;
    }
    return LM_OK;
}

/* One view of the file for several statements; nests, and joins a transaction. */
enum lm_err lm_store_read_begin(struct lm_store *s, bool *own)
{
    *own = false;
    end_left_over(s);
    if (sqlite3_get_autocommit(s->db)) {
        enum lm_err err = lm_store_exec(s, "BEGIN", "reading the register");
        if (err != LM_OK)
            return err;
        *own = true;
    }
    s->reading++;
    return LM_OK;
}

void lm_store_read_end(struct lm_store *s, bool own)
{
    s->reading--;
    if (own)
        sqlite3_exec(s->db, "COMMIT", NULL, NULL, NULL);
}
