/* What SQLite cannot know: columns that must agree, text that must be clean, events in step. */
#include "store/store_priv.h"

#include "lugmark/eventline.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

#define ROW_MEND "write the animal again with `lugmark edit`, or go back to a backup"

typedef void row_fn(struct lm_verify *v, sqlite3_stmt *st);

static enum lm_err each_row(struct lm_verify *v, const char *sql, row_fn *row)
{
    sqlite3_stmt *st = lm_store_prepare(v->store, sql);
    if (st == NULL)
        return v->store->problem.err;
    int rc;
    while ((rc = sqlite3_step(st)) == SQLITE_ROW)
        row(v, st);
    enum lm_err err = rc == SQLITE_DONE ? LM_OK : lm_store_fail(v->store, "checking the rows");
    sqlite3_finalize(st);
    return err;
}

/* Text of a column, for showing in a message too. */
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

static bool date_ok(sqlite3_stmt *st, int i)
{
    struct lm_date date;
    const char *text = column(st, i);
    return lm_date_parse(text, (size_t) sqlite3_column_bytes(st, i), &date) == LM_OK;
}

static void animal_row(struct lm_verify *v, sqlite3_stmt *st)
{
    long long row = sqlite3_column_int64(st, 0);
    bool ok = true;
    for (int i = 1; i <= 6; i++)
        ok = ok && clean(st, i, LM_NAME_MAX);
    if (!ok)
        lm_verify_say(v, ROW_MEND, "animal row %lld has unclean or overlong text", row);
    if (!date_ok(st, 7) || !date_ok(st, 8))
        lm_verify_say(v, ROW_MEND, "animal %s has a date that is none", column(st, 1));
}

enum lm_err lm_verify_animals(struct lm_verify *v)
{
    return each_row(v, "SELECT " LM_SQL_ANIMAL, animal_row);
}

/* Columns: id, eid, bits, known, retag, visual, visual_fold, colour, uid, why, two dates. */
static void device_row(struct lm_verify *v, sqlite3_stmt *st)
{
    long long row = sqlite3_column_int64(st, 0);
    char visual[LM_VISUAL_MAX + 1], fold[LM_VISUAL_MAX + 1];
    struct lm_eid eid = {
        (uint64_t) sqlite3_column_int64(st, 2), (uint8_t) sqlite3_column_int(st, 3)};
    bool none = sqlite3_column_type(st, 1) == SQLITE_NULL;
    if (none != (lm_eid_key(eid) == 0) || none != (eid.known == LM_EID_NONE) ||
        (!none && (uint64_t) sqlite3_column_int64(st, 1) != lm_eid_key(eid)) ||
        (unsigned) sqlite3_column_int(st, 4) != lm_eid_retag(eid))
        lm_verify_say(
            v, ROW_MEND, "device row %lld: its code and the columns beside it differ", row);
    if (!clean(st, 5, LM_VISUAL_MAX) || !clean(st, 7, LM_NAME_MAX) || !clean(st, 8, 23) ||
        !clean(st, 9, LM_NAME_MAX)) {
        lm_verify_say(v, ROW_MEND, "device row %lld has unclean or overlong text", row);
        return;
    }
    snprintf(visual, sizeof visual, "%s", column(st, 5));
    lm_visual_fold(visual, fold);
    if (strcmp(fold, column(st, 6)) != 0)
        lm_verify_say(v, ROW_MEND,
            "device row %lld: its number %s and the column it is found by differ", row, visual);
    if (!date_ok(st, 10) || !date_ok(st, 11))
        lm_verify_say(v, ROW_MEND, "device row %lld has a date that is none", row);
}

static void crowded_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup", "animal row %lld has %lld devices, more than %u",
        (long long) sqlite3_column_int64(st, 0), (long long) sqlite3_column_int64(st, 1),
        LM_DEVICES_MAX);
}

static void link_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup",
        "device row %lld was put on for a device that its animal never had",
        (long long) sqlite3_column_int64(st, 0));
}

static void struck_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup",
        "animal %s counts no more, but devices are entered on it", column(st, 0));
}

/* What several rows say together. */
static enum lm_err between_rows(struct lm_verify *v)
{
    enum lm_err err = each_row(v,
        "SELECT d.id FROM device d LEFT JOIN device o ON o.id = d.replaces "
        "WHERE d.replaces IS NOT NULL AND o.animal_id IS NOT d.animal_id",
        link_row);
    return err ? err
               : each_row(v,
                     "SELECT key FROM animal a WHERE struck = 1 "
                     "AND EXISTS (SELECT 1 FROM device d WHERE d.animal_id = a.id)",
                     struck_row);
}

enum lm_err lm_verify_devices(struct lm_verify *v)
{
    enum lm_err err = each_row(v,
        "SELECT id, eid, bits, known, retag, visual, visual_fold, colour, uid, why, applied, "
        "removed FROM device",
        device_row);
    err = err ? err : between_rows(v);
    return err ? err
               : each_row(v,
                     "SELECT animal_id, count(*) FROM device GROUP BY animal_id "
                     "HAVING count(*) > 48",
                     crowded_row);
}

/* Columns: seq, body, key of the animal. */
static void image_row(struct lm_verify *v, sqlite3_stmt *st)
{
    struct lm_record rec;
    long long seq = sqlite3_column_int64(st, 0);
    const char *body = column(st, 1);
    struct lm_problem p = {0};
    if (lm_record_from_json(body, (size_t) sqlite3_column_bytes(st, 1), &rec, &p) != LM_OK)
        lm_verify_say(v, "go back to a backup", "event %lld: the entry it keeps cannot be read: %s",
            seq, p.what);
    else if (strcmp(rec.key, column(st, 2)) != 0)
        lm_verify_say(v, "go back to a backup",
            "event %lld keeps an entry of animal %s but belongs to %s", seq, rec.key,
            column(st, 2));
}

static void gap_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup",
        "animal %s: its first entry in the journal, event %lld, is not the one that added it",
        column(st, 1), (long long) sqlite3_column_int64(st, 0));
}

static void unborn_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(
        v, "go back to a backup", "animal %s: no event of the journal added it", column(st, 0));
}

enum lm_err lm_verify_images(struct lm_verify *v)
{
    enum lm_err err = each_row(v,
        "SELECT e.seq, e.body, a.key FROM event e JOIN animal a ON a.id = e.animal_id "
        "WHERE e.kind = 6 AND e.body IS NOT NULL",
        image_row);
    /* Exactly the first change of an animal found none before it. */
    err = err ? err
              : each_row(v,
                    "SELECT e.seq, a.key FROM event e JOIN animal a ON a.id = e.animal_id "
                    "WHERE (e.body IS NULL) <> (e.seq = (SELECT min(f.seq) FROM event f "
                    "WHERE f.animal_id = e.animal_id))",
                    gap_row);
    return err ? err
               : each_row(v,
                     "SELECT a.key FROM animal a WHERE NOT EXISTS "
                     "(SELECT 1 FROM event e WHERE e.animal_id = a.id)",
                     unborn_row);
}

static void session_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup",
        "session %s: its opening or closing and the journal disagree", column(st, 0));
}

static void stray_row(struct lm_verify *v, sqlite3_stmt *st)
{
    lm_verify_say(v, "go back to a backup", "event %lld lies outside of its session",
        (long long) sqlite3_column_int64(st, 0));
}

static void lot_row(struct lm_verify *v, sqlite3_stmt *st)
{
    json_t *body = json_loads(column(st, 1), 0, NULL);
    const json_t *keys = json_object_get(body, "keys");
    if (!json_is_object(body) || (keys != NULL && !json_is_array(keys)))
        lm_verify_say(v, "go back to a backup", "event %lld: the lot it keeps cannot be read",
            (long long) sqlite3_column_int64(st, 0));
    json_decref(body);
}

enum lm_err lm_verify_sessions(struct lm_verify *v)
{
    enum lm_err err = each_row(v,
        "SELECT s.id FROM session s WHERE NOT EXISTS (SELECT 1 FROM event e "
        "WHERE e.seq = s.open_seq AND e.kind = 4 AND e.session_id = s.id) "
        "OR (s.close_seq IS NOT NULL AND NOT EXISTS (SELECT 1 FROM event e "
        "WHERE e.seq = s.close_seq AND e.kind = 5 AND e.session_id = s.id)) "
        "OR s.close_seq <= s.open_seq "
        "OR (s.close_seq IS NULL AND s.closed_ms IS NOT NULL)",
        session_row);
    err = err ? err
              : each_row(v,
                    "SELECT e.seq FROM event e JOIN session s ON s.id = e.session_id "
                    "WHERE e.seq < s.open_seq OR e.seq > s.close_seq "
                    "OR (e.kind = 4 AND e.seq <> s.open_seq) "
                    "OR (e.kind = 5 AND e.seq <> ifnull(s.close_seq, 0))",
                    stray_row);
    return err ? err
               : each_row(
                     v, "SELECT seq, body FROM event WHERE kind = 4 AND body IS NOT NULL", lot_row);
}
