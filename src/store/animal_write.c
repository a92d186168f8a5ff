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
    struct lm_change change;
    int64_t animal, seq;
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

enum lm_err lm_store_animal_write(struct lm_store *s, const struct lm_record *rec, int64_t *row)
{
    int64_t mob = 0;
    enum lm_st which = *row == 0 ? LM_ST_ANIMAL_ADD : LM_ST_ANIMAL_SET;
    enum lm_err err = rec->mob[0] != '\0' ? mob_row(s, rec->mob, &mob) : LM_OK;
    sqlite3_stmt *st = err == LM_OK ? lm_store_st(s, which) : NULL;
    if (st == NULL)
        return s->problem.err;
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
    lm_bind_int(&b, rec->struck);
    lm_bind_text(&b, rec->merged_into);
    if (which == LM_ST_ANIMAL_ADD)
        lm_bind_text(&b, rec->key);
    else
        lm_bind_int(&b, *row);
    err = lm_store_run(s, st, "writing an animal");
    if (err == LM_OK && which == LM_ST_ANIMAL_ADD)
        *row = sqlite3_last_insert_rowid(s->db);
    return err;
}

/* In a change of several animals the later events name the first. */
static void bind_group(struct lm_bind *b, const struct lm_store *s, int64_t undoes)
{
    if (s->one_change && s->change_first != 0)
        lm_bind_int(b, s->change_first);
    else
        lm_bind_null(b);
    if (undoes != 0)
        lm_bind_int(b, undoes);
    else
        lm_bind_null(b);
}

enum lm_err lm_store_change_write(struct lm_store *s, const struct lm_record *before, int64_t row,
    const struct lm_change *change, int64_t *seq)
{
    if (before == NULL && lm_store_bulk_event(s, row, change, seq))
        return LM_OK;
    enum lm_err ended = lm_store_bulk_end(s);
    if (ended != LM_OK)
        return ended;
    char *body = before != NULL ? lm_record_json(before) : NULL;
    if (before != NULL && body == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    sqlite3_stmt *st = lm_store_st(s, LM_ST_CHANGE_ADD);
    enum lm_err err = st != NULL ? LM_OK : s->problem.err;
    if (err == LM_OK) {
        struct lm_bind b = {st, 0};
        if (change->session != 0)
            lm_bind_int(&b, change->session);
        else
            lm_bind_null(&b);
        lm_bind_time(&b, change->stamp->t_ms);
        lm_bind_time(&b, change->stamp->clock_ms);
        lm_bind_int(&b, row);
        lm_bind_opt(&b, body);
        lm_bind_opt(&b, change->why);
        lm_bind_opt(&b, change->token);
        bind_group(&b, s, change->undoes);
        err = lm_store_run(s, st, "writing the history");
        *seq = sqlite3_last_insert_rowid(s->db);
        if (err == LM_OK && s->one_change && s->change_first == 0)
            s->change_first = *seq;
    }
    free(body);
    return err;
}

enum lm_err lm_store_devices_write(struct lm_store *s, const struct lm_record *rec, int64_t row)
{
    int64_t ids[LM_DEVICES_MAX];
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++)
        err = lm_store_device_add(s, row, rec->key, &rec->devices[i], &ids[i]);
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++)
        if (rec->devices[i].replaces != 0)
            err = lm_store_device_link(s, ids[i], ids[rec->devices[i].replaces - 1]);
    return err;
}

static enum lm_err write_new(struct put *p)
{
    enum lm_err err = lm_store_animal_write(p->store, p->rec, &p->animal);
    for (unsigned i = 0; i < p->rec->n_devices && err == LM_OK; i++)
        if (p->rec->devices[i].id != 0)
            return lm_problem_set(&p->store->problem, LM_EARG, "read the animal again first",
                "device %lld is not one of animal %s, which is new",
                (long long) p->rec->devices[i].id, p->rec->key);
    err = err ? err : lm_store_devices_write(p->store, p->rec, p->animal);
    return err ? err : lm_store_change_write(p->store, NULL, p->animal, &p->change, &p->seq);
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
    enum lm_err err = lm_store_bulk_claim(p->store, p->rec);
    err = err ? err : write_new(p);
    if (err != LM_OK && p->store->bulk != NULL) {
        struct lm_problem first = p->store->problem;
        lm_store_bulk_end(p->store);
        p->store->problem = first;
    }
    if (err != LM_OK && joined && p->animal != 0 && p->store->broken.err == LM_OK)
        unwrite_new(p);
    return err;
}

/* Row of the device that device @p i was put on for, as the entry says; 0 for none. */
static int64_t replaced_row(const struct lm_record *rec, unsigned i, const int64_t *ids)
{
    unsigned at = rec->devices[i].replaces;
    return at != 0 ? ids[at - 1] : 0;
}

static enum lm_err write_links(struct put *p, const struct lm_record *old,
    const int pair[LM_DEVICES_MAX], const int64_t ids[LM_DEVICES_MAX])
{
    int64_t old_ids[LM_DEVICES_MAX];
    enum lm_err err = LM_OK;
    for (unsigned j = 0; j < old->n_devices; j++)
        old_ids[j] = old->devices[j].id;
    for (unsigned i = 0; i < p->rec->n_devices && err == LM_OK; i++) {
        int64_t want = replaced_row(p->rec, i, ids);
        int64_t have = pair[i] != LM_MATCH_NEW ? replaced_row(old, (unsigned) pair[i], old_ids) : 0;
        if (want != have)
            err = lm_store_device_link(p->store, ids[i], want);
    }
    return err;
}

static enum lm_err write_devices(
    struct put *p, const struct lm_record *old, const int pair[LM_DEVICES_MAX])
{
    const struct lm_record *rec = p->rec;
    int64_t ids[LM_DEVICES_MAX];
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++)
        if (pair[i] != LM_MATCH_NEW &&
            !lm_store_same_marks(&old->devices[pair[i]], &rec->devices[i]))
            err = lm_store_device_park(p->store, &old->devices[pair[i]]);
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (pair[i] == LM_MATCH_NEW) {
            err = lm_store_device_add(p->store, p->animal, rec->key, d, &ids[i]);
            continue;
        }
        ids[i] = old->devices[pair[i]].id;
        if (!lm_store_same_device(&old->devices[pair[i]], d))
            err = lm_store_device_set(p->store, rec->key, ids[i], d);
    }
    return err ? err : write_links(p, old, pair, ids);
}

static bool same_link(const struct lm_record *old, const struct lm_record *rec,
    const int pair[LM_DEVICES_MAX], unsigned i)
{
    unsigned now = rec->devices[i].replaces, was = old->devices[pair[i]].replaces;
    if (now == 0 || was == 0)
        return now == was;
    return pair[now - 1] == (int) was - 1;
}

static bool unchanged(
    const struct lm_record *old, const struct lm_record *rec, const int pair[LM_DEVICES_MAX])
{
    if (rec->n_devices != old->n_devices || !lm_store_same_animal(old, rec))
        return false;
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (!lm_store_same_device(&old->devices[pair[i]], &rec->devices[i]) ||
            !same_link(old, rec, pair, i))
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
        err = lm_store_animal_write(p->store, &rec, &known.animal);
    err = err ? err : write_devices(&known, &old, pair);
    return err ? err : lm_store_change_write(p->store, &old, p->animal, &p->change, &p->seq);
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
    struct put p = {.store = s, .rec = rec};
    enum lm_scope scope;
    p.change = (struct lm_change){.stamp = stamp, .session = session, .why = why, .token = token};
    enum lm_err err = lm_store_record_check(s, rec);
    err = err ? err : lm_store_write_begin(s, false, &scope);
    if (err != LM_OK)
        return err;
    err = s->bulk != NULL ? LM_ENOTFOUND : lm_store_animal_row(s, rec->key, &p.animal);
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
