/* What must hold of the stock, and of where events came from. */
#include "store/store_priv.h"

#include <stdio.h>
#include <string.h>

#define STOCK_MEND "keep a copy of the file as it is, then go back to the last good backup"

static const char *column(sqlite3_stmt *st, int i)
{
    const char *text = (const char *) sqlite3_column_text(st, i);
    return text != NULL ? text : "";
}

static bool clean(sqlite3_stmt *st, int i, size_t max)
{
    const char *text = column(st, i);
    size_t len = (size_t) sqlite3_column_bytes(st, i);
    return len == 0 || (len <= max && lm_text_clean(text, len));
}

/* Columns: id, strip, position, eid, bits, known, visual, visual_fold, colour, received. */
static void stock_row(struct lm_verify *v, sqlite3_stmt *st)
{
    long long row = sqlite3_column_int64(st, 0);
    char visual[LM_VISUAL_MAX + 1], fold[LM_VISUAL_MAX + 1];
    struct lm_date date;
    struct lm_eid eid = {
        (uint64_t) sqlite3_column_int64(st, 4), (uint8_t) sqlite3_column_int(st, 5)};
    bool none = sqlite3_column_type(st, 3) == SQLITE_NULL;
    if (none != (lm_eid_key(eid) == 0) || none != (eid.known == LM_EID_NONE) ||
        (!none && (uint64_t) sqlite3_column_int64(st, 3) != lm_eid_key(eid)))
        lm_verify_say(
            v, STOCK_MEND, "stock row %lld: its code and the column it is found by differ", row);
    if (!clean(st, 1, LM_NAME_MAX) || !clean(st, 6, LM_VISUAL_MAX) || !clean(st, 8, LM_NAME_MAX)) {
        lm_verify_say(v, STOCK_MEND, "stock row %lld has unclean or overlong text", row);
        return;
    }
    snprintf(visual, sizeof visual, "%s", column(st, 6));
    lm_visual_fold(visual, fold);
    if (strcmp(fold, column(st, 7)) != 0)
        lm_verify_say(v, STOCK_MEND,
            "stock row %lld: its number %s and the column it is found by differ", row, visual);
    if (lm_date_parse(column(st, 9), (size_t) sqlite3_column_bytes(st, 9), &date) != LM_OK)
        lm_verify_say(v, STOCK_MEND, "stock row %lld has a date that is none", row);
}

static void gap_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, STOCK_MEND,
        "strip %s: its positions have a gap: %lld devices from %lld to %lld",
        clean(st, 0, LM_NAME_MAX) ? column(st, 0) : "?", (long long) sqlite3_column_int64(st, 1),
        (long long) sqlite3_column_int64(st, 2), (long long) sqlite3_column_int64(st, 3));
}

static void copy_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, STOCK_MEND, "event %lld: where it came from is only half known",
        (long long) sqlite3_column_int64(st, 0));
}

static void identity_row(struct lm_verify *v, sqlite3_stmt *st)
{
    if (sqlite3_column_int64(st, 0) != 2)
        lm_verify_say(v, STOCK_MEND, "the identity of the register or of this copy is missing");
}

enum lm_err lm_verify_stock(struct lm_verify *v)
{
    static const struct {
        const char *sql;
        void (*row)(struct lm_verify *v, sqlite3_stmt *st);
    } checks[] = {
        {"SELECT id, strip, position, eid, bits, known, visual, visual_fold, colour, received "
         "FROM stock",
            stock_row},
        {"SELECT strip, count(*), min(position), max(position) FROM stock GROUP BY strip "
         "HAVING count(*) <> max(position) - min(position) + 1",
            gap_row},
        {"SELECT seq FROM event WHERE (copy_id IS NULL) <> (copy_seq IS NULL)", copy_row},
        {"SELECT count(*) FROM setting WHERE key IN ('id.register', 'id.copy') "
         "AND length(value) = 32 AND value NOT GLOB '*[^0-9a-f]*'",
            identity_row},
    };
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < sizeof checks / sizeof checks[0] && err == LM_OK; i++) {
        sqlite3_stmt *st = lm_store_prepare(v->store, checks[i].sql);
        int rc;
        if (st == NULL)
            return v->store->problem.err;
        while ((rc = sqlite3_step(st)) == SQLITE_ROW)
            checks[i].row(v, st);
        if (rc != SQLITE_DONE)
            err = lm_store_fail(v->store, "checking the stock");
        sqlite3_finalize(st);
    }
    return err;
}
