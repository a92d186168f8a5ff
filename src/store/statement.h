/* The statements that are kept prepared, and small helpers to bind and to take columns in order. */
#ifndef LUGMARK_STORE_STATEMENT_H
#define LUGMARK_STORE_STATEMENT_H

#include "lugmark/record.h"
#include <sqlite3.h>

enum lm_st {
    LM_ST_SAVE,
    LM_ST_RELEASE,
    LM_ST_UNSAVE,
    LM_ST_DATA_VERSION,
    LM_ST_SETTING_GET,
    LM_ST_SETTING_SET,
    LM_ST_MOB_GET,
    LM_ST_MOB_ADD,
    LM_ST_ANIMAL_ROW,
    LM_ST_ANIMAL_GET,
    LM_ST_ANIMAL_ADD,
    LM_ST_ANIMAL_SET,
    LM_ST_DEVICES_GET,
    LM_ST_DEVICE_ADD,
    LM_ST_DEVICE_PARK,
    LM_ST_DEVICES_UNADD,
    LM_ST_ANIMAL_UNADD,
    LM_ST_DEVICE_SET,
    LM_ST_DEVICE_LINK,
    LM_ST_WEARER,
    LM_ST_EVENT_ADD,
    LM_ST_READINGS_8,
    LM_ST_TURN_16,
    LM_ST_TURN_64,
    LM_ST_CHANGE_ADD,
    LM_ST_TOKEN,
    LM_ST_NEXT_IMAGE,
    LM_ST_LAST_SEQ,
    LM_ST_SESSION_ADD,
    LM_ST_SESSION_CLOSE,
    LM_ST_SESSION_OPEN,
    LM_ST_SESSION_GET,
    LM_ST_SESSION_LAST,
    LM_ST_LAST_CHANGE,
    LM_ST_CHANGE_PARTS,
    LM_ST_COUNT
};

/* Columns in the order in which the readers below take them. */
#define LM_SQL_ANIMAL                                                                              \
    "a.id, a.key, a.species, a.breed, a.dam, a.sire, m.name, a.born, a.status_date, a.sex, "       \
    "a.castrated, a.status, a.struck, a.merged_into FROM animal a LEFT JOIN mob m ON m.id = "      \
    "a.mob_id"
#define LM_SQL_DEVICE                                                                              \
    "animal_id, id, bits, known, visual, colour, uid, why, applied, removed, form, place, "        \
    "official, gone, replaces FROM device"
#define LM_SQL_EVENT                                                                               \
    "seq, kind, t_ms, clock_ms, lane, reader, bits, known, doubt, text, cut, heads, session_id, "  \
    "animal_id, body, why FROM event"
#define LM_SQL_SESSION                                                                             \
    "id, name, kind, mob, lot, count, who, opened_ms, closed_ms, open_seq, close_seq "             \
    "FROM session"

struct lm_store;

/* A kept statement, reset and unbound. NULL with the handle's problem set. */
sqlite3_stmt *lm_store_st(struct lm_store *s, enum lm_st which);

/* A statement of the caller's own: sqlite3_finalize() it. NULL with the handle's problem set. */
sqlite3_stmt *lm_store_prepare(struct lm_store *s, const char *sql);

/* Step a statement that gives no rows, and reset it. */
enum lm_err lm_store_run(struct lm_store *s, sqlite3_stmt *st, const char *doing);

/* Binding in order: each call fills the next parameter. Text is borrowed until the step. */
struct lm_bind {
    sqlite3_stmt *st;
    int i;
};
void lm_bind_int(struct lm_bind *b, int64_t value);
void lm_bind_time(struct lm_bind *b, int64_t t_ms); /* NULL for LM_TIME_NONE */
void lm_bind_text(struct lm_bind *b, const char *text);
void lm_bind_opt(struct lm_bind *b, const char *text); /* NULL for NULL and "" */
void lm_bind_date(struct lm_bind *b, struct lm_date d);
void lm_bind_null(struct lm_bind *b);

/* Taking columns in order. Text is bounded and cleaned: a register is a file from outside too. */
struct lm_take {
    sqlite3_stmt *st;
    int i;
};
int64_t lm_take_int(struct lm_take *t);
int64_t lm_take_time(struct lm_take *t);
uint8_t lm_take_word(struct lm_take *t, uint8_t max); /* above max: 0, the unknown value */
bool lm_take_bool(struct lm_take *t);
void lm_take_text(struct lm_take *t, char *out, size_t size);
struct lm_date lm_take_date(struct lm_take *t);

#endif
