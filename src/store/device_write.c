#include "store/store_priv.h"

#include <stdio.h>

/* The order of LM_ST_DEVICE_ADD and LM_ST_DEVICE_SET; the last parameter is the caller's. */
static void bind_device(struct lm_bind *b, const struct lm_device *d, char fold[LM_VISUAL_MAX + 1])
{
    uint64_t key = lm_eid_key(d->eid);
    lm_visual_fold(d->visual, fold);
    if (d->eid.known != LM_EID_NONE && key != 0)
        lm_bind_int(b, (int64_t) key);
    else
        lm_bind_null(b);
    lm_bind_int(b, (int64_t) d->eid.bits);
    lm_bind_int(b, d->eid.known);
    lm_bind_int(b, lm_eid_retag(d->eid));
    lm_bind_text(b, d->visual);
    lm_bind_text(b, fold);
    lm_bind_text(b, d->colour);
    lm_bind_text(b, d->uid);
    lm_bind_text(b, d->why);
    lm_bind_date(b, d->applied);
    lm_bind_date(b, d->removed);
    lm_bind_int(b, d->form);
    lm_bind_int(b, d->place);
    lm_bind_int(b, d->official);
    lm_bind_int(b, d->gone);
}

/* Somebody wears this code, or this chip, already: say who. */
static enum lm_err name_wearer(struct lm_store *s, const char *key, const struct lm_device *d)
{
    char code[LM_EID_TEXT_SIZE] = "", wearer[LM_NAME_MAX + 1] = "another animal";
    sqlite3_stmt *st = lm_store_st(s, LM_ST_WEARER);
    bool by_uid = false;
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, (int64_t) lm_eid_key(d->eid));
    sqlite3_bind_int64(st, 2, lm_eid_retag(d->eid));
    sqlite3_bind_text(st, 3, d->uid, -1, SQLITE_STATIC);
    if (sqlite3_step(st) == SQLITE_ROW) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, wearer, sizeof wearer);
        by_uid = lm_take_bool(&t);
    }
    sqlite3_reset(st);
    const char *what = by_uid ? d->uid : lm_eid_format(d->eid, code);
    return lm_problem_set(&s->problem, LM_EEXISTS,
        by_uid ? "remove that device from its animal first"
               : "remove that device from its animal first; a replacement with the same digits has "
                 "a higher retagging counter in its 16 hex digits",
        "animal %s: %s %s is worn by animal %s already", key, by_uid ? "chip" : "code", what,
        wearer);
}

static enum lm_err run_device(
    struct lm_store *s, sqlite3_stmt *st, const char *key, const struct lm_device *d)
{
    enum lm_err err = lm_store_run(s, st, "writing a device");
    return err == LM_EEXISTS ? name_wearer(s, key, d) : err;
}

enum lm_err lm_store_device_add(
    struct lm_store *s, int64_t animal, const char *key, const struct lm_device *d, int64_t *id)
{
    char fold[LM_VISUAL_MAX + 1];
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICE_ADD);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    bind_device(&b, d, fold);
    lm_bind_int(&b, animal);
    if (d->id != 0)
        lm_bind_int(&b, d->id);
    else
        lm_bind_null(&b);
    enum lm_err err = run_device(s, st, key, d);
    *id = err == LM_OK ? sqlite3_last_insert_rowid(s->db) : 0;
    return err;
}

enum lm_err lm_store_device_park(struct lm_store *s, const struct lm_device *old)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICE_PARK);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, old->id);
    return lm_store_run(s, st, "writing a device");
}

enum lm_err lm_store_device_set(
    struct lm_store *s, const char *key, int64_t id, const struct lm_device *d)
{
    char fold[LM_VISUAL_MAX + 1];
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICE_SET);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    bind_device(&b, d, fold);
    lm_bind_int(&b, id);
    return run_device(s, st, key, d);
}

enum lm_err lm_store_device_link(struct lm_store *s, int64_t id, int64_t replaces)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_DEVICE_LINK);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    if (replaces != 0)
        lm_bind_int(&b, replaces);
    else
        lm_bind_null(&b);
    lm_bind_int(&b, id);
    return lm_store_run(s, st, "writing a device");
}
