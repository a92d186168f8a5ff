/* Who carries a code, a number or a chip: looked up in the indexes, not by reading everybody. */
#include "store/store_priv.h"

#include <stdlib.h>
#include <string.h>

/* Each line has an index of its own, but chips that were removed: those are read through, in the
 * table alone and only when nobody wears it. */
static const char worn_sql[] =
    "SELECT animal_id FROM device WHERE gone = 0 AND eid = ?1 "
    "UNION SELECT animal_id FROM device WHERE gone = 0 AND visual_fold = ?2 AND visual_fold <> '' "
    "UNION SELECT animal_id FROM device WHERE gone = 0 AND uid = ?3 AND uid <> '' "
    "ORDER BY animal_id";
static const char removed_sql[] =
    "SELECT animal_id FROM device WHERE gone = 1 AND eid = ?1 "
    "UNION SELECT animal_id FROM device WHERE gone = 1 AND visual_fold = ?2 AND visual_fold <> '' "
    "UNION SELECT animal_id FROM device WHERE gone = 1 AND uid = ?3 "
    "ORDER BY animal_id";

static void upper(const char *text, char out[LM_NAME_MAX + 1])
{
    size_t n = 0;
    for (; text[n] != '\0' && n < LM_NAME_MAX; n++)
        out[n] = text[n] >= 'a' && text[n] <= 'z' ? (char) (text[n] - 'a' + 'A') : text[n];
    out[text[n] == '\0' ? n : 0] = '\0'; /* longer than any chip's */
}

static enum lm_err walk(struct lm_store *s, sqlite3_stmt *st, lm_record_fn *fn, void *ctx)
{
    struct lm_record *rec = malloc(sizeof *rec);
    enum lm_err err = LM_OK;
    int rc = SQLITE_DONE;
    if (rec == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        err = lm_store_load(s, sqlite3_column_int64(st, 0), rec);
        if (err == LM_OK && !rec->struck)
            err = fn(rec, 0, ctx);
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(s, "looking for animals");
    free(rec);
    return err;
}

static enum lm_err look_up(
    struct lm_store *s, const struct lm_carried *what, lm_record_fn *fn, void *ctx)
{
    char uid[LM_NAME_MAX + 1];
    sqlite3_stmt *st = lm_store_prepare(s, what->removed ? removed_sql : worn_sql);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    if (what->eid.known == LM_EID_CODE || what->eid.known == LM_EID_FULL)
        lm_bind_int(&b, (int64_t) lm_eid_key(what->eid));
    else
        lm_bind_null(&b);
    upper(what->uid, uid);
    lm_bind_opt(&b, what->fold);
    lm_bind_opt(&b, uid);
    enum lm_err err = walk(s, st, fn, ctx);
    sqlite3_finalize(st);
    return err;
}

enum lm_err lm_store_carriers(
    struct lm_store *store, const struct lm_carried *what, lm_record_fn *fn, void *ctx)
{
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = look_up(store, what, fn, ctx);
    lm_store_read_end(store, own);
    return err;
}
