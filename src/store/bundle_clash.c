/* What contradicts between a bundle and the register, and the entries that come of the decisions.
 */
#include "bundle_priv.h"

#include <stdlib.h>
#include <string.h>

static enum lm_err no_memory(struct plan *p)
{
    return lm_problem_set(&p->store->problem, LM_ENOMEM, NULL, "out of memory");
}

static enum lm_keep ask(struct plan *p, const struct lm_clash *clash)
{
    enum lm_keep keep =
        p->hooks->keep != NULL ? p->hooks->keep(clash, p->hooks->ctx) : LM_KEEP_NONE;
    p->united->clashes++;
    p->undecided = p->undecided || keep == LM_KEEP_NONE;
    return keep;
}

/* A device of the losing side stays in the entry, as removed: devices are never deleted. */
static void lay_aside(struct lm_device *d, const char *why)
{
    if (d->gone)
        return;
    d->gone = true;
    d->removed = (struct lm_date){0};
    snprintf(d->why, sizeof d->why, "%s", why);
}

static bool has_id(const struct lm_record *rec, int64_t id)
{
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (rec->devices[i].id == id)
            return true;
    return false;
}

static enum lm_err add_losers(
    struct plan *p, struct lm_record *winner, const struct lm_record *loser, const char *why)
{
    /* An entry that counts no more has no devices. */
    for (unsigned i = 0; i < loser->n_devices && !winner->struck; i++) {
        if (has_id(winner, loser->devices[i].id))
            continue;
        if (winner->n_devices == LM_DEVICES_MAX)
            return lm_bundle_bad(p->b, LM_EINPUT, 0, "name one of the two animals anew first",
                "animal %s would have more than %u devices", winner->key, LM_DEVICES_MAX);
        struct lm_device *d = &winner->devices[winner->n_devices++];
        *d = loser->devices[i];
        d->replaces = 0; /* a place in the other list */
        lay_aside(d, why);
    }
    return LM_OK;
}

static enum lm_err set_fin(struct plan *p, struct side *side, const struct lm_record *rec)
{
    free(side->fin);
    side->fin = lm_record_json(rec);
    return side->fin != NULL ? LM_OK : no_memory(p);
}

static enum lm_err decide_animal(struct plan *p, struct side *side)
{
    struct lm_record ours, theirs;
    enum lm_err err = lm_bundle_record(p->b, &p->b->events[side->last], &theirs);
    err = err ? err : lm_unite_map(p, &theirs);
    if (err == LM_OK && side->mine != NULL)
        err = lm_unite_record(p, side->mine, &ours);
    if (err != LM_OK)
        return err;
    if (side->ours == 0 || side->mine == NULL)
        return set_fin(p, side, &theirs);
    if (lm_unite_same(&ours, &theirs))
        return set_fin(p, side, &ours);
    struct lm_clash clash = {LM_CLASH_ANIMAL, side->key, "", "", &ours, &theirs};
    bool mine = ask(p, &clash) != LM_KEEP_THEIRS;
    side->decided = true;
    err = mine ? add_losers(p, &ours, &theirs, "laid aside on uniting")
               : add_losers(p, &theirs, &ours, "laid aside on uniting");
    return err ? err : set_fin(p, side, mine ? &ours : &theirs);
}

static bool wears(const struct lm_device *d, struct lm_eid eid)
{
    return !d->gone && lm_eid_key(d->eid) == lm_eid_key(eid) &&
           lm_eid_retag(d->eid) == lm_eid_retag(eid);
}

/* Key of another animal that will wear the code: one of the sides, else one that nobody touches. */
static enum lm_err find_wearer(struct plan *p, json_t *seen, const char *text, struct lm_eid eid,
    const char *key, char other[LM_NAME_MAX + 1])
{
    const char *there = json_string_value(json_object_get(seen, text));
    other[0] = '\0';
    if (there != NULL) {
        snprintf(other, LM_NAME_MAX + 1, "%s", there);
        return LM_OK;
    }
    sqlite3_stmt *st = lm_store_st(p->store, LM_ST_WEARER);
    if (st == NULL)
        return p->store->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_int(&b, (int64_t) lm_eid_key(eid));
    lm_bind_int(&b, lm_eid_retag(eid));
    lm_bind_text(&b, "");
    int rc = sqlite3_step(st);
    if (rc == SQLITE_ROW) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, other, LM_NAME_MAX + 1);
        if (strcmp(other, key) == 0 || lm_unite_side(p, other, false) != NULL)
            other[0] = '\0'; /* a side says itself what it will wear */
    }
    sqlite3_reset(st);
    return rc == SQLITE_ROW || rc == SQLITE_DONE ? LM_OK
                                                 : lm_store_fail(p->store, "reading the devices");
}

/* The side of an animal; one that nobody touched until now ends as it stands. */
static enum lm_err side_of(struct plan *p, const char *key, struct side **side)
{
    struct lm_record rec;
    *side = lm_unite_side(p, key, true);
    if (*side == NULL)
        return no_memory(p);
    if ((*side)->fin != NULL)
        return LM_OK;
    enum lm_err err = lm_store_get(p->store, key, &rec);
    if (err != LM_OK)
        return err;
    (*side)->mine = lm_record_json(&rec);
    (*side)->cur = (*side)->mine != NULL ? strdup((*side)->mine) : NULL;
    return (*side)->cur != NULL ? set_fin(p, *side, &rec) : no_memory(p);
}

/* Take the code off an animal that lost it. */
static enum lm_err lose_code(struct plan *p, const char *key, struct lm_eid eid)
{
    struct lm_record rec;
    char why[LM_NAME_MAX + 1];
    struct side *side = NULL;
    enum lm_err err = side_of(p, key, &side);
    err = err ? err : lm_unite_record(p, side->fin, &rec);
    if (err != LM_OK)
        return err;
    snprintf(why, sizeof why, "its code is on another animal");
    for (unsigned i = 0; i < rec.n_devices; i++)
        if (wears(&rec.devices[i], eid))
            lay_aside(&rec.devices[i], why);
    return set_fin(p, side, &rec);
}

/* Which of two is "ours": the one that wore the code here before. */
static enum lm_err decide_code(
    struct plan *p, const char *a, const char *b, struct lm_eid eid, const char **winner)
{
    struct lm_record rec;
    char code[LM_EID_TEXT_SIZE];
    bool a_ours = false;
    const struct side *side = lm_unite_side(p, a, false);
    if (side != NULL && side->mine != NULL) {
        enum lm_err err = lm_unite_record(p, side->mine, &rec);
        if (err != LM_OK)
            return err;
        for (unsigned i = 0; i < rec.n_devices; i++)
            a_ours = a_ours || wears(&rec.devices[i], eid);
    }
    struct lm_clash clash = {
        LM_CLASH_CODE, a_ours ? b : a, a_ours ? a : b, lm_eid_format(eid, code), NULL, NULL};
    *winner = ask(p, &clash) == LM_KEEP_THEIRS ? clash.animal : clash.other;
    return LM_OK;
}

static enum lm_err check_code(
    struct plan *p, json_t *seen, const char *key, const struct lm_device *d)
{
    char text[32], other[LM_NAME_MAX + 1];
    const char *winner = key;
    snprintf(text, sizeof text, "%llu.%u", (unsigned long long) lm_eid_key(d->eid),
        lm_eid_retag(d->eid));
    enum lm_err err = find_wearer(p, seen, text, d->eid, key, other);
    if (err == LM_OK && other[0] != '\0') {
        err = decide_code(p, key, other, d->eid, &winner);
        err = err ? err : lose_code(p, strcmp(winner, key) == 0 ? other : key, d->eid);
    }
    if (err == LM_OK && json_object_set_new(seen, text, json_string(winner)) != 0)
        err = no_memory(p);
    return err;
}

static enum lm_err decide_codes(struct plan *p)
{
    struct lm_record rec;
    json_t *seen = json_object();
    enum lm_err err = seen != NULL ? LM_OK : no_memory(p);
    size_t n = p->n; /* those that lose a code are added behind, and wear nothing new */
    for (size_t i = 0; i < n && err == LM_OK; i++) {
        char key[LM_NAME_MAX + 1]; /* the list may move */
        snprintf(key, sizeof key, "%s", p->sides[i].key);
        err = lm_unite_record(p, p->sides[i].fin, &rec);
        for (unsigned k = 0; k < rec.n_devices && err == LM_OK; k++)
            if (!rec.devices[k].gone && rec.devices[k].eid.known != LM_EID_NONE)
                err = check_code(p, seen, key, &rec.devices[k]);
    }
    json_decref(seen);
    return err;
}

static void drop_device(struct lm_record *rec, unsigned at)
{
    for (unsigned i = 0; i < rec->n_devices; i++) {
        unsigned old = rec->devices[i].replaces;
        if (old == at + 1)
            rec->devices[i].replaces = 0;
        else if (old > at + 1)
            rec->devices[i].replaces--;
    }
    memmove(&rec->devices[at], &rec->devices[at + 1],
        (rec->n_devices - at - 1) * sizeof rec->devices[0]);
    rec->n_devices--;
}

static enum lm_err drop_id(struct plan *p, struct side *side, int64_t id)
{
    struct lm_record rec;
    enum lm_err err = lm_unite_record(p, side->fin, &rec);
    for (unsigned i = rec.n_devices; err == LM_OK && i-- > 0;)
        if (rec.devices[i].id == id)
            drop_device(&rec, i);
    return err ? err : set_fin(p, side, &rec);
}

/* Key of the animal here that has the device and that uniting does not touch; "" for none. */
static enum lm_err find_elsewhere(
    struct plan *p, sqlite3_stmt *st, int64_t id, char key[LM_NAME_MAX + 1])
{
    key[0] = '\0';
    sqlite3_reset(st);
    sqlite3_bind_int64(st, 1, id);
    int rc = sqlite3_step(st);
    if (rc == SQLITE_ROW) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, key, LM_NAME_MAX + 1);
        if (lm_unite_side(p, key, false) != NULL)
            key[0] = '\0';
    }
    return rc == SQLITE_ROW || rc == SQLITE_DONE ? LM_OK
                                                 : lm_store_fail(p->store, "reading the devices");
}

/* Only the other copy's entry can want a device that one of ours has and nobody touched. */
static enum lm_err take_from(
    struct plan *p, size_t at, const struct lm_device *d, const char *elsewhere)
{
    struct side *other = NULL;
    if (d->gone)
        return drop_id(p, &p->sides[at], d->id);
    enum lm_err err = side_of(p, elsewhere, &other);
    return err ? err : drop_id(p, other, d->id);
}

/* A device that two entries shall have: it stays where it is worn, else where it was decided. */
static enum lm_err settle_id(
    struct plan *p, sqlite3_stmt *st, json_t *seen, size_t at, const struct lm_device *d)
{
    char text[24], elsewhere[LM_NAME_MAX + 1] = "";
    bool worn = !d->gone;
    snprintf(text, sizeof text, "%lld", (long long) d->id);
    const json_t *other = json_object_get(seen, text);
    enum lm_err err = other != NULL ? LM_OK : find_elsewhere(p, st, d->id, elsewhere);
    if (err == LM_OK && elsewhere[0] != '\0')
        err = take_from(p, at, d, elsewhere);
    if (err != LM_OK || (elsewhere[0] != '\0' && d->gone))
        return err;
    if (other != NULL) {
        size_t there = (size_t) json_integer_value(json_array_get(other, 0));
        bool worn_there = json_is_true(json_array_get(other, 1));
        bool here = worn != worn_there ? worn : p->sides[at].decided && !p->sides[there].decided;
        if (!here)
            return drop_id(p, &p->sides[at], d->id);
        err = drop_id(p, &p->sides[there], d->id);
    }
    if (err == LM_OK &&
        json_object_set_new(seen, text, json_pack("[I, b]", (json_int_t) at, worn)) != 0)
        err = no_memory(p);
    return err;
}

/* A merge or a split moved a device on one side, and the other side kept it where it was. */
static enum lm_err decide_ids(struct plan *p)
{
    struct lm_record rec;
    json_t *seen = json_object();
    sqlite3_stmt *st = lm_store_prepare(
        p->store, "SELECT a.key FROM device d JOIN animal a ON a.id = d.animal_id WHERE d.id = ?1");
    enum lm_err err = seen == NULL ? no_memory(p) : st == NULL ? p->store->problem.err : LM_OK;
    for (size_t i = 0; i < p->n && err == LM_OK; i++) {
        err = lm_unite_record(p, p->sides[i].fin, &rec);
        for (unsigned k = 0; err == LM_OK && k < rec.n_devices; k++)
            err = settle_id(p, st, seen, i, &rec.devices[k]);
    }
    sqlite3_finalize(st);
    json_decref(seen);
    return err;
}

/* Whether the bundle leaves a session open, and one that is new to us. */
static bool theirs_open(const struct plan *p, bool *is_new)
{
    const struct bundle_event *open = NULL;
    for (size_t i = 0; i < p->b->n; i++) {
        const struct bundle_event *e = &p->b->events[i];
        if (e->kind == LM_EVENT_OPEN)
            open = e;
        else if (e->kind == LM_EVENT_CLOSE && open != NULL && strcmp(e->of, open->is) == 0)
            open = NULL;
    }
    *is_new = open != NULL && open->missing;
    return open != NULL;
}

static enum lm_err decide_session(struct plan *p)
{
    struct lm_store_session ours;
    bool is_new = false;
    enum lm_err err = lm_store_session_open(p->store, &ours);
    if (err == LM_ENOTFOUND || !theirs_open(p, &is_new) || !is_new)
        return err == LM_ENOTFOUND ? LM_OK : err;
    struct lm_clash clash = {LM_CLASH_SESSION, "", "", "", NULL, NULL};
    enum lm_keep keep = ask(p, &clash);
    p->close_ours = keep == LM_KEEP_THEIRS;
    p->close_theirs = keep == LM_KEEP_OURS;
    return LM_OK;
}

enum lm_err lm_unite_decide(struct plan *p)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < p->n && err == LM_OK; i++)
        err = decide_animal(p, &p->sides[i]);
    err = err ? err : decide_codes(p);
    err = err ? err : decide_ids(p);
    err = err ? err : decide_session(p);
    if (err == LM_OK && p->undecided)
        err = lm_problem_set(&p->store->problem, LM_EAMBIGUOUS,
            "decide each with --decide FILE, or all with --keep ours or --keep theirs",
            "%u contradictions between the two copies; nothing was changed", p->united->clashes);
    return err;
}
