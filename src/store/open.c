#include "store/store_priv.h"
#include "store/sum_vfs.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Make the folders above a path that are missing, for nobody else to read. */
static int make_parents(const char *path)
{
    char part[4096];
    if ((size_t) snprintf(part, sizeof part, "%s", path) >= sizeof part) {
        errno = ENAMETOOLONG;
        return -1;
    }
    for (char *slash = strchr(part + 1, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        if (mkdir(part, 0700) != 0 && errno != EEXIST && errno != EISDIR)
            return -1;
        *slash = '/';
    }
    return 0;
}

static enum lm_err file_problem(struct lm_problem *p, const char *path, const char *doing)
{
    int e = errno;
    enum lm_err err = e == ENOSPC || e == EDQUOT ? LM_EFULL : LM_EIO;
    snprintf(p->file, sizeof p->file, "%s", path);
    return lm_problem_set(
        p, err, "check the folder, its permissions and the disk", "%s: %s", doing, strerror(e));
}

/* Made by us, not by SQLite, so that at no moment anybody else may read it. */
static enum lm_err create_file(const char *path, struct lm_problem *p)
{
    if (make_parents(path) != 0)
        return file_problem(p, path, "making the folder for the register");
    int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0 && errno != EEXIST)
        return file_problem(p, path, "making the register");
    if (fd >= 0)
        close(fd);
    return LM_OK;
}

static enum lm_err want_file(const char *path, enum lm_store_mode mode, struct lm_problem *p)
{
    struct stat sb;
    if (stat(path, &sb) == 0) {
        if (S_ISREG(sb.st_mode))
            return LM_OK;
        return lm_problem_set(p, LM_EINPUT, "name a register file", "not a file");
    }
    if (errno != ENOENT && errno != ENOTDIR)
        return file_problem(p, path, "looking for the register");
    if (mode != LM_STORE_CREATE)
        return lm_problem_set(p, LM_ENOTFOUND,
            "start one with `lugmark init`, or name another with --db",
            "there is no register here");
    return create_file(path, p);
}

char *lm_store_db_path(const char *path)
{
    size_t size = strlen(path) + 3;
    char *out = malloc(size);
    if (out != NULL)
        snprintf(out, size, "%s%s", path[0] == '/' ? "" : "./", path);
    return out;
}

static enum lm_err connect_file(struct lm_store *s, const char *path)
{
    int flags = s->mode == LM_STORE_READ ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE;
    char *full = lm_store_db_path(path);
    if (full == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    /* Nobody asks SQLite how much memory it uses: counting it takes a lock at each allocation.
     * Refused once a register was opened, which does no harm. */
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    const char *vfs = lm_sum_vfs();
    int rc = vfs == NULL ? SQLITE_NOMEM
                         : sqlite3_open_v2(full, &s->db,
                               flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE, vfs);
    free(full);
    if (s->db == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    if (rc != SQLITE_OK)
        return lm_store_fail(s, "opening the register");
    sqlite3_busy_timeout(s->db, LM_STORE_BUSY_MS);
    if (s->mode != LM_STORE_READ && sqlite3_db_readonly(s->db, "main"))
        return lm_problem_set(&s->problem, LM_EIO, "give yourself write permission on the file",
            "the register may not be written to");
    sqlite3_db_config(s->db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(s->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    return LM_OK;
}

/* Set only once the file is known to be ours: WAL is written into the file itself. */
static enum lm_err configure(struct lm_store *s)
{
    enum lm_err err = lm_store_exec(s,
        "PRAGMA foreign_keys = ON; PRAGMA temp_store = MEMORY; PRAGMA cache_size = -16384;"
        "PRAGMA recursive_triggers = OFF;",
        "opening the register");
    if (err != LM_OK || s->mode == LM_STORE_READ)
        return err;
    /* EXTRA is FULL, and where a roll-back journal is used it syncs the folder after taking that
     * away: else a power cut may bring it back, and with it the register as it was before. */
    return lm_store_exec(s,
        "PRAGMA synchronous = EXTRA; PRAGMA journal_mode = WAL;"
        "PRAGMA journal_size_limit = 16777216;",
        "opening the register");
}

/* The file as it was, beside it: PATH.v1.bak, or PATH.v1.2.bak when that is taken. */
static enum lm_err keep_copy(struct lm_store *s, const char *path, int version)
{
    size_t size = strlen(path) + 32;
    char *copy = malloc(size);
    enum lm_err err = LM_EEXISTS;
    if (copy == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    for (int n = 1; n < 100 && err == LM_EEXISTS; n++) {
        if (n == 1)
            snprintf(copy, size, "%s.v%d.bak", path, version);
        else
            snprintf(copy, size, "%s.v%d.%d.bak", path, version, n);
        err = lm_store_copy(s, copy, &s->problem);
    }
    free(copy);
    return err;
}

static enum lm_err bring_forward(
    struct lm_store *s, const char *path, const struct lm_schema *schema)
{
    int version = 0;
    enum lm_err err = lm_store_schema_check(s, schema, &version);
    if (err != LM_OK)
        return err;
    if (version == 0 && s->mode != LM_STORE_CREATE)
        return lm_problem_set(&s->problem, LM_EINPUT, "start a register with `lugmark init`",
            "an empty file, not a register");
    if (version < schema->n && s->mode == LM_STORE_READ)
        return lm_problem_set(&s->problem, LM_EINPUT,
            "open it once for writing, for example with `lugmark init`: it is brought forward then",
            "written by an older version of lugmark (tables %d, this one wants %d)", version,
            schema->n);
    if (version == 0)
        lm_sum_wanted(s->db);
    err = configure(s);
    if (err == LM_OK && version > 0 && version < schema->n)
        err = keep_copy(s, path, version);
    if (err == LM_OK && version < schema->n)
        err = lm_store_schema_apply(s, schema);
    return err;
}

enum lm_err lm_store_open_schema(const char *path, enum lm_store_mode mode,
    const struct lm_schema *schema, struct lm_store **store, struct lm_problem *p)
{
    struct lm_problem local = {0};
    p = p != NULL ? p : &local;
    memset(p, 0, sizeof *p);
    *store = NULL;
    if (path == NULL || path[0] == '\0')
        return lm_problem_set(p, LM_EARG, "name a file", "no register was named");
    snprintf(p->file, sizeof p->file, "%s", path);
    struct lm_store *s = calloc(1, sizeof *s);
    if (s == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    s->mode = mode;
    snprintf(s->path, sizeof s->path, "%s", path);
    snprintf(s->problem.file, sizeof s->problem.file, "%s", path);
    enum lm_err err = want_file(path, mode, &s->problem);
    err = err ? err : connect_file(s, path);
    err = err ? err : bring_forward(s, path, schema);
    if (err != LM_OK) {
        *p = s->problem;
        lm_store_close(s);
        return err;
    }
    lm_store_changed(s); /* what is there now is not news */
    *store = s;
    return LM_OK;
}

enum lm_err lm_store_open(
    const char *path, enum lm_store_mode mode, struct lm_store **store, struct lm_problem *p)
{
    return lm_store_open_schema(path, mode, &lm_store_schema, store, p);
}

void lm_store_cache(struct lm_store *store, unsigned kib)
{
    char sql[64];
    snprintf(sql, sizeof sql, "PRAGMA cache_size = -%u", kib);
    /* If it cannot be, more memory is used: nothing that a caller would act on. */
    (void) lm_store_exec(store, sql, "setting the cache");
    sqlite3_db_release_memory(store->db);
}

void lm_store_close(struct lm_store *store)
{
    if (store == NULL)
        return;
    for (int i = 0; i < LM_ST_COUNT; i++)
        sqlite3_finalize(store->st[i]);
    sqlite3_close_v2(store->db);
    lm_store_bulk_forget(store);
    free(store);
}
