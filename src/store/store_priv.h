/* What the files of src/store share. Nothing outside this folder, its unit tests apart, sees it. */
#ifndef LUGMARK_STORE_PRIV_H
#define LUGMARK_STORE_PRIV_H

#include "lugmark/store.h"
#include "store/statement.h"

#include <sys/types.h>

#define LM_STORE_BUSY_MS 2000
#define LM_STORE_MOBS 64u /* slots that remember the row of a mob */

/* The steps that lead from an empty file to today's tables. user_version N: steps 0 to N-1 ran. */
struct lm_schema {
    const char *const *steps;
    int n;
};

struct lm_store_mob {
    char name[LM_NAME_MAX + 1];
    int64_t id;
};

/* Which file it is, whatever it is called. ino 0: not seen yet. */
struct lm_store_file {
    dev_t dev;
    ino_t ino;
};

struct lm_store {
    sqlite3 *db;
    sqlite3_stmt *st[LM_ST_COUNT]; /* prepared when first wanted, kept until the close */
    enum lm_store_mode mode;
    bool txn;    /* a transaction of lm_store_begin() or of one call is open */
    int reading; /* depth of read scopes: callbacks may not write in them */
    struct lm_problem problem;
    struct lm_problem broken; /* err != 0: the open transaction can only be rolled back */
    int64_t data_version;     /* what lm_store_changed() saw last */
    bool one_change;          /* the register events of this transaction belong together */
    int64_t change_first;     /* the first of them, 0 before it */
    int64_t live_session;     /* known to be open, inside this transaction; 0 when not known */
    struct lm_store_mob mobs[LM_STORE_MOBS];
    struct lm_bulk *bulk; /* the indexes are set aside; NULL when they are there */
    bool no_wal;          /* this transaction may have a roll-back journal */
    char path[LM_PROBLEM_FILE_MAX];
    struct lm_store_file file, wal; /* as lm_store_there() saw them first */
};

/* How deep a call that writes had to go for its changes to be all or nothing. */
enum lm_scope {
    LM_SCOPE_NONE,  /* it joined a transaction and is one statement */
    LM_SCOPE_SAVED, /* it joined a transaction behind a savepoint */
    LM_SCOPE_OWN    /* it opened its own transaction */
};

/* --- schema.c --- */
extern const struct lm_schema lm_store_schema;
enum lm_err lm_store_schema_check(struct lm_store *s, const struct lm_schema *schema, int *version);
enum lm_err lm_store_schema_apply(struct lm_store *s, const struct lm_schema *schema);

/* --- open.c: lm_store_open() with a table of steps, so that a migration can be tested --- */
enum lm_err lm_store_open_schema(const char *path, enum lm_store_mode mode,
    const struct lm_schema *schema, struct lm_store **store, struct lm_problem *p);
/* A path as SQLite may have it: no name of its own such as ":memory:". @return malloc()ed. */
char *lm_store_db_path(const char *path);

/* --- problem.c --- */
/* Turn what SQLite just said into a problem of this handle. @p doing: "reading the animals". */
enum lm_err lm_store_fail(struct lm_store *s, const char *doing);
/* The same for a bare connection. @p rc is an (extended) result code. */
enum lm_err lm_store_sql_problem(
    struct lm_problem *p, int rc, const char *detail, const char *path, const char *doing);
/* Forget the last call's problem. @return LM_EARG, with the problem set, for a NULL handle. */
enum lm_err lm_store_fresh(struct lm_store *s);

/* --- txn.c --- */
enum lm_err lm_store_exec(struct lm_store *s, const char *sql, const char *doing);
enum lm_err lm_store_write_begin(struct lm_store *s, bool save, enum lm_scope *scope);
enum lm_err lm_store_write_end(struct lm_store *s, enum lm_scope scope, enum lm_err err);
enum lm_err lm_store_read_begin(struct lm_store *s, bool *own);
void lm_store_read_end(struct lm_store *s, bool own);

/* --- animal_read.c --- */
/* Every animal in order of its row: two cursors walked in step, never a query for each animal. */
struct lm_walk {
    struct lm_store *store;
    sqlite3_stmt *animals, *devices;
    bool has_device; /* `devices` stands on a row not yet used */
    int64_t animal;  /* row of the animal given last */
};
enum lm_err lm_walk_begin(struct lm_walk *w, struct lm_store *s);
/* *more: @p rec was filled; false after the last one. */
enum lm_err lm_walk_next(struct lm_walk *w, struct lm_record *rec, bool *more);
void lm_walk_end(struct lm_walk *w);
/* LM_ENOTFOUND, without a problem, when there is none. */
enum lm_err lm_store_animal_row(struct lm_store *s, const char *key, int64_t *row);
enum lm_err lm_store_load(struct lm_store *s, int64_t row, struct lm_record *rec);

/* --- animal_check.c --- */
enum lm_err lm_store_record_check(struct lm_store *s, const struct lm_record *rec);

/* --- animal_match.c --- */
#define LM_MATCH_NEW (-1)
/* Which device of @p old each device of @p rec is; mends codes known better by the register. */
enum lm_err lm_store_match(struct lm_store *s, const struct lm_record *old, struct lm_record *rec,
    int pair[LM_DEVICES_MAX]);
bool lm_store_same_animal(const struct lm_record *a, const struct lm_record *b);
bool lm_store_same_device(const struct lm_device *a, const struct lm_device *b);
bool lm_store_same_marks(const struct lm_device *a, const struct lm_device *b);

/* --- bulk.c --- */
/* Make the indexes again. @return LM_OK also when they were never set aside. */
enum lm_err lm_store_bulk_end(struct lm_store *s);
void lm_store_bulk_forget(struct lm_store *s); /* after a roll-back */
void lm_store_bulk_done(struct lm_store *s);   /* after either end of a transaction */
/* Note the living codes of a new animal; ends it when one of them is there already. */
enum lm_err lm_store_bulk_claim(struct lm_store *s, const struct lm_record *rec);

struct lm_change;
/* Keep the event of a new animal for later. false: it must be written now, after ending it. */
bool lm_store_bulk_event(
    struct lm_store *s, int64_t row, const struct lm_change *change, int64_t *seq);

/* --- animal_write.c --- */
enum lm_err lm_store_put_event(struct lm_store *s, const struct lm_record *rec,
    const struct lm_event *stamp, int64_t session, const char *why, const char *token,
    int64_t *seq);

/* What is written beside the entry itself. */
struct lm_change {
    const struct lm_event *stamp; /* t_ms and clock_ms */
    int64_t session, undoes;      /* 0: none */
    const char *why, *token;      /* NULL: none */
};
/* The animal's own row, made when *row is 0; not its devices. */
enum lm_err lm_store_animal_write(struct lm_store *s, const struct lm_record *rec, int64_t *row);
/* All devices of an animal that has none now, with the links among them. */
enum lm_err lm_store_devices_write(struct lm_store *s, const struct lm_record *rec, int64_t row);
/* The event of a change; @p before is the entry as it was, NULL for a new animal. */
enum lm_err lm_store_change_write(struct lm_store *s, const struct lm_record *before, int64_t row,
    const struct lm_change *change, int64_t *seq);

/* --- device_write.c --- */
/* A device with an id keeps it as its row. *id: its row. */
enum lm_err lm_store_device_add(
    struct lm_store *s, int64_t animal, const char *key, const struct lm_device *d, int64_t *id);
/* @p replaces 0: none. */
enum lm_err lm_store_device_link(struct lm_store *s, int64_t id, int64_t replaces);
enum lm_err lm_store_device_park(struct lm_store *s, const struct lm_device *old);
enum lm_err lm_store_device_set(
    struct lm_store *s, const char *key, int64_t id, const struct lm_device *d);

/* --- event_read.c --- */
/* The event under the cursor with what it borrows; lm_store_event_free() after its callback. */
struct lm_store_event {
    struct lm_event ev;
    struct lm_open open;
    struct lm_record record;
    const char **keys;
    void *json; /* holds the keys' text */
    char why[LM_PROBLEM_TEXT_MAX];
};
enum lm_err lm_store_event_row(struct lm_store *s, sqlite3_stmt *st, struct lm_store_event *e);
void lm_store_event_free(struct lm_store_event *e);
enum lm_err lm_store_image(
    struct lm_store *s, int64_t seq, const char *body, size_t len, struct lm_record *rec);

/* --- sessions.c --- */
enum lm_err lm_store_session_insert(
    struct lm_store *s, const struct lm_event *ev, int64_t *id, int64_t *seq);
enum lm_err lm_store_session_close(struct lm_store *s, int64_t id, int64_t t_ms, int64_t seq);
enum lm_err lm_store_session_live(struct lm_store *s, int64_t id);

/* --- backup.c --- */
/* Copy every page of an open register to a file that must not exist yet. */
enum lm_err lm_store_copy(struct lm_store *s, const char *path, struct lm_problem *p);

/* --- verify_rows.c --- */
struct lm_verify {
    struct lm_store *store;
    lm_problem_fn *fn;
    void *ctx;
    unsigned long found;
};
void lm_verify_say(struct lm_verify *v, const char *mend, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
enum lm_err lm_verify_devices(struct lm_verify *v);
enum lm_err lm_verify_animals(struct lm_verify *v);
enum lm_err lm_verify_images(struct lm_verify *v);
enum lm_err lm_verify_sessions(struct lm_verify *v);
/* --- verify_stock.c --- */
enum lm_err lm_verify_stock(struct lm_verify *v);
/* --- verify_wal.c --- */
enum lm_err lm_verify_wal(struct lm_verify *v);

#endif
