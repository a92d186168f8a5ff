#include "store/store_priv.h"

#include <string.h>

/* Readings without doubt, of one session: for each its time, clock, lane, reader and code. */
#define FOUR_OF(row) row "," row "," row "," row
#define READING "(?1,0,?,?,?,?,?,?)"
#define READINGS_8 FOUR_OF(READING) "," FOUR_OF(READING)
/* All of one turn of a reader: for each only its code. */
#define TURN "(?1,0,?2,?3,?4,?5,?,?)"
#define TURN_16 FOUR_OF(FOUR_OF(TURN))
#define READINGS_ADD                                                                               \
    "INSERT INTO event(session_id, kind, t_ms, clock_ms, lane, reader, bits, known) VALUES"

static const char *const sql[LM_ST_COUNT] = {
    [LM_ST_SAVE] = "SAVEPOINT one_call",
    [LM_ST_RELEASE] = "RELEASE one_call",
    [LM_ST_UNSAVE] = "ROLLBACK TO one_call",
    [LM_ST_DATA_VERSION] = "PRAGMA data_version",
    [LM_ST_SETTING_GET] = "SELECT value FROM setting WHERE key = ?1",
    [LM_ST_SETTING_SET] = "INSERT INTO setting(key, value) VALUES(?1, ?2) "
                          "ON CONFLICT(key) DO UPDATE SET value = excluded.value",
    [LM_ST_MOB_GET] = "SELECT id FROM mob WHERE name = ?1",
    [LM_ST_MOB_ADD] = "INSERT INTO mob(name) VALUES(?1)",
    [LM_ST_ANIMAL_ROW] = "SELECT id FROM animal WHERE key = ?1",
    [LM_ST_ANIMAL_GET] = "SELECT " LM_SQL_ANIMAL " WHERE a.id = ?1",
    [LM_ST_ANIMAL_ADD] = "INSERT INTO animal(species, breed, dam, sire, born, status_date, sex, "
                         "castrated, status, mob_id, struck, merged_into, key) "
                         "VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?)",
    [LM_ST_ANIMAL_SET] = "UPDATE animal SET species=?, breed=?, dam=?, sire=?, born=?, "
                         "status_date=?, sex=?, castrated=?, status=?, mob_id=?, struck=?, "
                         "merged_into=? WHERE id=?",
    [LM_ST_DEVICES_GET] = "SELECT " LM_SQL_DEVICE " WHERE animal_id = ?1 ORDER BY id",
    [LM_ST_DEVICE_ADD] = "INSERT INTO device(eid, bits, known, retag, visual, visual_fold, "
                         "colour, uid, why, applied, removed, form, place, official, gone, "
                         "animal_id, id) VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
    [LM_ST_DEVICES_UNADD] = "DELETE FROM device WHERE animal_id = ?1",
    [LM_ST_ANIMAL_UNADD] = "DELETE FROM animal WHERE id = ?1",
    /* A parked device claims no code, so that devices of one change may trade theirs. */
    [LM_ST_DEVICE_PARK] = "UPDATE device SET eid = NULL, uid = '' WHERE id = ?1",
    [LM_ST_DEVICE_SET] = "UPDATE device SET eid=?, bits=?, known=?, retag=?, visual=?, "
                         "visual_fold=?, colour=?, uid=?, why=?, applied=?, removed=?, form=?, "
                         "place=?, official=?, gone=? WHERE id=?",
    [LM_ST_DEVICE_LINK] = "UPDATE device SET replaces = ?1 WHERE id = ?2",
    [LM_ST_WEARER] = "SELECT a.key, 0 FROM device d JOIN animal a ON a.id = d.animal_id "
                     "WHERE d.eid = ?1 AND d.retag = ?2 AND d.gone = 0 UNION ALL "
                     "SELECT a.key, 1 FROM device d JOIN animal a ON a.id = d.animal_id "
                     "WHERE d.uid = ?3 AND d.uid <> '' AND d.gone = 0 LIMIT 1",
    [LM_ST_EVENT_ADD] = "INSERT INTO event(session_id, kind, t_ms, clock_ms, lane, reader, bits, "
                        "known, doubt, text, cut, heads, body, token) "
                        "VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
    [LM_ST_READINGS_8] = READINGS_ADD READINGS_8,
    [LM_ST_TURN_16] = READINGS_ADD TURN_16,
    [LM_ST_TURN_64] = READINGS_ADD FOUR_OF(TURN_16),
    [LM_ST_CHANGE_ADD] = "INSERT INTO event(session_id, kind, t_ms, clock_ms, animal_id, body, "
                         "why, token, part_of, undoes) VALUES(?,6,?,?,?,?,?,?,?,?)",
    [LM_ST_TOKEN] = "SELECT seq, session_id FROM event WHERE token = ?1",
    [LM_ST_NEXT_IMAGE] = "SELECT seq, body FROM event WHERE animal_id = ?1 AND seq > ?2 "
                         "ORDER BY seq LIMIT 1",
    [LM_ST_LAST_SEQ] = "SELECT max(seq) FROM event",
    [LM_ST_SESSION_ADD] = "INSERT INTO session(name, kind, mob, lot, count, who, opened_ms, "
                          "open_seq) VALUES(?,?,?,?,?,?,?, "
                          "(SELECT coalesce(max(seq), 0) + 1 FROM event)) RETURNING id, open_seq",
    [LM_ST_SESSION_CLOSE] = "UPDATE session SET closed_ms = ?1, close_seq = ?2 WHERE id = ?3",
    [LM_ST_SESSION_OPEN] = "SELECT " LM_SQL_SESSION " WHERE close_seq IS NULL",
    [LM_ST_SESSION_GET] = "SELECT " LM_SQL_SESSION " WHERE id = ?1",
    /* The latest change that was neither taken back nor is itself a taking back. */
    [LM_ST_LAST_CHANGE] = "SELECT coalesce(e.part_of, e.seq) FROM event e WHERE e.kind = 6 "
                          "AND e.undoes IS NULL AND NOT EXISTS "
                          "(SELECT 1 FROM event u WHERE u.undoes = e.seq) "
                          "ORDER BY e.seq DESC LIMIT 1",
    [LM_ST_CHANGE_PARTS] = "SELECT seq, animal_id, t_ms, why FROM event WHERE seq = ?1 "
                           "UNION ALL SELECT seq, animal_id, t_ms, why FROM event "
                           "WHERE part_of = ?1 ORDER BY seq",
    [LM_ST_SESSION_LAST] = "SELECT " LM_SQL_SESSION " ORDER BY id DESC LIMIT 1",
};

sqlite3_stmt *lm_store_st(struct lm_store *s, enum lm_st which)
{
    sqlite3_stmt **st = &s->st[which];
    if (*st == NULL) {
        if (sqlite3_prepare_v3(s->db, sql[which], -1, SQLITE_PREPARE_PERSISTENT, st, NULL) !=
            SQLITE_OK) {
            lm_store_fail(s, "preparing a statement");
            return NULL;
        }
        return *st;
    }
    sqlite3_reset(*st);
    sqlite3_clear_bindings(*st);
    return *st;
}

sqlite3_stmt *lm_store_prepare(struct lm_store *s, const char *text)
{
    sqlite3_stmt *st = NULL;
    if (sqlite3_prepare_v2(s->db, text, -1, &st, NULL) != SQLITE_OK) {
        lm_store_fail(s, "preparing a statement");
        return NULL;
    }
    return st;
}

enum lm_err lm_store_run(struct lm_store *s, sqlite3_stmt *st, const char *doing)
{
    enum lm_err err = LM_OK;
    int rc = sqlite3_step(st);
    if (rc != SQLITE_DONE && rc != SQLITE_ROW)
        err = lm_store_fail(s, doing);
    sqlite3_reset(st);
    return err;
}

void lm_bind_int(struct lm_bind *b, int64_t value)
{
    sqlite3_bind_int64(b->st, ++b->i, value);
}

void lm_bind_time(struct lm_bind *b, int64_t t_ms)
{
    if (t_ms == LM_TIME_NONE)
        lm_bind_null(b);
    else
        lm_bind_int(b, t_ms);
}

void lm_bind_text(struct lm_bind *b, const char *text)
{
    sqlite3_bind_text(b->st, ++b->i, text, -1, SQLITE_STATIC);
}

void lm_bind_opt(struct lm_bind *b, const char *text)
{
    if (text == NULL || text[0] == '\0')
        lm_bind_null(b);
    else
        lm_bind_text(b, text);
}

void lm_bind_date(struct lm_bind *b, struct lm_date d)
{
    char text[LM_DATE_TEXT_SIZE];
    if (d.year == 0)
        lm_bind_text(b, "");
    else
        sqlite3_bind_text(b->st, ++b->i, lm_date_format(d, text), -1, SQLITE_TRANSIENT);
}

void lm_bind_null(struct lm_bind *b)
{
    sqlite3_bind_null(b->st, ++b->i);
}

int64_t lm_take_int(struct lm_take *t)
{
    return sqlite3_column_int64(t->st, t->i++);
}

int64_t lm_take_time(struct lm_take *t)
{
    bool none = sqlite3_column_type(t->st, t->i) == SQLITE_NULL;
    int64_t value = lm_take_int(t);
    return none ? LM_TIME_NONE : value;
}

uint8_t lm_take_word(struct lm_take *t, uint8_t max)
{
    int64_t value = lm_take_int(t);
    return value < 0 || value > max ? 0 : (uint8_t) value;
}

bool lm_take_bool(struct lm_take *t)
{
    return lm_take_int(t) != 0;
}

void lm_take_text(struct lm_take *t, char *out, size_t size)
{
    const char *text = (const char *) sqlite3_column_text(t->st, t->i);
    size_t len = text ? (size_t) sqlite3_column_bytes(t->st, t->i) : 0;
    t->i++;
    if (len == 0) {
        out[0] = '\0';
    } else if (len < size && lm_text_clean(text, len)) {
        memcpy(out, text, len);
        out[len] = '\0';
    } else {
        lm_text_copy(out, size, text, len);
    }
}

struct lm_date lm_take_date(struct lm_take *t)
{
    struct lm_date date = {0};
    const char *text = (const char *) sqlite3_column_text(t->st, t->i);
    size_t len = text ? (size_t) sqlite3_column_bytes(t->st, t->i) : 0;
    t->i++;
    if (len > 0 && lm_date_parse(text, len, &date) != LM_OK)
        date = (struct lm_date){0};
    return date;
}
