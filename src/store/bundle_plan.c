/* Comparing a bundle with our journal: what is missing, on which animals, and which device is
 * which.
 */
#include "bundle_priv.h"

#include <stdlib.h>
#include <string.h>

static enum lm_err no_memory(struct plan *p)
{
    return lm_problem_set(&p->store->problem, LM_ENOMEM, NULL, "out of memory");
}

void lm_unite_drop(struct plan *p)
{
    for (size_t i = 0; i < p->n; i++) {
        free(p->sides[i].cur);
        free(p->sides[i].mine);
        free(p->sides[i].fin);
    }
    free(p->sides);
    json_decref(p->index);
    json_decref(p->ids);
}

struct side *lm_unite_side(struct plan *p, const char *key, bool add)
{
    const json_t *at = json_object_get(p->index, key);
    if (at != NULL)
        return &p->sides[json_integer_value(at)];
    if (!add)
        return NULL;
    if (p->n == p->size) {
        size_t size = p->size != 0 ? p->size * 2 : 64;
        struct side *sides = realloc(p->sides, size * sizeof *sides);
        if (sides == NULL)
            return NULL;
        p->sides = sides;
        p->size = size;
    }
    if (json_object_set_new(p->index, key, json_integer((json_int_t) p->n)) != 0)
        return NULL;
    struct side *side = &p->sides[p->n++];
    *side = (struct side){0};
    snprintf(side->key, sizeof side->key, "%s", key);
    return side;
}

enum lm_err lm_unite_record(struct plan *p, const char *json, struct lm_record *rec)
{
    return lm_store_image(p->store, 0, json, strlen(json), rec);
}

bool lm_unite_same(const struct lm_record *a, const struct lm_record *b)
{
    bool same = lm_store_same_animal(a, b) && a->n_devices == b->n_devices &&
                a->struck == b->struck && strcmp(a->merged_into, b->merged_into) == 0;
    for (unsigned i = 0; i < a->n_devices && same; i++)
        same = lm_store_same_device(&a->devices[i], &b->devices[i]);
    return same;
}

static enum lm_err pair_ids(struct plan *p, int64_t there, int64_t here)
{
    char key[24];
    snprintf(key, sizeof key, "%lld", (long long) there);
    return json_object_set_new(p->ids, key, json_integer((json_int_t) here)) == 0 ? LM_OK
                                                                                  : no_memory(p);
}

enum lm_err lm_unite_map(struct plan *p, struct lm_record *rec)
{
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < rec->n_devices && err == LM_OK; i++) {
        char key[24];
        snprintf(key, sizeof key, "%lld", (long long) rec->devices[i].id);
        const json_t *here = json_object_get(p->ids, key);
        int64_t there = rec->devices[i].id;
        rec->devices[i].id = here != NULL ? json_integer_value(here) : p->next_id++;
        if (here == NULL)
            err = pair_ids(p, there, rec->devices[i].id);
    }
    return err;
}

/* Devices that are surely the same: both copies keep the same entry, in the same order. */
static enum lm_err zip(struct plan *p, const struct lm_record *there, const struct lm_record *here)
{
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < there->n_devices && i < here->n_devices && err == LM_OK; i++)
        if (lm_store_same_marks(&there->devices[i], &here->devices[i]))
            err = pair_ids(p, there->devices[i].id, here->devices[i].id);
    return err;
}

/* Both sides put the same tag on the animal, each for itself. */
static enum lm_err zip_new(
    struct plan *p, const struct lm_record *there, const struct lm_record *here)
{
    enum lm_err err = LM_OK;
    for (unsigned i = 0; i < there->n_devices && err == LM_OK; i++) {
        const struct lm_device *d = &there->devices[i];
        char key[24];
        snprintf(key, sizeof key, "%lld", (long long) d->id);
        if (json_object_get(p->ids, key) != NULL)
            continue;
        for (unsigned j = 0; j < here->n_devices && err == LM_OK; j++) {
            const struct lm_device *o = &here->devices[j];
            if (lm_eid_key(d->eid) == lm_eid_key(o->eid) &&
                lm_eid_retag(d->eid) == lm_eid_retag(o->eid) && strcmp(d->visual, o->visual) == 0 &&
                strcmp(d->uid, o->uid) == 0 &&
                (lm_eid_key(d->eid) != 0 || d->visual[0] != '\0' || d->uid[0] != '\0')) {
                err = pair_ids(p, d->id, o->id);
                break;
            }
        }
    }
    return err;
}

/* Where an event of the bundle is in our journal; 0: not there. */
static enum lm_err find_event(struct plan *p, sqlite3_stmt *st, struct bundle_event *e)
{
    char copy[BUNDLE_ID_SIZE];
    snprintf(copy, sizeof copy, "%.32s", e->is);
    int64_t place = strtoll(e->is + BUNDLE_ID_SIZE, NULL, 10);
    sqlite3_reset(st);
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, copy);
    lm_bind_int(&b, place);
    int rc = sqlite3_step(st);
    e->missing = rc == SQLITE_DONE;
    if (rc != SQLITE_ROW)
        return rc == SQLITE_DONE ? LM_OK : lm_store_fail(p->store, "reading the journal");
    struct lm_take t = {st, 0};
    e->seq = lm_take_int(&t);
    enum lm_event_kind kind = (enum lm_event_kind) lm_take_word(&t, LM_EVENT_REGISTER);
    int64_t t_ms = lm_take_time(&t);
    const char *key = (const char *) sqlite3_column_text(st, t.i);
    if (kind != e->kind || t_ms != e->t_ms ||
        strcmp(key != NULL ? key : "", e->animal != NULL ? e->animal : "") != 0)
        return lm_bundle_bad(p->b, LM_EINPUT, 0,
            "begin the other machine from a bundle, in a register of its own; what was done in the "
            "copied file can be brought over with lugmark export and import",
            "event %lld is another one there than here: one register was made by copying the "
            "file of the other, and both went on",
            (long long) e->seq);
    return LM_OK;
}

static enum lm_err find_events(struct plan *p)
{
    sqlite3_stmt *own = lm_store_prepare(p->store,
        "SELECT e.seq, e.kind, e.t_ms, a.key FROM event e LEFT JOIN animal a "
        "ON a.id = e.animal_id WHERE e.seq = ?2 AND e.copy_id IS NULL");
    sqlite3_stmt *other = lm_store_prepare(p->store,
        "SELECT e.seq, e.kind, e.t_ms, a.key FROM copy c JOIN event e ON e.copy_id = c.id "
        "AND e.copy_seq = ?2 LEFT JOIN animal a ON a.id = e.animal_id "
        "WHERE c.name = ?1");
    enum lm_err err = own != NULL && other != NULL ? LM_OK : p->store->problem.err;
    for (size_t i = 0; i < p->b->n && err == LM_OK; i++) {
        struct bundle_event *e = &p->b->events[i];
        err = find_event(p, strncmp(e->is, p->copy, 32) == 0 ? own : other, e);
    }
    sqlite3_finalize(own);
    sqlite3_finalize(other);
    return err;
}

/* This file was set back to an older state of itself: from here on it is another copy. */
static enum lm_err become_another(struct plan *p)
{
    int64_t last = lm_store_last_seq(p->store);
    bool behind = false;
    for (size_t i = 0; i < p->b->n && !behind; i++)
        behind = strncmp(p->b->events[i].is, p->copy, 32) == 0 &&
                 strtoll(p->b->events[i].is + BUNDLE_ID_SIZE, NULL, 10) > last;
    if (!behind)
        return LM_OK;
    enum lm_err err = lm_store_exec(p->store,
        "INSERT OR IGNORE INTO copy(name) SELECT value FROM setting WHERE key = 'id.copy';"
        "UPDATE event SET copy_seq = seq, copy_id = (SELECT c.id FROM copy c JOIN setting s "
        "ON s.value = c.name WHERE s.key = 'id.copy') WHERE copy_id IS NULL;"
        "UPDATE setting SET value = lower(hex(randomblob(16))) WHERE key = 'id.copy';",
        "giving the copy a new identity");
    return err ? err : lm_store_setting(p->store, "id.copy", p->copy, sizeof p->copy);
}

static enum lm_err note_missing(struct plan *p)
{
    for (size_t i = 0; i < p->b->n; i++) {
        const struct bundle_event *e = &p->b->events[i];
        if (e->missing)
            p->united->events++;
        if (e->missing && e->kind == LM_EVENT_OPEN)
            p->united->sessions++;
        if (!e->missing || e->kind != LM_EVENT_REGISTER)
            continue;
        struct side *side = lm_unite_side(p, e->animal, true);
        if (side == NULL)
            return no_memory(p);
        side->theirs++;
    }
    /* How an animal stands there, its last event says, whether or not we have that one. */
    for (size_t i = 0; i < p->b->n; i++) {
        const struct bundle_event *e = &p->b->events[i];
        struct side *side =
            e->kind == LM_EVENT_REGISTER ? lm_unite_side(p, e->animal, false) : NULL;
        if (side != NULL)
            side->last = i;
    }
    return LM_OK;
}

static enum lm_err load_mine(struct plan *p, struct side *side)
{
    struct lm_record rec;
    int64_t row = 0;
    /* Also one that counts no more: that it was taken back or merged is what we say of it. */
    enum lm_err err = lm_store_animal_row(p->store, side->key, &row);
    if (err == LM_ENOTFOUND)
        return LM_OK;
    err = err ? err : lm_store_load(p->store, row, &rec);
    if (err != LM_OK)
        return err;
    side->mine = lm_record_json(&rec);
    side->cur = side->mine != NULL ? strdup(side->mine) : NULL;
    return side->cur != NULL ? LM_OK : no_memory(p);
}

/* A change that both know: the devices in it are the same ones. */
static enum lm_err zip_event(struct plan *p, const struct bundle_event *e, sqlite3_stmt *st)
{
    struct lm_store_event mine;
    struct lm_record there;
    sqlite3_reset(st);
    sqlite3_bind_int64(st, 1, e->seq);
    if (sqlite3_step(st) != SQLITE_ROW)
        return lm_store_fail(p->store, "reading the journal");
    enum lm_err err = lm_store_event_row(p->store, st, &mine);
    err = err ? err : lm_bundle_record(p->b, e, &there);
    err = err ? err : zip(p, &there, &mine.record);
    lm_store_event_free(&mine);
    return err;
}

static enum lm_err zip_shared(struct plan *p)
{
    sqlite3_stmt *st = lm_store_prepare(p->store, "SELECT " LM_SQL_EVENT " WHERE seq = ?1");
    enum lm_err err = st != NULL ? LM_OK : p->store->problem.err;
    /* Of all animals and not only of those that changed: a device may have come from any. */
    for (size_t i = 0; i < p->b->n && err == LM_OK; i++) {
        const struct bundle_event *e = &p->b->events[i];
        if (e->kind == LM_EVENT_REGISTER && !e->missing)
            err = zip_event(p, e, st);
    }
    sqlite3_finalize(st);
    return err;
}

/* Changes of ours that the bundle does not know. */
static enum lm_err count_ours(struct plan *p)
{
    sqlite3_stmt *st = lm_store_prepare(p->store,
        "SELECT a.key, e.seq, c.name, e.copy_seq FROM event e JOIN animal a ON a.id = e.animal_id "
        "LEFT JOIN copy c ON c.id = e.copy_id WHERE e.kind = 6");
    enum lm_err err = st != NULL ? LM_OK : p->store->problem.err;
    int rc = SQLITE_DONE;
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        char is[BUNDLE_IS_SIZE];
        const char *copy = (const char *) sqlite3_column_text(st, 2);
        struct side *side = lm_unite_side(p, (const char *) sqlite3_column_text(st, 0), false);
        snprintf(is, sizeof is, "%s:%lld", copy != NULL ? copy : p->copy,
            (long long) sqlite3_column_int64(st, copy != NULL ? 3 : 1));
        if (side != NULL && json_object_get(p->b->index, is) == NULL)
            side->ours++;
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(p->store, "reading the journal");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err first_new_id(struct plan *p)
{
    sqlite3_stmt *st = lm_store_prepare(p->store, "SELECT ifnull(max(id), 0) + 1 FROM device");
    if (st == NULL)
        return p->store->problem.err;
    enum lm_err err = LM_OK;
    if (sqlite3_step(st) == SQLITE_ROW)
        p->next_id = sqlite3_column_int64(st, 0);
    else
        err = lm_store_fail(p->store, "reading the devices");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err zip_sides(struct plan *p)
{
    struct lm_record there, here;
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < p->n && err == LM_OK; i++) {
        struct side *side = &p->sides[i];
        if (side->mine == NULL || side->ours == 0)
            continue;
        err = lm_unite_record(p, side->mine, &here);
        err = err ? err : lm_bundle_record(p->b, &p->b->events[side->last], &there);
        err = err ? err : zip_new(p, &there, &here);
    }
    return err;
}

enum lm_err lm_unite_make(struct plan *p)
{
    p->index = json_object();
    p->ids = json_object();
    enum lm_err err = p->index != NULL && p->ids != NULL ? LM_OK : no_memory(p);
    err = err ? err : lm_store_setting(p->store, "id.copy", p->copy, sizeof p->copy);
    err = err ? err : become_another(p);
    err = err ? err : find_events(p);
    err = err ? err : note_missing(p);
    if (err != LM_OK || p->n == 0)
        return err;
    for (size_t i = 0; i < p->n && err == LM_OK; i++)
        err = load_mine(p, &p->sides[i]);
    err = err ? err : count_ours(p);
    err = err ? err : zip_shared(p);
    err = err ? err : zip_sides(p);
    return err ? err : first_new_id(p);
}
