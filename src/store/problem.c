#include "store/store_priv.h"

#include <stdio.h>
#include <string.h>

/* What a result code of SQLite means to a person, and what to do about it. */
static const struct meaning {
    int rc;
    enum lm_err err;
    const char *what;
    const char *mend;
} meanings[] = {
    {SQLITE_FULL, LM_EFULL, "the disk is full; the change was not made",
        "free space on the disk that holds the register, then do it again"},
    {SQLITE_BUSY, LM_EBUSY, "another program is writing to the register",
        "try again in a moment, or end the program that holds it"},
    {SQLITE_LOCKED, LM_EBUSY, "the register is locked",
        "try again in a moment, or end the program that holds it"},
    {SQLITE_READONLY, LM_EIO, "the register may not be written to",
        "give yourself write permission on the file and its folder"},
    {SQLITE_CANTOPEN, LM_EIO, "the register or its journal beside it cannot be opened",
        "check the permissions of the file and of its folder; a register in use needs both"},
    {SQLITE_PERM, LM_EIO, "no permission", "check the permissions of the file and of its folder"},
    {SQLITE_AUTH, LM_EIO, "no permission", "check the permissions of the file and of its folder"},
    {SQLITE_IOERR, LM_EIO, "the disk refused",
        "check the disk and its cable, then do it again; keep a backup before going on"},
    {SQLITE_CONSTRAINT, LM_EEXISTS, "there is one already", "use another name or code"},
    {SQLITE_CORRUPT, LM_EINPUT, "the file is damaged",
        "keep a copy of it as it is, then go back to the last good backup"},
    {SQLITE_NOTADB, LM_EINPUT, "this file is not a register",
        "name a register file, or start one with `lugmark init`"},
    {SQLITE_NOMEM, LM_ENOMEM, "out of memory", "end other programs, then do it again"},
    {SQLITE_TOOBIG, LM_EARG, "a text is too long", "shorten it"},
};

static const struct meaning *meaning_of(int rc)
{
    for (size_t i = 0; i < sizeof meanings / sizeof meanings[0]; i++)
        if (meanings[i].rc == (rc & 0xff))
            return &meanings[i];
    return NULL;
}

enum lm_err lm_store_sql_problem(
    struct lm_problem *p, int rc, const char *detail, const char *path, const char *doing)
{
    const struct meaning *m = meaning_of(rc);
    if (p != NULL)
        snprintf(p->file, sizeof p->file, "%s", path);
    if (m == NULL)
        return lm_problem_set(p, LM_EIO, "run `lugmark verify`", "%s: %s", doing, detail);
    if (m->err == LM_EFULL || m->err == LM_EBUSY)
        return lm_problem_set(p, m->err, m->mend, "%s: %s", doing, m->what);
    return lm_problem_set(p, m->err, m->mend, "%s: %s (%s)", doing, m->what, detail);
}

/* After these nothing more of the transaction can be trusted to reach the disk. */
static bool breaks_transaction(enum lm_err err)
{
    return err == LM_EFULL || err == LM_EIO || err == LM_ENOMEM || err == LM_EINPUT;
}

enum lm_err lm_store_fail(struct lm_store *s, const char *doing)
{
    int rc = sqlite3_extended_errcode(s->db);
    enum lm_err err = lm_store_sql_problem(&s->problem, rc, sqlite3_errmsg(s->db), s->path, doing);
    bool gone = s->txn && sqlite3_get_autocommit(s->db);
    if (s->txn && s->broken.err == LM_OK && (gone || breaks_transaction(err)))
        s->broken = s->problem;
    return err;
}

enum lm_err lm_store_fresh(struct lm_store *s)
{
    if (s == NULL)
        return LM_EARG;
    s->problem.err = LM_OK;
    s->problem.line = s->problem.column = 0;
    s->problem.what[0] = s->problem.mend[0] = '\0';
    return LM_OK;
}

const struct lm_problem *lm_store_problem(const struct lm_store *store)
{
    static const struct lm_problem none = {
        .err = LM_EARG, .what = "no register is open", .mend = "open one first"};
    return store != NULL ? &store->problem : &none;
}
