/* Whether the file that is open is still the one that its name leads to. What is written into a
 * file that somebody has removed is gone with the last program that has it open. */
#include "store/store_priv.h"

#include <stdio.h>
#include <sys/stat.h>

#define RESCUES 100

/* Remembers what it sees first. false: it is not there any more, or another one is. */
static bool same_file(const char *path, struct lm_store_file *known)
{
    struct stat sb;
    bool there = path != NULL && stat(path, &sb) == 0;
    if (there && known->ino == 0)
        *known = (struct lm_store_file){sb.st_dev, sb.st_ino};
    return known->ino == 0 || (there && sb.st_dev == known->dev && sb.st_ino == known->ino);
}

enum lm_err lm_store_there(struct lm_store *store)
{
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK)
        return err;
    const char *path = sqlite3_db_filename(store->db, "main");
    bool file = same_file(path, &store->file);
    bool wal = same_file(sqlite3_filename_wal(path), &store->wal);
    if (file && wal)
        return LM_OK;
    return lm_problem_set(&store->problem, LM_EGONE, "put it back where it was",
        "%s was removed or replaced while it is in use",
        file ? "the file beside the register whose name ends in -wal" : "the register's file");
}

enum lm_err lm_store_rescue(struct lm_store *store, char *path, size_t size)
{
    enum lm_err err = lm_store_fresh(store);
    const char *name = err == LM_OK ? sqlite3_db_filename(store->db, "main") : NULL;
    struct lm_problem p = {0};
    err = err ? err : LM_EEXISTS;
    for (int n = 1; n < RESCUES && err == LM_EEXISTS; n++) {
        int len = n == 1 ? snprintf(path, size, "%s.rescued", name)
                         : snprintf(path, size, "%s.rescued.%d", name, n);
        if (len < 0 || (size_t) len >= size)
            return LM_EARG;
        err = lm_store_copy(store, path, &p);
    }
    if (err != LM_OK)
        store->problem = p;
    return err;
}
