#include "store/store_priv.h"
#include "store/sum_vfs.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PATIENCE_MS 50

static enum lm_err say_errno(struct lm_problem *p, const char *doing)
{
    int e = errno;
    if (e == EEXIST)
        return lm_problem_set(p, LM_EEXISTS, "name another file, or move this one away",
            "there is a file already; a copy never overwrites one");
    return lm_problem_set(p, e == ENOSPC || e == EDQUOT ? LM_EFULL : LM_EIO,
        "check the folder, its permissions and the disk", "%s: %s", doing, strerror(e));
}

static enum lm_err copy_pages(
    struct lm_store *s, sqlite3 *to, const char *path, struct lm_problem *p)
{
    sqlite3_backup *copy = sqlite3_backup_init(to, "main", s->db, "main");
    int rc = sqlite3_errcode(to);
    if (copy != NULL) {
        int waited = 0;
        /* One step: a single view of the register, however busy its writers are. */
        while (((rc = sqlite3_backup_step(copy, -1)) == SQLITE_BUSY || rc == SQLITE_LOCKED) &&
               waited < LM_STORE_BUSY_MS)
            waited += sqlite3_sleep(PATIENCE_MS);
        int end = sqlite3_backup_finish(copy);
        rc = rc == SQLITE_DONE ? end : rc;
    }
    return rc == SQLITE_OK
               ? LM_OK
               : lm_store_sql_problem(p, rc, sqlite3_errstr(rc), path, "copying the register");
}

/* WAL is written into the file; a copy must be whole by itself, also on a read-only disk. */
static enum lm_err make_single(sqlite3 *db, const char *path, struct lm_problem *p)
{
    int rc = sqlite3_exec(db, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL);
    return rc == SQLITE_OK
               ? LM_OK
               : lm_store_sql_problem(p, rc, sqlite3_errmsg(db), path, "copying the register");
}

static enum lm_err check_copy(sqlite3 *db, const char *path, struct lm_problem *p)
{
    sqlite3_stmt *st = NULL;
    enum lm_err err = LM_OK;
    int rc = sqlite3_prepare_v2(db, "PRAGMA integrity_check(1)", -1, &st, NULL);
    rc = rc == SQLITE_OK ? sqlite3_step(st) : rc;
    const char *text = rc == SQLITE_ROW ? (const char *) sqlite3_column_text(st, 0) : NULL;
    if (rc != SQLITE_ROW)
        err = lm_store_sql_problem(p, rc, sqlite3_errmsg(db), path, "checking the copy");
    else if (text == NULL || strcmp(text, "ok") != 0)
        err = lm_problem_set(p, LM_EINPUT,
            "run `lugmark verify` on the register; if it is sound, check the disk of the copy",
            "the copy is damaged: %s", text != NULL ? text : "no answer");
    sqlite3_finalize(st);
    return err;
}

/* The name of the new file must reach the disk as well as its pages. */
static enum lm_err sync_folder(const char *path, struct lm_problem *p)
{
    char *own = strdup(path);
    if (own == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    int fd = open(dirname(own), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    free(own);
    if (fd < 0)
        return say_errno(p, "opening the folder of the copy");
    int bad = fsync(fd) != 0 && errno != EINVAL;
    enum lm_err err = bad ? say_errno(p, "writing the folder of the copy") : LM_OK;
    close(fd);
    return err;
}

static enum lm_err fill(struct lm_store *s, const char *path, struct lm_problem *p)
{
    sqlite3 *to = NULL;
    char *full = lm_store_db_path(path);
    if (full == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    int rc = sqlite3_open_v2(full, &to, SQLITE_OPEN_READWRITE, lm_sum_vfs());
    free(full);
    enum lm_err err = LM_OK;
    if (rc != SQLITE_OK)
        err = lm_store_sql_problem(p, rc, sqlite3_errstr(rc), path, "opening the copy");
    err = err ? err : copy_pages(s, to, path, p);
    err = err ? err : make_single(to, path, p);
    err = err ? err : check_copy(to, path, p);
    sqlite3_close(to);
    return err ? err : sync_folder(path, p);
}

enum lm_err lm_store_copy(struct lm_store *s, const char *path, struct lm_problem *p)
{
    snprintf(p->file, sizeof p->file, "%s", path);
    int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0)
        return say_errno(p, "making the copy");
    close(fd);
    enum lm_err err = fill(s, path, p);
    if (err != LM_OK)
        unlink(path); /* half a copy would be taken for a backup one day */
    return err;
}

enum lm_err lm_store_backup(struct lm_store *store, const char *path, struct lm_problem *p)
{
    struct lm_problem local = {0};
    p = p != NULL ? p : &local;
    memset(p, 0, sizeof *p);
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK || path == NULL || path[0] == '\0')
        return lm_problem_set(p, LM_EARG, "name a file", "no file was named for the copy");
    if (store->txn)
        return lm_problem_set(
            p, LM_EBUSY, "end the change first", "a change of this register is not finished");
    err = lm_store_copy(store, path, p);
    if (err != LM_OK)
        store->problem = *p;
    return err;
}
