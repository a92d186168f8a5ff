/* Changes of several animals at once, and taking the last change back. */
#include "store/store_priv.h"

#include <stdlib.h>
#include <string.h>

/* What one change does to one animal, between its two passes. */
struct part {
    int64_t row, event;
};

static enum lm_err no_memory(struct lm_store *s)
{
    return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
}

static enum lm_err clear_devices(struct lm_store *s, int64_t row)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICES_UNADD);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, row);
    return lm_store_run(s, st, "writing a device");
}

static bool has_device(const struct lm_record *const recs[], size_t n, int64_t id)
{
    for (size_t i = 0; i < n; i++)
        for (unsigned k = 0; k < recs[i]->n_devices; k++)
            if (recs[i]->devices[k].id == id)
                return true;
    return false;
}

/* One entry as it stood goes into the journal, and its devices lie loose until the second pass. */
static enum lm_err loosen(struct lm_store *s, const struct lm_record *const recs[], size_t n,
    size_t at, struct part *part, const struct lm_change *change)
{
    struct lm_record old;
    const struct lm_record *before = &old;
    enum lm_err err = lm_store_record_check(s, recs[at]);
    err = err ? err : lm_store_animal_row(s, recs[at]->key, &part->row);
    if (err == LM_ENOTFOUND) {
        before = NULL;
        err = lm_store_animal_write(s, recs[at], &part->row);
    } else if (err == LM_OK) {
        err = lm_store_load(s, part->row, &old);
    }
    for (unsigned k = 0; err == LM_OK && before != NULL && k < old.n_devices; k++)
        if (!has_device(recs, n, old.devices[k].id))
            err = lm_problem_set(&s->problem, LM_EARG,
                "a device that is worn no more is removed, never deleted",
                "device %lld of animal %s is missing from the change",
                (long long) old.devices[k].id, old.key);
    err = err ? err : clear_devices(s, part->row);
    return err ? err : lm_store_change_write(s, before, part->row, change, &part->event);
}

static enum lm_err change_all(struct lm_store *s, const struct lm_record *const recs[], size_t n,
    struct part *parts, const struct lm_change *change)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < n && err == LM_OK; i++)
        err = loosen(s, recs, n, i, &parts[i], change);
    for (size_t i = 0; i < n && err == LM_OK; i++) {
        err = lm_store_animal_write(s, recs[i], &parts[i].row);
        err = err ? err : lm_store_devices_write(s, recs[i], parts[i].row);
    }
    return err;
}

enum lm_err lm_store_change(struct lm_store *store, const struct lm_record *const recs[], size_t n,
    int64_t t_ms, const char *why, int64_t *seq)
{
    struct lm_event stamp = {.t_ms = t_ms, .clock_ms = LM_TIME_NONE};
    struct lm_change change = {.stamp = &stamp, .why = why};
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_write_begin(store, true, &scope);
    if (err != LM_OK)
        return err;
    struct part *parts = calloc(n + 1, sizeof *parts);
    if (!store->one_change)
        lm_store_one_change(store);
    err = parts != NULL ? change_all(store, recs, n, parts, &change) : no_memory(store);
    err = lm_store_write_end(store, scope, err);
    if (seq != NULL)
        *seq = err == LM_OK && parts != NULL && n > 0 ? parts[0].event : 0;
    free(parts);
    return err;
}

/* Room for one more part. */
static enum lm_err room_for_part(struct lm_store *s, struct part **parts, size_t n, size_t *room)
{
    size_t more = *room != 0 ? *room * 2 : 16;
    if (n < *room)
        return LM_OK;
    struct part *grown = realloc(*parts, more * sizeof *grown);
    if (grown == NULL)
        return no_memory(s);
    *parts = grown;
    *room = more;
    return LM_OK;
}

/* The events of the last change, earliest first. Ownership of *parts: the caller. */
static enum lm_err last_parts(
    struct lm_store *s, struct lm_store_last *last, struct part **parts, size_t *n)
{
    size_t room = 0;
    enum lm_err err = LM_OK;
    int rc = SQLITE_DONE;
    sqlite3_stmt *st = lm_store_st(s, LM_ST_LAST_CHANGE);
    if (st == NULL)
        return s->problem.err;
    rc = sqlite3_step(st);
    last->seq = rc == SQLITE_ROW ? sqlite3_column_int64(st, 0) : 0;
    sqlite3_reset(st);
    if (rc == SQLITE_DONE)
        return lm_problem_set(
            &s->problem, LM_ENOTFOUND, NULL, "no change of the register is left to take back");
    st = rc == SQLITE_ROW ? lm_store_st(s, LM_ST_CHANGE_PARTS) : NULL;
    if (st == NULL)
        return lm_store_fail(s, "reading the history");
    sqlite3_bind_int64(st, 1, last->seq);
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        err = room_for_part(s, parts, *n, &room);
        if (err != LM_OK)
            break;
        struct lm_take t = {st, 0};
        struct part *p = &(*parts)[(*n)++];
        p->event = lm_take_int(&t);
        p->row = lm_take_int(&t);
        if (*n == 1) {
            last->t_ms = lm_take_time(&t);
            lm_take_text(&t, last->why, sizeof last->why);
        }
    }
    sqlite3_reset(st);
    last->animals = (uint32_t) *n;
    return err == LM_OK && rc != SQLITE_DONE ? lm_store_fail(s, "reading the history") : err;
}

static int by_event(const void *a, const void *b)
{
    const struct part *x = a, *y = b;
    return (x->event > y->event) - (x->event < y->event);
}

static int by_row(const void *a, const void *b)
{
    const struct part *x = a, *y = b;
    return x->row != y->row ? (x->row > y->row) - (x->row < y->row) : by_event(a, b);
}

/* Of an animal that one change changed twice only the earlier event stays: what it found is how the
 * animal stood before the change. @return How many animals. */
static size_t one_an_animal(struct part *parts, size_t n)
{
    size_t kept = 0;
    if (n == 0)
        return 0;
    qsort(parts, n, sizeof *parts, by_row);
    for (size_t i = 0; i < n; i++)
        if (kept == 0 || parts[kept - 1].row != parts[i].row)
            parts[kept++] = parts[i];
    qsort(parts, kept, sizeof *parts, by_event);
    return kept;
}

/* The entry as the event found it; *there: there was one. */
static enum lm_err image_before(
    struct lm_store *s, const struct part *part, struct lm_record *rec, bool *there)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_NEXT_IMAGE); /* the first at or after this place */
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_int(&b, part->row);
    lm_bind_int(&b, part->event - 1);
    enum lm_err err = LM_OK;
    *there = false;
    if (sqlite3_step(st) == SQLITE_ROW) {
        const char *body = (const char *) sqlite3_column_text(st, 1);
        *there = body != NULL;
        if (body != NULL)
            err = lm_store_image(s, part->event, body, (size_t) sqlite3_column_bytes(st, 1), rec);
    } else {
        err = lm_store_fail(s, "reading the history");
    }
    /* No body is a new animal; none for want of memory is not. */
    if (sqlite3_reset(st) != SQLITE_OK && err == LM_OK)
        err = lm_store_fail(s, "reading the history");
    return err;
}

/* What taking an event back makes of the animal that is now @p now. */
static enum lm_err entry_before(
    struct lm_store *s, const struct part *part, const struct lm_record *now, struct lm_record *rec)
{
    bool there = false;
    enum lm_err err = image_before(s, part, rec, &there);
    if (err != LM_OK || there)
        return err;
    *rec = *now;
    rec->struck = true;
    rec->merged_into[0] = '\0';
    rec->n_devices = 0;
    return LM_OK;
}

/* The taking back of one event goes into the journal; the entry is still as it is. */
static enum lm_err undo_write(
    struct lm_store *s, const struct part *part, const struct lm_event *stamp, const char *why)
{
    struct lm_record now;
    int64_t seq;
    struct lm_change change = {.stamp = stamp, .why = why, .undoes = part->event};
    enum lm_err err = lm_store_load(s, part->row, &now);
    return err ? err : lm_store_change_write(s, &now, part->row, &change, &seq);
}

static enum lm_err undo_restore(struct lm_store *s, const struct part *part)
{
    struct lm_record now, rec;
    int64_t row = part->row;
    enum lm_err err = lm_store_load(s, row, &now);
    err = err ? err : entry_before(s, part, &now, &rec);
    err = err ? err : lm_store_animal_write(s, &rec, &row);
    return err ? err : lm_store_devices_write(s, &rec, row);
}

static enum lm_err undo_all(
    struct lm_store *s, const struct lm_event *stamp, const char *why, struct lm_store_last *last)
{
    struct part *parts = NULL;
    size_t n = 0;
    enum lm_err err = last_parts(s, last, &parts, &n);
    lm_store_one_change(s);
    for (size_t i = 0; i < n && err == LM_OK; i++)
        err = undo_write(s, &parts[i], stamp, why);
    if (err == LM_OK)
        last->animals = (uint32_t) (n = one_an_animal(parts, n));
    /* A code may go from one animal to another and back: none has devices until all are loose. */
    for (size_t i = 0; i < n && err == LM_OK; i++)
        err = clear_devices(s, parts[i].row);
    for (size_t i = 0; i < n && err == LM_OK; i++)
        err = undo_restore(s, &parts[i]);
    free(parts);
    return err;
}

enum lm_err lm_store_undo(
    struct lm_store *store, int64_t t_ms, const char *why, struct lm_store_last *last)
{
    struct lm_event stamp = {.t_ms = t_ms, .clock_ms = LM_TIME_NONE};
    struct lm_store_last mine = {0};
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_write_begin(store, true, &scope);
    if (err != LM_OK)
        return err;
    err = undo_all(store, &stamp, why, last != NULL ? last : &mine);
    return lm_store_write_end(store, scope, err);
}

static enum lm_err tell_part(
    struct lm_store *s, const struct part *part, lm_change_fn *fn, void *ctx)
{
    struct lm_record now, before;
    bool there = false;
    enum lm_err err = lm_store_load(s, part->row, &now);
    err = err ? err : image_before(s, part, &before, &there);
    return err ? err : fn(there && !before.struck ? &before : NULL, &now, ctx);
}

enum lm_err lm_store_last_change(
    struct lm_store *store, struct lm_store_last *last, lm_change_fn *fn, void *ctx)
{
    struct part *parts = NULL;
    size_t n = 0;
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = last_parts(store, last, &parts, &n);
    n = err == LM_OK ? one_an_animal(parts, n) : 0;
    last->animals = (uint32_t) n;
    for (size_t i = 0; i < n && err == LM_OK && fn != NULL; i++)
        err = tell_part(store, &parts[i], fn, ctx);
    free(parts);
    lm_store_read_end(store, own);
    return err;
}
