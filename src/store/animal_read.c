#include "store/store_priv.h"

#include <stddef.h>
#include <string.h>

/* A record is 16 kB and mostly unused devices: only its head is cleared. */
static int64_t take_animal(sqlite3_stmt *st, struct lm_record *rec)
{
    struct lm_take t = {st, 0};
    memset(rec, 0, offsetof(struct lm_record, devices));
    int64_t row = lm_take_int(&t);
    lm_take_text(&t, rec->key, sizeof rec->key);
    lm_take_text(&t, rec->species, sizeof rec->species);
    lm_take_text(&t, rec->breed, sizeof rec->breed);
    lm_take_text(&t, rec->dam, sizeof rec->dam);
    lm_take_text(&t, rec->sire, sizeof rec->sire);
    lm_take_text(&t, rec->mob, sizeof rec->mob);
    rec->born = lm_take_date(&t);
    rec->status_date = lm_take_date(&t);
    rec->sex = lm_take_word(&t, LM_SEX_MALE);
    rec->castrated = lm_take_bool(&t);
    rec->status = lm_take_word(&t, LM_LOST);
    rec->struck = lm_take_bool(&t);
    lm_take_text(&t, rec->merged_into, sizeof rec->merged_into);
    return row;
}

/* @return The row of the device that this one was put on for, or 0. */
static int64_t take_device(sqlite3_stmt *st, struct lm_device *d)
{
    struct lm_take t = {st, 1};
    memset(d, 0, sizeof *d);
    d->id = lm_take_int(&t);
    d->eid.bits = (uint64_t) lm_take_int(&t);
    d->eid.known = lm_take_word(&t, LM_EID_FULL);
    lm_take_text(&t, d->visual, sizeof d->visual);
    lm_take_text(&t, d->colour, sizeof d->colour);
    lm_take_text(&t, d->uid, sizeof d->uid);
    lm_take_text(&t, d->why, sizeof d->why);
    d->applied = lm_take_date(&t);
    d->removed = lm_take_date(&t);
    d->form = lm_take_word(&t, LM_TATTOO);
    d->place = lm_take_word(&t, LM_TAIL_WEB);
    d->official = lm_take_bool(&t);
    d->gone = lm_take_bool(&t);
    return lm_take_int(&t);
}

static enum lm_err add_device(
    struct lm_store *s, sqlite3_stmt *st, struct lm_record *rec, int64_t replaces[LM_DEVICES_MAX])
{
    if (rec->n_devices >= LM_DEVICES_MAX)
        return lm_problem_set(&s->problem, LM_EINPUT, "go back to a backup",
            "animal %s has more than %u devices", rec->key, LM_DEVICES_MAX);
    replaces[rec->n_devices] = take_device(st, &rec->devices[rec->n_devices]);
    rec->n_devices++;
    return LM_OK;
}

/* Rows to places in the list, once the list is whole. */
static void link_devices(struct lm_record *rec, const int64_t replaces[LM_DEVICES_MAX])
{
    for (unsigned i = 0; i < rec->n_devices; i++)
        for (unsigned j = 0; replaces[i] != 0 && j < rec->n_devices; j++)
            if (rec->devices[j].id == replaces[i])
                rec->devices[i].replaces = (uint8_t) (j + 1);
}

static enum lm_err step_device(struct lm_walk *w)
{
    int rc = sqlite3_step(w->devices);
    w->has_device = rc == SQLITE_ROW;
    return rc == SQLITE_ROW || rc == SQLITE_DONE ? LM_OK
                                                 : lm_store_fail(w->store, "reading the devices");
}

enum lm_err lm_walk_begin(struct lm_walk *w, struct lm_store *s)
{
    *w = (struct lm_walk){.store = s};
    w->animals = lm_store_prepare(s, "SELECT " LM_SQL_ANIMAL " ORDER BY a.id");
    w->devices = lm_store_prepare(s, "SELECT " LM_SQL_DEVICE " ORDER BY animal_id, id");
    if (w->animals == NULL || w->devices == NULL)
        return s->problem.err;
    return step_device(w);
}

enum lm_err lm_walk_next(struct lm_walk *w, struct lm_record *rec, bool *more)
{
    int rc = sqlite3_step(w->animals);
    *more = rc == SQLITE_ROW;
    if (rc == SQLITE_DONE)
        return LM_OK;
    if (rc != SQLITE_ROW)
        return lm_store_fail(w->store, "reading the animals");
    w->animal = take_animal(w->animals, rec);
    int64_t replaces[LM_DEVICES_MAX];
    enum lm_err err = LM_OK;
    while (err == LM_OK && w->has_device) {
        int64_t owner = sqlite3_column_int64(w->devices, 0);
        if (owner > w->animal)
            break;
        if (owner == w->animal)
            err = add_device(w->store, w->devices, rec, replaces);
        err = err ? err : step_device(w);
    }
    link_devices(rec, replaces);
    return err;
}

void lm_walk_end(struct lm_walk *w)
{
    sqlite3_finalize(w->animals);
    sqlite3_finalize(w->devices);
}

enum lm_err lm_store_animal_row(struct lm_store *s, const char *key, int64_t *row)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_ANIMAL_ROW);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, key);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_OK;
    if (rc == SQLITE_ROW)
        *row = sqlite3_column_int64(st, 0);
    else
        err = rc == SQLITE_DONE ? LM_ENOTFOUND : lm_store_fail(s, "looking for an animal");
    sqlite3_reset(st);
    return err;
}

static enum lm_err load_devices(struct lm_store *s, int64_t row, struct lm_record *rec)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICES_GET);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, row);
    enum lm_err err = LM_OK;
    int64_t replaces[LM_DEVICES_MAX] = {0};
    int rc = sqlite3_step(st);
    for (; rc == SQLITE_ROW && err == LM_OK; rc = sqlite3_step(st))
        err = add_device(s, st, rec, replaces);
    link_devices(rec, replaces);
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(s, "reading the devices");
    sqlite3_reset(st);
    return err;
}

enum lm_err lm_store_load(struct lm_store *s, int64_t row, struct lm_record *rec)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_ANIMAL_GET);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, row);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_OK;
    if (rc == SQLITE_ROW)
        take_animal(st, rec);
    else if (rc == SQLITE_DONE)
        err = lm_problem_set(&s->problem, LM_EINPUT, "run `lugmark verify`",
            "the history names animal row %lld, which is not there", (long long) row);
    else
        err = lm_store_fail(s, "reading an animal");
    /* A text for which there was no memory comes as none; only the end of the row says so. */
    if (sqlite3_reset(st) != SQLITE_OK && err == LM_OK)
        err = lm_store_fail(s, "reading an animal");
    return err ? err : load_devices(s, row, rec);
}

enum lm_err lm_store_each(struct lm_store *store, lm_record_fn *fn, void *ctx)
{
    struct lm_record rec;
    struct lm_walk walk = {0};
    bool own = false, more = true;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = lm_walk_begin(&walk, store);
    while (err == LM_OK && more) {
        err = lm_walk_next(&walk, &rec, &more);
        if (err == LM_OK && more && !rec.struck)
            err = fn(&rec, 0, ctx);
    }
    lm_walk_end(&walk);
    lm_store_read_end(store, own);
    return err;
}

static enum lm_err struck(struct lm_store *s, const struct lm_record *rec)
{
    bool merged = rec->merged_into[0] != '\0';
    return lm_problem_set(&s->problem, LM_ENOTFOUND, "its history: `lugmark show KEY --history`",
        "the entry of animal %s %s%s", rec->key, merged ? "was merged into " : "was taken back",
        rec->merged_into);
}

enum lm_err lm_store_get(struct lm_store *store, const char *key, struct lm_record *rec)
{
    int64_t row = 0;
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = lm_store_animal_row(store, key, &row);
    if (err == LM_OK)
        err = lm_store_load(store, row, rec);
    if (err == LM_OK && rec->struck)
        err = struck(store, rec);
    else if (err == LM_ENOTFOUND)
        lm_problem_set(&store->problem, err, "look for it with `lugmark find`",
            "no animal %s in the register", key);
    lm_store_read_end(store, own);
    return err;
}

uint32_t lm_store_animals(struct lm_store *store)
{
    uint32_t n = 0;
    if (lm_store_fresh(store) != LM_OK)
        return 0;
    sqlite3_stmt *st = lm_store_prepare(store, "SELECT count(*) FROM animal WHERE struck = 0");
    if (st == NULL)
        return 0;
    if (sqlite3_step(st) == SQLITE_ROW)
        n = (uint32_t) sqlite3_column_int64(st, 0);
    else
        lm_store_fail(store, "counting the animals");
    sqlite3_finalize(st);
    return n;
}
