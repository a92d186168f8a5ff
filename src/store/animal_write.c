#include "store/store_priv.h"

#include "lugmark/eventline.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

_Static_assert(LM_EVENT_REGISTER == 6, "the statements name this kind by its number");

/* One animal to be put, from looking it up to its place in the journal. */
struct put {
    struct lm_store *store;
    const struct lm_record *rec;
    const struct lm_event *stamp; /* t_ms and clock_ms */
    int64_t session, animal;
    const char *why, *token;
    int64_t seq;
};

static enum lm_err mob_add(struct lm_store *s, const char *name, int64_t *id)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_MOB_ADD);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_text(st, 1, name, -1, SQLITE_STATIC);
    enum lm_err err = lm_store_run(s, st, "writing a mob");
    *id = sqlite3_last_insert_rowid(s->db);
    return err;
}

/* Row of a mob, made when it is new. A few are remembered: an import names the same ones. */
static enum lm_err mob_row(struct lm_store *s, const char *name, int64_t *id)
{
    unsigned hash = 5381;
    for (const char *c = name; *c != '\0'; c++)
        hash = hash * 33u + (unsigned char) *c;
    struct lm_store_mob *slot = &s->mobs[hash % LM_STORE_MOBS];
    if (slot->id != 0 && strcmp(slot->name, name) == 0) {
        *id = slot->id;
        return LM_OK;
    }
    sqlite3_stmt *st = lm_store_st(s, LM_ST_MOB_GET);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_text(st, 1, name, -1, SQLITE_STATIC);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_OK;
    if (rc == SQLITE_ROW)
        *id = sqlite3_column_int64(st, 0);
    else
        err = rc == SQLITE_DONE ? mob_add(s, name, id) : lm_store_fail(s, "reading a mob");
    sqlite3_reset(st);
    if (err == LM_OK) {
        slot->id = *id;
        snprintf(slot->name, sizeof slot->name, "%s", name);
    }
    return err;
}

static enum lm_err write_animal(struct put *p, enum lm_st which)
{
    const struct lm_record *rec = p->rec;
    int64_t mob = 0;
    enum lm_err err = rec->mob[0] != '\0' ? mob_row(p->store, rec->mob, &mob) : LM_OK;
    sqlite3_stmt *st = err == LM_OK ? lm_store_st(p->store, which) : NULL;
    if (st == NULL)
        return p->store->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, rec->species);
    lm_bind_text(&b, rec->breed);
    lm_bind_text(&b, rec->dam);
    lm_bind_text(&b, rec->sire);
    lm_bind_date(&b, rec->born);
    lm_bind_date(&b, rec->status_date);
    lm_bind_int(&b, rec->sex);
    lm_bind_int(&b, rec->castrated);
    lm_bind_int(&b, rec->status);
    if (mob != 0)
        lm_bind_int(&b, mob);
    else
        lm_bind_null(&b);
    if (which == LM_ST_ANIMAL_ADD)
        lm_bind_text(&b, rec->key);
    else
        lm_bind_int(&b, p->animal);
    return lm_store_run(p->store, st, "writing an animal");
}

/* The event of the change; @p before is the entry as it was, NULL for a new animal. */
static enum lm_err write_change(struct put *p, const struct lm_record *before)
{
    char *body = before != NULL ? lm_record_json(before) : NULL;
    if (before != NULL && body == NULL)
        return lm_problem_set(&p->store->problem, LM_ENOMEM, NULL, "out of memory");
    sqlite3_stmt *st = lm_store_st(p->store, LM_ST_CHANGE_ADD);
    enum lm_err err = st != NULL ? LM_OK : p->store->problem.err;
    if (err == LM_OK) {
        struct lm_bind b = {st, 0};
        if (p->session != 0)
            lm_bind_int(&b, p->session);
        else
            lm_bind_null(&b);
        lm_bind_time(&b, p->stamp->t_ms);
        lm_bind_time(&b, p->stamp->clock_ms);
        lm_bind_int(&b, p->animal);
        lm_bind_opt(&b, body);
        lm_bind_opt(&b, p->why);
        lm_bind_opt(&b, p->token);
        err = lm_store_run(p->store, st, "writing the history");
        p->seq = sqlite3_last_insert_rowid(p->store->db);
    }
    free(body);
    return err;
}

static enum lm_err write_new(struct put *p)
{
    enum lm_err err = write_animal(p, LM_ST_ANIMAL_ADD);
    p->animal = err == LM_OK ? sqlite3_last_insert_rowid(p->store->db) : 0;
    for (unsigned i = 0; i < p->rec->n_devices && err == LM_OK; i++) {
        if (p->rec->devices[i].id != 0)
            return lm_problem_set(&p->store->problem, LM_EARG, "read the animal again first",
                "device %lld is not one of animal %s, which is new",
                (long long) p->rec->devices[i].id, p->rec->key);
        err = lm_store_device_add(p->store, p->animal, p->rec->key, &p->rec->devices[i]);
    }
    return err ? err : write_change(p, NULL);
}

/* Take the rows of a new animal out again, inside a transaction that goes on. */
static void unwrite_new(struct put *p)
{
    struct lm_problem first = p->store->problem;
    enum lm_err err = LM_OK;
    for (enum lm_st which = LM_ST_DEVICES_UNADD; which <= LM_ST_ANIMAL_UNADD; which++) {
        sqlite3_stmt *st = err == LM_OK ? lm_store_st(p->store, which) : NULL;
        if (st != NULL)
            sqlite3_bind_int64(st, 1, p->animal);
        err = st != NULL ? lm_store_run(p->store, st, "taking a change back") : LM_EIO;
    }
    p->store->problem = first;
    if (err != LM_OK && p->store->broken.err == LM_OK)
        p->store->broken = first;
}

/* A savepoint would cost an import a third of its time; a new animal is easily taken out again. */
static enum lm_err put_new(struct put *p, bool joined)
{
    enum lm_err err = write_new(p);
    if (err != LM_OK && joined && p->animal != 0 && p->store->broken.err == LM_OK)
        unwrite_new(p);
    return err;
}

static enum lm_err write_devices(
    struct put *p, const struct lm_record *old, const int pair[LM_DEVICES_MAX])
{
    const struct lm_record *rec = p->rec;
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++)
        if (pair[i] != LM_MATCH_NEW &&
            !lm_store_same_marks(&old->devices[pair[i]], &rec->devices[i]))
            err = lm_store_device_park(p->store, &old->devices[pair[i]]);
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (pair[i] == LM_MATCH_NEW)
            err = lm_store_device_add(p->store, p->animal, rec->key, d);
        else if (!lm_store_same_device(&old->devices[pair[i]], d))
            err = lm_store_device_set(p->store, rec->key, old->devices[pair[i]].id, d);
    }
    return err;
}

static bool unchanged(
    const struct lm_record *old, const struct lm_record *rec, const int pair[LM_DEVICES_MAX])
{
    if (rec->n_devices != old->n_devices || !lm_store_same_animal(old, rec))
        return false;
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (!lm_store_same_device(&old->devices[pair[i]], &rec->devices[i]))
            return false;
    return true;
}

static enum lm_err write_known(struct put *p)
{
    struct lm_record old, rec = *p->rec;
    int pair[LM_DEVICES_MAX];
    enum lm_err err = lm_store_load(p->store, p->animal, &old);
    err = err ? err : lm_store_match(p->store, &old, &rec, pair);
    if (err != LM_OK || unchanged(&old, &rec, pair))
        return err;
    struct put known = *p;
    known.rec = &rec;
    if (!lm_store_same_animal(&old, &rec))
        err = write_animal(&known, LM_ST_ANIMAL_SET);
    err = err ? err : write_devices(&known, &old, pair);
    err = err ? err : write_change(&known, &old);
    p->seq = known.seq;
    return err;
}

static enum lm_err put_known(struct put *p, bool joined)
{
    enum lm_scope scope;
    if (!joined)
        return write_known(p);
    enum lm_err err = lm_store_write_begin(p->store, true, &scope);
    return err ? err : lm_store_write_end(p->store, scope, write_known(p));
}

enum lm_err lm_store_put_event(struct lm_store *s, const struct lm_record *rec,
    const struct lm_event *stamp, int64_t session, const char *why, const char *token, int64_t *seq)
{
    struct put p = {.store = s, .rec = rec, .stamp = stamp, .session = session};
    enum lm_scope scope;
    p.why = why;
    p.token = token;
    enum lm_err err = lm_store_record_check(s, rec);
    err = err ? err : lm_store_write_begin(s, false, &scope);
    if (err != LM_OK)
        return err;
    err = lm_store_animal_row(s, rec->key, &p.animal);
    if (err == LM_OK)
        err = put_known(&p, scope != LM_SCOPE_OWN);
    else if (err == LM_ENOTFOUND)
        err = put_new(&p, scope != LM_SCOPE_OWN);
    err = lm_store_write_end(s, scope, err);
    if (seq != NULL)
        *seq = err == LM_OK ? p.seq : 0;
    return err;
}

enum lm_err lm_store_put(struct lm_store *store, const struct lm_record *rec, int64_t t_ms,
    const char *why, int64_t *seq)
{
    struct lm_event stamp = {.t_ms = t_ms, .clock_ms = LM_TIME_NONE};
    enum lm_err err = lm_store_fresh(store);
    return err ? err : lm_store_put_event(store, rec, &stamp, 0, why, NULL, seq);
}
