/* Accepting and rejecting explanations: what they change in the register. */
#include "explain_apply.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "open_db.h"

#define WHY_MAX 160

bool lm_explain_mends(const struct lm_explanation *e)
{
    switch (e->kind) {
    case LM_EX_NEW_DEVICE:
        return e->n_animals == 1 && e->n_eid == 1;
    case LM_EX_SWAPPED:
    case LM_EX_SHIFTED_RUN:
        return e->n_animals > 1 && e->n_animals == e->n_eid;
    case LM_EX_MISREAD:
    case LM_EX_STRANGER:
    case LM_EX_FAILED_EID:
    case LM_EX_ABSENT:
    case LM_EX_KINDS:
        break;
    }
    return false;
}

static const char *key_of(const struct lm_told *t, const struct lm_explanation *e, uint32_t i)
{
    return lm_roll_animal(lm_session_roll(t->session), e->animals[i]).key;
}

/** The worn device with this code; with none, the first worn one that has a code. */
static struct lm_device *worn(struct lm_record *rec, struct lm_eid eid)
{
    for (unsigned i = 0; i < rec->n_devices; i++) {
        struct lm_device *d = &rec->devices[i];
        if (!d->gone && d->eid.known && (!eid.known || lm_eid_key(d->eid) == lm_eid_key(eid)))
            return d;
    }
    return NULL;
}

static struct lm_date session_day(const struct lm_told *t)
{
    int64_t t_ms = lm_session_opened_ms(t->session);
    return lm_date_of(t_ms == LM_TIME_NONE ? lm_now_ms() : t_ms);
}

static void take_off(struct lm_device *d, const char *why, struct lm_date day)
{
    d->gone = true;
    d->removed = day;
    snprintf(d->why, sizeof d->why, "%s", why);
}

/** Put a code on an animal, on a device like the one that it takes the place of. */
static enum lm_err put_on(struct lm_record *rec, const struct lm_device *like, struct lm_eid eid,
    const char *visual, struct lm_date day)
{
    if (rec->n_devices == LM_DEVICES_MAX)
        return LM_EARG;
    struct lm_device *d = &rec->devices[rec->n_devices++];
    memset(d, 0, sizeof *d);
    d->eid = eid;
    d->form = like->form;
    d->place = like->place;
    d->official = like->official;
    memcpy(d->colour, like->colour, sizeof d->colour);
    d->applied = day;
    snprintf(d->visual, sizeof d->visual, "%s", visual);
    return LM_OK;
}

static const char *reason(
    const struct lm_told *t, uint32_t i, const struct lm_explanation *e, char why[WHY_MAX])
{
    snprintf(why, WHY_MAX, "explanation X%" PRIu32 " of session %" PRId64 " accepted: %s", i + 1,
        t->session_row, lm_explain_kind_name(e->kind));
    return why;
}

static enum lm_err accept_new(
    const struct lm_told *t, uint32_t i, const struct lm_explanation *e, struct lm_record *rec)
{
    static const struct lm_device plain = {.official = true};
    struct lm_device *old;
    char why[WHY_MAX];
    enum lm_err err = lm_store_get(t->store, key_of(t, e, 0), rec);
    if (err != LM_OK)
        return err;
    old = worn(rec, (struct lm_eid){0});
    struct lm_device like = old != NULL ? *old : plain;
    const char *visual = e->printed != NULL    ? e->printed
                         : e->as != NULL       ? e->as
                         : e->sighting != NULL ? e->sighting
                                               : "";
    if (old != NULL)
        take_off(old, "lost", session_day(t));
    err = put_on(rec, &like, e->eid[0], visual, session_day(t));
    if (err != LM_OK)
        return err;
    return lm_store_put(t->store, rec, lm_now_ms(), reason(t, i, e, why), NULL);
}

/** The animal (place in the list) that truly wears code @p k of the list. */
static uint32_t wearer(const struct lm_explanation *e, uint32_t k)
{
    int64_t n = e->n_animals, at = (int64_t) k + (e->kind == LM_EX_SWAPPED ? 1 : e->offset);
    return (uint32_t) (((at % n) + n) % n);
}

/** What a run or a swap is put right with: each animal's entry, and the device in question. */
struct crossing {
    struct lm_record *recs;
    struct lm_device **at, *was;
    const struct lm_record **list;
};

static enum lm_err look_up(
    const struct lm_told *t, const struct lm_explanation *e, struct crossing *c)
{
    for (uint32_t k = 0; k < e->n_animals; k++) {
        enum lm_err err = lm_store_get(t->store, key_of(t, e, k), &c->recs[k]);
        if (err != LM_OK)
            return err;
        c->at[k] = worn(&c->recs[k], e->eid[k]);
        if (c->at[k] == NULL)
            return LM_EARG;
        c->was[k] = *c->at[k];
        c->list[k] = &c->recs[k];
    }
    return LM_OK;
}

/**
 * The devices never were on the animals that the register says: each entry goes over to its true
 * wearer, under that animal's own number, all in one change. What was written before stays in the
 * history.
 */
static enum lm_err cross(
    const struct lm_told *t, uint32_t i, const struct lm_explanation *e, struct crossing *c)
{
    char why[WHY_MAX];
    enum lm_err err = look_up(t, e, c);
    for (uint32_t k = 0; k < e->n_animals && err == LM_OK; k++) {
        uint32_t to = wearer(e, k);
        *c->at[to] = c->was[k];
        c->at[to]->replaces = c->was[to].replaces;
        memcpy(c->at[to]->visual, c->was[to].visual, sizeof c->was[to].visual);
    }
    if (err != LM_OK)
        return err;
    return lm_store_change(
        t->store, c->list, e->n_animals, lm_now_ms(), reason(t, i, e, why), NULL);
}

static enum lm_err accept_crossed(
    const struct lm_told *t, uint32_t i, const struct lm_explanation *e)
{
    struct crossing c = {.recs = calloc(e->n_animals, sizeof *c.recs),
        .at = calloc(e->n_animals, sizeof *c.at),
        .was = calloc(e->n_animals, sizeof *c.was),
        .list = calloc(e->n_animals, sizeof *c.list)};
    bool room = c.recs != NULL && c.at != NULL && c.was != NULL && c.list != NULL;
    enum lm_err err = room ? cross(t, i, e, &c) : LM_ENOMEM;
    free(c.recs);
    free(c.at);
    free(c.was);
    free(c.list);
    return err;
}

enum lm_err lm_told_accept(const struct lm_told *t, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(t->all, i);
    struct lm_record *rec = calloc(1, sizeof *rec);
    if (rec == NULL)
        return LM_ENOMEM;
    enum lm_err err =
        e->kind == LM_EX_NEW_DEVICE ? accept_new(t, i, e, rec) : accept_crossed(t, i, e);
    free(rec);
    return err;
}

/* --- what is settled --- */

static uint64_t mix(uint64_t h, const char *text)
{
    for (; *text != '\0'; text++)
        h = (h ^ (unsigned char) *text) * UINT64_C(0x100000001b3);
    return (h ^ 0x1f) * UINT64_C(0x100000001b3);
}

/**
 * The setting that remembers a rejection. What an explanation claims of the register is rejected
 * for good; what it says of one day is rejected for that session.
 */
static void rejection_key(
    const struct lm_told *t, const struct lm_explanation *e, char *out, size_t size)
{
    char code[LM_EID_TEXT_SIZE], row[24];
    uint64_t h = mix(UINT64_C(0xcbf29ce484222325), lm_explain_kind_name(e->kind));
    for (uint32_t i = 0; i < e->n_animals; i++)
        h = mix(h, key_of(t, e, i));
    for (uint32_t i = 0; i < e->n_eid; i++)
        h = mix(h, lm_eid_format(e->eid[i], code));
    snprintf(row, sizeof row, "%" PRId64, t->session_row);
    if (!lm_explain_mends(e))
        h = mix(mix(h, e->sighting != NULL ? e->sighting : ""), row);
    snprintf(out, size, "explain.rejected.%016" PRIx64, h);
}

static enum lm_err is_rejected(const struct lm_told *t, const struct lm_explanation *e, bool *yes)
{
    char key[64], value[16];
    rejection_key(t, e, key, sizeof key);
    enum lm_err err = lm_store_setting(t->store, key, value, sizeof value);
    *yes = value[0] != '\0';
    return err;
}

/** Whether the register says by now what the explanation would make it say. */
static bool is_done(const struct lm_told *t, const struct lm_explanation *e, struct lm_record *rec)
{
    if (!lm_explain_mends(e))
        return false;
    uint32_t at = e->kind == LM_EX_NEW_DEVICE ? 0 : wearer(e, 0);
    return lm_store_get(t->store, key_of(t, e, at), rec) == LM_OK && worn(rec, e->eid[0]) != NULL;
}

enum lm_err lm_told_skip(struct lm_told *t)
{
    struct lm_record *rec = calloc(1, sizeof *rec);
    enum lm_err err = rec != NULL ? LM_OK : LM_ENOMEM;
    for (uint32_t i = 0; i < lm_explain_count(t->all) && err == LM_OK; i++) {
        const struct lm_explanation *e = lm_explain_at(t->all, i);
        err = is_rejected(t, e, &t->skip[i]);
        t->skip[i] |= is_done(t, e, rec);
    }
    free(rec);
    return err;
}

enum lm_err lm_told_reject(const struct lm_told *t, uint32_t i)
{
    char key[64];
    rejection_key(t, lm_explain_at(t->all, i), key, sizeof key);
    return lm_store_set(t->store, key, "1");
}
