/* What an ICAR resource says of an animal, into the register. */
#include "icar_priv.h"

#include <stdio.h>
#include <string.h>

static bool wears(const struct lm_record *rec, const struct icar_mark *m)
{
    char a[LM_VISUAL_MAX + 1], b[LM_VISUAL_MAX + 1];
    lm_visual_fold(m->text, b);
    for (unsigned i = 0; i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        lm_visual_fold(d->visual, a);
        if (m->kind == ICAR_CODE   ? lm_eid_key(d->eid) == lm_eid_key(m->eid)
            : m->kind == ICAR_CHIP ? strcmp(d->uid, m->text) == 0
                                   : d->visual[0] != '\0' && strcmp(a, b) == 0)
            return true;
    }
    return false;
}

/* A device for each identifier that none has yet. Which of them are one device is not said. */
static unsigned add_devices(
    struct icar_reader *r, struct lm_record *rec, const struct icar_marks *marks, const char *path)
{
    unsigned added = 0;
    for (unsigned k = 0; k < marks->n; k++) {
        const struct icar_mark *m = &marks->items[k];
        if (m->kind == ICAR_KEY || wears(rec, m))
            continue;
        if (rec->n_devices == LM_DEVICES_MAX) {
            lm_icar_bad(r, LM_EINPUT, path, "leave some out", "more than %u devices for animal %s",
                LM_DEVICES_MAX, rec->key);
            break;
        }
        struct lm_device *d = &rec->devices[rec->n_devices++];
        memset(d, 0, sizeof *d);
        d->official = k == 0;
        if (m->kind == ICAR_CODE)
            d->eid = m->eid;
        else if (m->kind == ICAR_CHIP)
            snprintf(d->uid, sizeof d->uid, "%.23s", m->text);
        else
            snprintf(d->visual, sizeof d->visual, "%s", m->text);
        if (m->kind == ICAR_TATTOO)
            d->form = LM_TATTOO;
        added++;
    }
    return added;
}

static bool names(const struct icar_marks *marks, const struct icar_mark *m)
{
    for (unsigned k = 0; k < marks->n; k++)
        if (marks->items[k].kind == m->kind && strcmp(marks->items[k].text, m->text) == 0)
            return true;
    return false;
}

/* The name of a parent: its key where it is known, else what the file calls it. */
static enum lm_err take_parent(struct icar_reader *r, const json_t *parent, const char *source,
    const char *path, const struct icar_marks *marks, struct lm_record *rec)
{
    struct icar_mark of, id;
    char at[ICAR_PATH_MAX], key[LM_NAME_MAX + 1];
    const char *gender = lm_icar_text(r, parent, path, "gender");
    const char *relation = lm_icar_text(r, parent, path, "relation");
    snprintf(at, sizeof at, "%.180s/parentOf", path);
    if (!lm_icar_take_id(r, json_object_get(parent, "parentOf"), source, at, &of))
        return LM_OK;
    snprintf(at, sizeof at, "%.180s/identifier", path);
    if (!lm_icar_take_id(r, json_object_get(parent, "identifier"), source, at, &id))
        return LM_OK;
    if (!names(marks, &of) || (relation != NULL && strcmp(relation, "Genetic") != 0)) {
        lm_icar_note(&r->notes, false, "parents of parents, recipients and foster mothers");
        return LM_OK;
    }
    bool dam = gender != NULL && strcmp(gender, "Female") == 0;
    if (!dam && (gender == NULL || strcmp(gender, "Male") != 0)) {
        lm_icar_note(&r->notes, false, "parents whose gender is neither Female nor Male");
        return LM_OK;
    }
    enum lm_err err = lm_icar_owner(r, &id, key);
    if (err != LM_OK && err != LM_ENOTFOUND && err != LM_EAMBIGUOUS)
        return err;
    snprintf(dam ? rec->dam : rec->sire, LM_NAME_MAX + 1, "%.63s", err == LM_OK ? key : id.text);
    return LM_OK;
}

static enum lm_err take_parents(struct icar_reader *r, const json_t *animal, const char *source,
    const char *path, const struct icar_marks *marks, struct lm_record *rec)
{
    char at[ICAR_PATH_MAX];
    json_t *list = json_object_get(animal, "parentage"), *parent;
    enum lm_err err = LM_OK;
    size_t i;
    json_array_foreach(list, i, parent)
    {
        snprintf(at, sizeof at, "%s/parentage/%zu", path, i);
        if (err == LM_OK)
            err = take_parent(r, parent, source, at, marks, rec);
    }
    return err;
}

static bool left_before_birth(struct icar_reader *r, const char *path)
{
    const struct lm_record *rec = r->rec;
    char born[LM_DATE_TEXT_SIZE], since[LM_DATE_TEXT_SIZE];
    if (rec->born.year == 0 || rec->status_date.year == 0 ||
        lm_date_days(rec->status_date, 1) >= lm_date_days(rec->born, 0))
        return false;
    lm_icar_bad(r, LM_EINPUT, path, "correct one of the two dates",
        "animal %s, born %s, would be %s since %s", rec->key, lm_date_format(rec->born, born),
        lm_status_name((enum lm_status) rec->status), lm_date_format(rec->status_date, since));
    return true;
}

/* @p added: devices that the entry gained. */
static enum lm_err put(struct icar_reader *r, const char *path, const char *why, unsigned added)
{
    int64_t seq = 0;
    if (left_before_birth(r, path))
        return LM_OK;
    enum lm_err err = lm_store_put(r->store, r->rec, r->how->now_ms, why, &seq);
    if (err == LM_EEXISTS || err == LM_EARG) {
        const struct lm_problem *p = lm_store_problem(r->store);
        lm_icar_bad(r, LM_EINPUT, path, p->mend, "%s", p->what);
        return LM_OK;
    }
    if (err == LM_OK && seq != 0) {
        r->taken->animals++;
        r->taken->devices += added;
        if (r->how->entry != NULL)
            r->how->entry(r->rec->key, path, r->how->ctx);
    } else if (err == LM_OK) {
        r->taken->unchanged++;
    }
    return err;
}

static void take_change(const struct icar_change *change, struct lm_record *rec)
{
    if (change->status != NULL) {
        rec->status = (uint8_t) *change->status;
        rec->status_date = change->when;
    }
    if (change->born.year != 0)
        rec->born = change->born;
}

enum lm_err lm_icar_apply(struct icar_reader *r, const json_t *animal, const char *source,
    const char *path, const struct icar_change *change)
{
    struct icar_marks marks;
    const char *key = json_string_value(json_object_get(r->at, path));
    if (key == NULL)
        return LM_OK; /* told at the first look */
    r->silent = true;
    bool good = lm_icar_take_marks(r, animal, source, path, &marks);
    r->silent = false;
    enum lm_err err = good ? lm_store_get(r->store, key, r->rec) : LM_OK;
    if (!good || (err != LM_OK && err != LM_ENOTFOUND))
        return err;
    if (err == LM_ENOTFOUND) {
        memset(r->rec, 0, sizeof *r->rec);
        snprintf(r->rec->key, sizeof r->rec->key, "%s", key);
    }
    bool own = false;
    for (unsigned k = 0; k < marks.n; k++)
        own = own || marks.items[k].kind == ICAR_KEY;
    lm_icar_take_animal(r, animal, path, r->rec, own);
    err = take_parents(r, animal, source, path, &marks, r->rec);
    if (err != LM_OK)
        return err;
    take_change(change, r->rec);
    return put(r, path, change->why, add_devices(r, r->rec, &marks, path));
}

enum lm_err lm_icar_change(
    struct icar_reader *r, const char *key, const char *path, const struct icar_change *change)
{
    enum lm_err err = lm_store_get(r->store, key, r->rec);
    if (err != LM_OK)
        return err;
    take_change(change, r->rec);
    return put(r, path, change->why, 0);
}
