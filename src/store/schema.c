#include "store/store_priv.h"

#include <stdio.h>

/*
 * Steps are only ever added: a file written by step N is brought forward by the steps after it.
 * Numbers in kind, sex, status, form, place, known and doubt are those of the enums in
 * include/lugmark; a new word goes at the end of its enum, never in between.
 *
 * device.eid is the 48-bit key of the code (country and national code), bits all 64 as a signed
 * number. One living device a (code, retagging counter): a replacement may carry the old code.
 * event.body of a register change is the animal as it was BEFORE, NULL when there was none: most
 * changes are first entries, and an import would otherwise write every animal twice.
 */
static const char *const steps[] = {
    "CREATE TABLE setting(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;"
    "CREATE TABLE mob(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;"
    "CREATE TABLE animal("
    " id INTEGER PRIMARY KEY,"
    " key TEXT NOT NULL UNIQUE CHECK(key <> ''),"
    " species TEXT NOT NULL, breed TEXT NOT NULL,"
    " sex INTEGER NOT NULL CHECK(sex BETWEEN 0 AND 2),"
    " castrated INTEGER NOT NULL CHECK(castrated IN (0, 1)),"
    " born TEXT NOT NULL, dam TEXT NOT NULL, sire TEXT NOT NULL,"
    " mob_id INTEGER REFERENCES mob(id),"
    " status INTEGER NOT NULL CHECK(status BETWEEN 0 AND 4),"
    " status_date TEXT NOT NULL) STRICT;"
    "CREATE TABLE device("
    " id INTEGER PRIMARY KEY,"
    " animal_id INTEGER NOT NULL REFERENCES animal(id),"
    " form INTEGER NOT NULL CHECK(form BETWEEN 0 AND 7),"
    " place INTEGER NOT NULL CHECK(place BETWEEN 0 AND 5),"
    " colour TEXT NOT NULL,"
    " official INTEGER NOT NULL CHECK(official IN (0, 1)),"
    " eid INTEGER, bits INTEGER NOT NULL,"
    " known INTEGER NOT NULL CHECK(known BETWEEN 0 AND 2),"
    " retag INTEGER NOT NULL CHECK(retag BETWEEN 0 AND 7),"
    " visual TEXT NOT NULL, visual_fold TEXT NOT NULL,"
    " uid TEXT NOT NULL, applied TEXT NOT NULL, removed TEXT NOT NULL,"
    " gone INTEGER NOT NULL CHECK(gone IN (0, 1)),"
    " why TEXT NOT NULL) STRICT;"
    "CREATE INDEX device_animal ON device(animal_id);"
    "CREATE UNIQUE INDEX device_living_code ON device(eid, retag)"
    " WHERE gone = 0 AND eid IS NOT NULL;"
    "CREATE INDEX device_gone_code ON device(eid) WHERE gone = 1 AND eid IS NOT NULL;"
    "CREATE INDEX device_visual ON device(visual_fold) WHERE visual_fold <> '';"
    "CREATE UNIQUE INDEX device_living_uid ON device(uid) WHERE gone = 0 AND uid <> '';"
    "CREATE TABLE session("
    " id INTEGER PRIMARY KEY, name TEXT NOT NULL,"
    " kind INTEGER NOT NULL CHECK(kind BETWEEN 0 AND 2),"
    " mob TEXT NOT NULL, lot TEXT NOT NULL, count TEXT NOT NULL, who TEXT NOT NULL,"
    " opened_ms INTEGER, closed_ms INTEGER,"
    " open_seq INTEGER NOT NULL UNIQUE, close_seq INTEGER UNIQUE) STRICT;"
    "CREATE UNIQUE INDEX session_one_open ON session((close_seq IS NULL))"
    " WHERE close_seq IS NULL;"
    "CREATE TABLE event("
    " seq INTEGER PRIMARY KEY,"
    " session_id INTEGER REFERENCES session(id),"
    " kind INTEGER NOT NULL CHECK(kind BETWEEN 0 AND 6),"
    " t_ms INTEGER, clock_ms INTEGER, lane TEXT, reader TEXT,"
    " bits INTEGER NOT NULL DEFAULT 0,"
    " known INTEGER NOT NULL DEFAULT 0 CHECK(known BETWEEN 0 AND 2),"
    " doubt INTEGER NOT NULL DEFAULT 0 CHECK(doubt BETWEEN 0 AND 3),"
    " text TEXT, cut INTEGER NOT NULL DEFAULT 0, heads INTEGER,"
    " animal_id INTEGER REFERENCES animal(id), body TEXT, why TEXT, token TEXT,"
    " CHECK((kind = 6) = (animal_id IS NOT NULL))) STRICT;"
    "CREATE UNIQUE INDEX event_token ON event(token) WHERE token IS NOT NULL;"
    "CREATE INDEX event_animal ON event(animal_id, seq) WHERE animal_id IS NOT NULL;",
    /* A chip read by its UID is known = 3. A CHECK cannot be altered: the table is made again. */
    "ALTER TABLE event RENAME TO event_before;"
    "CREATE TABLE event("
    " seq INTEGER PRIMARY KEY,"
    " session_id INTEGER REFERENCES session(id),"
    " kind INTEGER NOT NULL CHECK(kind BETWEEN 0 AND 6),"
    " t_ms INTEGER, clock_ms INTEGER, lane TEXT, reader TEXT,"
    " bits INTEGER NOT NULL DEFAULT 0,"
    " known INTEGER NOT NULL DEFAULT 0 CHECK(known BETWEEN 0 AND 3),"
    " doubt INTEGER NOT NULL DEFAULT 0 CHECK(doubt BETWEEN 0 AND 3),"
    " text TEXT, cut INTEGER NOT NULL DEFAULT 0, heads INTEGER,"
    " animal_id INTEGER REFERENCES animal(id), body TEXT, why TEXT, token TEXT,"
    " CHECK((kind = 6) = (animal_id IS NOT NULL))) STRICT;"
    "INSERT INTO event(seq, session_id, kind, t_ms, clock_ms, lane, reader, bits, known, doubt, "
    "text, cut, heads, animal_id, body, why, token) SELECT seq, session_id, kind, t_ms, clock_ms, "
    "lane, reader, bits, known, doubt, text, cut, heads, animal_id, body, why, token "
    "FROM event_before;"
    "DROP TABLE event_before;"
    "CREATE UNIQUE INDEX event_token ON event(token) WHERE token IS NOT NULL;"
    "CREATE INDEX event_animal ON event(animal_id, seq) WHERE animal_id IS NOT NULL;",
    /* device.replaces: row of the device it was put on for. animal.struck: the entry counts no
     * more, only its history. event.part_of: the first event of a change of several animals, NULL
     * in that one; event.undoes: the event that this one takes back. */
    "ALTER TABLE device ADD COLUMN replaces INTEGER;"
    "ALTER TABLE animal ADD COLUMN struck INTEGER NOT NULL DEFAULT 0 CHECK(struck IN (0, 1));"
    "ALTER TABLE animal ADD COLUMN merged_into TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE event ADD COLUMN part_of INTEGER;"
    "ALTER TABLE event ADD COLUMN undoes INTEGER;"
    "CREATE INDEX event_part ON event(part_of) WHERE part_of IS NOT NULL;"
    "CREATE UNIQUE INDEX event_undoes ON event(undoes) WHERE undoes IS NOT NULL;",
    /* stock: who uses an item is not written down, it follows from the devices. stock.eid, bits and
     * visual_fold are as those of device. copy: registers taken along on another machine; an event
     * that came from one keeps the place it had there, so that it is known again. NULL: made here.
     * The identities are random; SQLite takes its seed from the operating system. */
    "CREATE TABLE stock("
    " id INTEGER PRIMARY KEY,"
    " strip TEXT NOT NULL CHECK(strip <> ''),"
    " position INTEGER NOT NULL CHECK(position BETWEEN 1 AND 1000000000),"
    " eid INTEGER, bits INTEGER NOT NULL,"
    " known INTEGER NOT NULL CHECK(known BETWEEN 0 AND 2),"
    " visual TEXT NOT NULL, visual_fold TEXT NOT NULL,"
    " form INTEGER NOT NULL CHECK(form BETWEEN 0 AND 7),"
    " colour TEXT NOT NULL,"
    " official INTEGER NOT NULL CHECK(official IN (0, 1)),"
    " received TEXT NOT NULL,"
    " UNIQUE(strip, position), CHECK(eid IS NOT NULL OR visual <> '')) STRICT;"
    "CREATE UNIQUE INDEX stock_code ON stock(eid) WHERE eid IS NOT NULL;"
    "CREATE INDEX stock_visual ON stock(visual_fold) WHERE visual_fold <> '';"
    "CREATE TABLE copy(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;"
    "ALTER TABLE event ADD COLUMN copy_id INTEGER REFERENCES copy(id);"
    "ALTER TABLE event ADD COLUMN copy_seq INTEGER;"
    "CREATE UNIQUE INDEX event_copy ON event(copy_id, copy_seq) WHERE copy_id IS NOT NULL;"
    "INSERT INTO setting(key, value) VALUES('id.register', lower(hex(randomblob(16)))),"
    " ('id.copy', lower(hex(randomblob(16))));",
    /* part: for three characters in a row, the animals that have them (part.c). part_stale: those
     * written since it was made. */
    "CREATE TABLE part(gram INTEGER PRIMARY KEY, rows BLOB NOT NULL) STRICT;"
    "CREATE TABLE part_stale(animal_id INTEGER PRIMARY KEY) STRICT;"
    "CREATE TRIGGER part_animal_new AFTER INSERT ON animal WHEN EXISTS (SELECT 1 FROM part)"
    " BEGIN INSERT OR IGNORE INTO part_stale VALUES (new.id); END;"
    "CREATE TRIGGER part_animal_set AFTER UPDATE OF key, breed ON animal WHEN EXISTS (SELECT 1 "
    "FROM part)"
    " BEGIN INSERT OR IGNORE INTO part_stale VALUES (new.id); END;"
    "CREATE TRIGGER part_device_new AFTER INSERT ON device WHEN EXISTS (SELECT 1 FROM part)"
    " BEGIN INSERT OR IGNORE INTO part_stale VALUES (new.animal_id); END;"
    "CREATE TRIGGER part_device_set AFTER UPDATE OF animal_id, eid, visual, visual_fold, uid ON "
    "device WHEN EXISTS (SELECT 1 FROM part)"
    " BEGIN INSERT OR IGNORE INTO part_stale VALUES (new.animal_id); END;",
};

const struct lm_schema lm_store_schema = {
    .steps = steps, .n = (int) (sizeof steps / sizeof steps[0])};

static enum lm_err number(struct lm_store *s, const char *sql, int *out)
{
    sqlite3_stmt *st = lm_store_prepare(s, sql);
    if (st == NULL)
        return s->problem.err;
    enum lm_err err = LM_OK;
    if (sqlite3_step(st) == SQLITE_ROW)
        *out = sqlite3_column_int(st, 0);
    else
        err = lm_store_fail(s, "looking at the file");
    sqlite3_finalize(st);
    return err;
}

/* version: 0 for a file with nothing in it yet, else the version of its tables. */
enum lm_err lm_store_schema_check(struct lm_store *s, const struct lm_schema *schema, int *version)
{
    int id = 0, tables = 0;
    enum lm_err err = number(s, "PRAGMA application_id", &id);
    err = err ? err : number(s, "PRAGMA user_version", version);
    err = err ? err : number(s, "SELECT count(*) FROM sqlite_schema", &tables);
    if (err != LM_OK)
        return err;
    if (id == 0 && *version == 0 && tables == 0)
        return LM_OK;
    if (id != LM_STORE_APPLICATION_ID || *version < 1)
        return lm_problem_set(&s->problem, LM_EINPUT,
            "name a register file, or start one with `lugmark init`",
            "a database of another program, not a register");
    if (*version > schema->n)
        return lm_problem_set(&s->problem, LM_ENEWER,
            "use the newer lugmark, or a backup made before",
            "written by a newer version of lugmark (tables %d, this one knows up to %d)", *version,
            schema->n);
    return LM_OK;
}

static enum lm_err apply_from(struct lm_store *s, const struct lm_schema *schema, int version)
{
    char sql[96];
    enum lm_err err = LM_OK;
    for (int i = version; i < schema->n && err == LM_OK; i++)
        err = lm_store_exec(s, schema->steps[i], "making the tables");
    snprintf(sql, sizeof sql, "PRAGMA application_id = %d; PRAGMA user_version = %d",
        LM_STORE_APPLICATION_ID, schema->n);
    return err ? err : lm_store_exec(s, sql, "making the tables");
}

/* All steps that are missing, in one transaction: the file is old or new, never between. */
enum lm_err lm_store_schema_apply(struct lm_store *s, const struct lm_schema *schema)
{
    int version = 0;
    enum lm_err err = lm_store_exec(s, "BEGIN IMMEDIATE", "making the tables");
    if (err != LM_OK)
        return err;
    /* Looked at again: another program may have been faster. */
    err = lm_store_schema_check(s, schema, &version);
    if (err == LM_OK && version < schema->n)
        err = apply_from(s, schema, version);
    if (err == LM_OK)
        err = lm_store_exec(s, "COMMIT", "making the tables");
    if (err != LM_OK && !sqlite3_get_autocommit(s->db))
        sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
    return err;
}
