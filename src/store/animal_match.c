/* Which device of an animal is which, between its entry as it stands and as it shall be. */
#include "store/store_priv.h"

#include <stdio.h>
#include <string.h>

static bool same_date(struct lm_date a, struct lm_date b)
{
    return a.year == b.year && a.month == b.month && a.day == b.day;
}

bool lm_store_same_marks(const struct lm_device *a, const struct lm_device *b)
{
    return a->eid.bits == b->eid.bits && a->eid.known == b->eid.known && a->gone == b->gone &&
           strcmp(a->uid, b->uid) == 0;
}

bool lm_store_same_device(const struct lm_device *a, const struct lm_device *b)
{
    return lm_store_same_marks(a, b) && a->form == b->form && a->place == b->place &&
           a->official == b->official && strcmp(a->visual, b->visual) == 0 &&
           strcmp(a->colour, b->colour) == 0 && strcmp(a->why, b->why) == 0 &&
           same_date(a->applied, b->applied) && same_date(a->removed, b->removed);
}

bool lm_store_same_animal(const struct lm_record *a, const struct lm_record *b)
{
    return a->sex == b->sex && a->castrated == b->castrated && a->status == b->status &&
           strcmp(a->species, b->species) == 0 && strcmp(a->breed, b->breed) == 0 &&
           strcmp(a->dam, b->dam) == 0 && strcmp(a->sire, b->sire) == 0 &&
           strcmp(a->mob, b->mob) == 0 && a->struck == b->struck &&
           strcmp(a->merged_into, b->merged_into) == 0 && same_date(a->born, b->born) &&
           same_date(a->status_date, b->status_date);
}

/* How sure a rule is that two entries are the same device; tried in this order. */
typedef bool rule_fn(const struct lm_device *old, const struct lm_device *new_);

static bool by_code_and_number(const struct lm_device *old, const struct lm_device *new_)
{
    if (lm_eid_key(old->eid) != lm_eid_key(new_->eid) ||
        lm_eid_retag(old->eid) != lm_eid_retag(new_->eid) || strcmp(old->visual, new_->visual) != 0)
        return false;
    if (lm_eid_key(old->eid) != 0 || old->visual[0] != '\0')
        return true;
    return strcmp(old->uid, new_->uid) == 0 && old->form == new_->form && old->place == new_->place;
}

/* Fifteen digits say nothing of the retagging counter; a corrected number keeps its device. */
static bool by_code(const struct lm_device *old, const struct lm_device *new_)
{
    return lm_eid_key(old->eid) != 0 && lm_eid_key(old->eid) == lm_eid_key(new_->eid) &&
           (new_->eid.known != LM_EID_FULL || old->eid.known != LM_EID_FULL ||
               lm_eid_retag(old->eid) == lm_eid_retag(new_->eid));
}

/* A device whose code was not known until now. */
static bool by_number_gaining_code(const struct lm_device *old, const struct lm_device *new_)
{
    return lm_eid_key(old->eid) == 0 && !old->gone && old->visual[0] != '\0' &&
           strcmp(old->visual, new_->visual) == 0;
}

struct match {
    struct lm_store *store;
    const struct lm_record *old;
    struct lm_record *rec;
    int *pair;
    bool used[LM_DEVICES_MAX];
};

static enum lm_err pair_by_id(struct match *m)
{
    for (unsigned i = 0; i < m->rec->n_devices; i++) {
        int64_t id = m->rec->devices[i].id;
        unsigned j = 0;
        m->pair[i] = LM_MATCH_NEW;
        if (id == 0)
            continue;
        while (j < m->old->n_devices && m->old->devices[j].id != id)
            j++;
        if (j == m->old->n_devices || m->used[j])
            return lm_problem_set(&m->store->problem, LM_EARG, "read the animal again first",
                "device %lld is not one of animal %s", (long long) id, m->rec->key);
        m->pair[i] = (int) j;
        m->used[j] = true;
    }
    return LM_OK;
}

static void pair_by_rule(struct match *m, rule_fn *rule)
{
    for (unsigned i = 0; i < m->rec->n_devices; i++) {
        struct lm_device *d = &m->rec->devices[i];
        for (unsigned j = 0; m->pair[i] == LM_MATCH_NEW && d->id == 0 && j < m->old->n_devices;
             j++) {
            const struct lm_device *o = &m->old->devices[j];
            if (m->used[j] || !rule(o, d))
                continue;
            m->pair[i] = (int) j;
            m->used[j] = true;
            /* Named by its digits only: what a telegram once told of this code is kept. */
            if (o->eid.known > d->eid.known && lm_eid_key(o->eid) == lm_eid_key(d->eid))
                d->eid = o->eid;
        }
    }
}

static enum lm_err vanished(struct match *m, const struct lm_device *d)
{
    char eid[LM_EID_TEXT_SIZE] = "";
    if (d->eid.known != LM_EID_NONE)
        lm_eid_format(d->eid, eid);
    return lm_problem_set(&m->store->problem, LM_EARG,
        "keep it in the entry; a device that is worn no more is removed, never deleted",
        "animal %s: its device %s%s%s%s is missing from the new entry", m->rec->key, eid,
        eid[0] != '\0' && d->visual[0] != '\0' ? " / " : "", d->visual,
        eid[0] == '\0' && d->visual[0] == '\0' ? "without code or number" : "");
}

/* A device that came without a row says nothing of a link that the register knows. */
static void keep_links(struct match *m)
{
    for (unsigned i = 0; i < m->rec->n_devices; i++) {
        struct lm_device *d = &m->rec->devices[i];
        unsigned old = m->pair[i] != LM_MATCH_NEW ? m->old->devices[m->pair[i]].replaces : 0;
        for (unsigned k = 0; d->id == 0 && d->replaces == 0 && old != 0 && k < m->rec->n_devices;
             k++)
            if (m->pair[k] == (int) old - 1)
                d->replaces = (uint8_t) (k + 1);
    }
}

enum lm_err lm_store_match(struct lm_store *s, const struct lm_record *old, struct lm_record *rec,
    int pair[LM_DEVICES_MAX])
{
    struct match m = {.store = s, .old = old, .rec = rec, .pair = pair};
    enum lm_err err = pair_by_id(&m);
    if (err != LM_OK)
        return err;
    pair_by_rule(&m, by_code_and_number);
    pair_by_rule(&m, by_code);
    pair_by_rule(&m, by_number_gaining_code);
    for (unsigned j = 0; j < old->n_devices; j++)
        if (!m.used[j])
            return vanished(&m, &old->devices[j]);
    keep_links(&m);
    return LM_OK;
}
