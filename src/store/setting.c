#include "store/store_priv.h"

#include <string.h>

enum lm_err lm_store_setting(struct lm_store *store, const char *key, char *out, size_t size)
{
    if (size > 0)
        out[0] = '\0';
    enum lm_err err = lm_store_fresh(store);
    sqlite3_stmt *st = err == LM_OK ? lm_store_st(store, LM_ST_SETTING_GET) : NULL;
    if (st == NULL)
        return err ? err : store->problem.err;
    sqlite3_bind_text(st, 1, key, -1, SQLITE_STATIC);
    int rc = sqlite3_step(st);
    if (rc == SQLITE_ROW && size > 0) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, out, size);
    } else if (rc != SQLITE_ROW && rc != SQLITE_DONE) {
        err = lm_store_fail(store, "reading a setting");
    }
    if (sqlite3_reset(st) != SQLITE_OK && err == LM_OK)
        err = lm_store_fail(store, "reading a setting");
    return err;
}

enum lm_err lm_store_set(struct lm_store *store, const char *key, const char *value)
{
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK)
        return err;
    size_t len = strlen(value);
    if (key[0] == '\0' || (len > 0 && !lm_text_clean(value, len)))
        return lm_problem_set(&store->problem, LM_EARG, "write it in one line of plain text",
            "the setting %s has unclean text", key);
    err = lm_store_write_begin(store, false, &scope);
    if (err != LM_OK)
        return err;
    sqlite3_stmt *st = lm_store_st(store, LM_ST_SETTING_SET);
    if (st != NULL) {
        struct lm_bind b = {st, 0};
        lm_bind_text(&b, key);
        lm_bind_text(&b, value);
        err = lm_store_run(store, st, "writing a setting");
    } else {
        err = store->problem.err;
    }
    return lm_store_write_end(store, scope, err);
}
