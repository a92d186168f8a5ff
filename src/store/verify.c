#include "store/store_priv.h"
#include "store/sum_vfs.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define BACKUP_MEND "keep a copy of the file as it is, then go back to the last good backup"

void lm_verify_say(struct lm_verify *v, const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {0};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;
    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    snprintf(p.file, sizeof p.file, "%s", v->store->path);
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    v->found++;
    if (v->fn != NULL)
        v->fn(&p, v->ctx);
}

/* What SQLite can tell of the file itself: every row that is not "ok" is one fault. */
static enum lm_err check_file(struct lm_verify *v)
{
    sqlite3_stmt *st = lm_store_prepare(v->store, "PRAGMA integrity_check");
    if (st == NULL)
        return v->store->problem.err;
    int rc;
    while ((rc = sqlite3_step(st)) == SQLITE_ROW) {
        const char *text = (const char *) sqlite3_column_text(st, 0);
        if (text != NULL && strcmp(text, "ok") != 0)
            lm_verify_say(v, BACKUP_MEND, "the file is damaged: %s", text);
    }
    enum lm_err err = rc == SQLITE_DONE ? LM_OK : lm_store_fail(v->store, "checking the file");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err check_keys(struct lm_verify *v)
{
    sqlite3_stmt *st = lm_store_prepare(v->store, "PRAGMA foreign_key_check");
    if (st == NULL)
        return v->store->problem.err;
    int rc;
    while ((rc = sqlite3_step(st)) == SQLITE_ROW)
        lm_verify_say(v, BACKUP_MEND,
            "row %lld of table %s names a row of table %s that is not there",
            (long long) sqlite3_column_int64(st, 1), (const char *) sqlite3_column_text(st, 0),
            (const char *) sqlite3_column_text(st, 2));
    enum lm_err err = rc == SQLITE_DONE ? LM_OK : lm_store_fail(v->store, "checking the keys");
    sqlite3_finalize(st);
    return err;
}

/* After check_file(), which has read every page that matters. */
static enum lm_err check_sums(struct lm_verify *v)
{
    const struct lm_sum_seen *seen = lm_sum_seen(v->store->db);
    for (unsigned i = 0; seen != NULL && i < seen->bad && i < LM_SUM_BAD_MAX; i++)
        lm_verify_say(v, BACKUP_MEND,
            "page %u of the file does not agree with its checksum: the disk damaged it, or a "
            "program other than lugmark wrote it",
            (unsigned) seen->pages[i]);
    if (seen != NULL && seen->bad > LM_SUM_BAD_MAX)
        lm_verify_say(v, BACKUP_MEND, "and %u pages more do not agree with their checksums",
            seen->bad - LM_SUM_BAD_MAX);
    return LM_OK;
}

/* A check that cannot go on is a fault of the file too; the next one is still tried. */
static void run(struct lm_verify *v, enum lm_err (*check)(struct lm_verify *v))
{
    lm_store_fresh(v->store);
    if (check(v) == LM_OK)
        return;
    struct lm_problem p = v->store->problem;
    lm_verify_say(v, p.mend, "%s", p.what);
}

enum lm_err lm_store_verify(struct lm_store *store, lm_problem_fn *fn, void *ctx)
{
    struct lm_verify v = {.store = store, .fn = fn, .ctx = ctx};
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    run(&v, check_file);
    run(&v, check_sums);
    run(&v, lm_verify_wal);
    run(&v, check_keys);
    run(&v, lm_verify_animals);
    run(&v, lm_verify_devices);
    run(&v, lm_verify_images);
    run(&v, lm_verify_sessions);
    run(&v, lm_verify_stock);
    lm_store_read_end(store, own);
    if (v.found == 0)
        return LM_OK;
    return lm_problem_set(
        &store->problem, LM_EINPUT, BACKUP_MEND, "%lu faults were found in the register", v.found);
}
