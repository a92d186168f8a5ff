/* Which animal of the register, or of the file, a resource means. */
#include "icar_priv.h"

#include <stdio.h>
#include <string.h>

static const char *mark_name(const struct icar_mark *m, char out[LM_VISUAL_MAX + 8])
{
    snprintf(out, LM_VISUAL_MAX + 8, "%d:%s", (int) m->kind, m->text);
    return out;
}

/* The one living wearer; else the one who wore it. Rows: key, and whether only removed devices. */
static enum lm_err one_wearer(struct icar_reader *r, sqlite3_stmt *st, char key[LM_NAME_MAX + 1])
{
    unsigned living = 0, gone = 0;
    char found[LM_NAME_MAX + 1];
    int rc;
    while ((rc = sqlite3_step(st)) == SQLITE_ROW) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, found, sizeof found);
        bool is_gone = lm_take_int(&t) != 0;
        if (living + gone == 0 || (living == 0 && !is_gone))
            snprintf(key, LM_NAME_MAX + 1, "%s", found);
        gone += is_gone;
        living += !is_gone;
    }
    sqlite3_reset(st);
    if (rc != SQLITE_DONE)
        return lm_store_fail(r->store, "looking for an animal");
    if (living + gone == 0)
        return LM_ENOTFOUND;
    return living == 1 || (living == 0 && gone == 1) ? LM_OK : LM_EAMBIGUOUS;
}

static enum lm_err registered(
    struct icar_reader *r, const struct icar_mark *mark, char key[LM_NAME_MAX + 1])
{
    char fold[LM_VISUAL_MAX + 1];
    int64_t row;
    switch (mark->kind) {
    case ICAR_CODE:
        sqlite3_bind_int64(r->by_code, 1, (int64_t) lm_eid_key(mark->eid));
        return one_wearer(r, r->by_code, key);
    case ICAR_NUMBER:
    case ICAR_TATTOO:
        lm_visual_fold(mark->text, fold);
        sqlite3_bind_text(r->by_number, 1, fold, -1, SQLITE_TRANSIENT);
        return one_wearer(r, r->by_number, key);
    case ICAR_KEY:
        snprintf(key, LM_NAME_MAX + 1, "%.63s", mark->text);
        return lm_store_animal_row(r->store, key, &row);
    case ICAR_CHIP:
        break;
    }
    return LM_ENOTFOUND;
}

enum lm_err lm_icar_owner(
    struct icar_reader *r, const struct icar_mark *mark, char key[LM_NAME_MAX + 1])
{
    char name[LM_VISUAL_MAX + 8];
    const json_t *here = json_object_get(r->codes, mark_name(mark, name));
    if (here == NULL)
        return registered(r, mark, key);
    if (json_is_null(here))
        return LM_EAMBIGUOUS;
    snprintf(key, LM_NAME_MAX + 1, "%s", json_string_value(here));
    return LM_OK;
}

/* Whether the only entry of this name was taken back: then the name is free again. */
static bool is_taken_back(struct icar_reader *r, const char *key)
{
    int64_t row = 0;
    return lm_store_animal_row(r->store, key, &row) == LM_OK &&
           lm_store_load(r->store, row, r->rec) == LM_OK && r->rec->struck &&
           r->rec->merged_into[0] == '\0';
}

/* Whether the register's animal of this name wears codes, and none of them is in the file. */
static bool other_codes(struct icar_reader *r, const char *key, const struct icar_marks *marks)
{
    bool file_has = false, wears = false;
    if (lm_store_get(r->store, key, r->rec) != LM_OK)
        return true; /* merged into another: the name is not free, and means nothing */
    for (unsigned k = 0; k < marks->n; k++) {
        if (marks->items[k].kind != ICAR_CODE)
            continue;
        file_has = true;
        for (unsigned i = 0; i < r->rec->n_devices; i++) {
            const struct lm_device *d = &r->rec->devices[i];
            if (lm_eid_key(d->eid) == lm_eid_key(marks->items[k].eid))
                return false;
            wears = wears || (lm_eid_key(d->eid) != 0 && !d->gone);
        }
    }
    return file_has && wears;
}

static enum lm_err by_codes(struct icar_reader *r, const struct icar_marks *marks, const char *path,
    char key[LM_NAME_MAX + 1], bool *found)
{
    char other[LM_NAME_MAX + 1];
    for (unsigned k = 0; k < marks->n; k++) {
        if (marks->items[k].kind != ICAR_CODE)
            continue;
        /* In the file already: the same animal, which is told when it is kept. */
        enum lm_err err = lm_icar_owner(r, &marks->items[k], other);
        if (err == LM_ENOTFOUND)
            continue;
        if (err == LM_EAMBIGUOUS || (err == LM_OK && *found && strcmp(key, other) != 0)) {
            lm_icar_bad(r, LM_EAMBIGUOUS, path, "look at the tags, and mend the register first",
                "its codes belong to more than one animal of the register (%s is one)",
                *found ? key : other);
            return LM_EAMBIGUOUS;
        }
        if (err != LM_OK)
            return err;
        snprintf(key, LM_NAME_MAX + 1, "%s", other);
        *found = true;
    }
    return LM_OK;
}

static enum lm_err by_name(
    struct icar_reader *r, const struct icar_marks *marks, char key[LM_NAME_MAX + 1], bool *found)
{
    bool has_code = false;
    for (unsigned k = 0; k < marks->n; k++)
        has_code = has_code || marks->items[k].kind == ICAR_CODE;
    for (unsigned k = 0; k < marks->n && !*found; k++) {
        enum icar_mark_kind kind = marks->items[k].kind;
        if (kind == ICAR_CODE || kind == ICAR_CHIP || (kind != ICAR_KEY && has_code))
            continue;
        enum lm_err err = registered(r, &marks->items[k], key);
        if (err == LM_OK && is_taken_back(r, key))
            continue;
        if (err == LM_OK && other_codes(r, key, marks))
            lm_icar_note(&r->notes, false,
                "animals of a name that the register has for another: entered under another");
        else if (err == LM_OK)
            *found = true;
        else if (err != LM_ENOTFOUND && err != LM_EAMBIGUOUS)
            return err;
    }
    return LM_OK;
}

/* Whether a new animal can be called so: nobody is, or only one that was taken back. */
static enum lm_err is_free(struct icar_reader *r, const char *name, bool *yes)
{
    int64_t row;
    *yes = false;
    if (strlen(name) > LM_NAME_MAX || json_object_get(r->keys, name) != NULL)
        return LM_OK;
    enum lm_err err = lm_store_animal_row(r->store, name, &row);
    *yes = err == LM_ENOTFOUND || (err == LM_OK && is_taken_back(r, name));
    return err == LM_ENOTFOUND ? LM_OK : err;
}

/* A name for an animal that is new: its own, a number, a code; the first that is free. */
static enum lm_err new_name(struct icar_reader *r, const struct icar_marks *marks, const char *path,
    char key[LM_NAME_MAX + 1])
{
    static const enum icar_mark_kind order[] = {
        ICAR_KEY, ICAR_NUMBER, ICAR_TATTOO, ICAR_CODE, ICAR_CHIP};
    for (unsigned o = 0; o < sizeof order / sizeof *order; o++)
        for (unsigned k = 0; k < marks->n; k++) {
            const struct icar_mark *m = &marks->items[k];
            if (m->kind != order[o])
                continue;
            bool yes = false;
            enum lm_err err = is_free(r, m->text, &yes);
            if (yes)
                snprintf(key, LM_NAME_MAX + 1, "%s", m->text);
            if (yes || err != LM_OK)
                return err;
        }
    lm_icar_bad(r, LM_EEXISTS, path, "have the sender give it a number or code of its own",
        "all its identifiers are names of other animals");
    return LM_EEXISTS;
}

static enum lm_err keep(
    struct icar_reader *r, const struct icar_marks *marks, const char *path, const char *key)
{
    char name[LM_VISUAL_MAX + 8];
    const json_t *before = json_object_get(r->keys, key);
    if (before != NULL) {
        lm_icar_bad(r, LM_EEXISTS, path, "keep one of the two",
            "the same animal as at %s, %s in the register", json_string_value(before), key);
        return LM_EEXISTS;
    }
    int bad = json_object_set_new(r->keys, key, json_string(path));
    bad |= json_object_set_new(r->at, path, json_string(key));
    for (unsigned k = 0; k < marks->n; k++) {
        mark_name(&marks->items[k], name);
        const json_t *other = json_object_get(r->codes, name);
        if (other != NULL && marks->items[k].kind == ICAR_CODE)
            lm_icar_bad(r, LM_EEXISTS, path, "look at the tags: one of the two is wrong",
                "the code %s is that of animal %s, too", marks->items[k].text,
                json_is_string(other) ? json_string_value(other) : "(two)");
        bad |= json_object_set_new(r->codes, name, other != NULL ? json_null() : json_string(key));
    }
    return bad ? LM_ENOMEM : LM_OK;
}

static bool fatal(enum lm_err err)
{
    return err != LM_OK && err != LM_EAMBIGUOUS && err != LM_EEXISTS && err != LM_ENOTFOUND;
}

enum lm_err lm_icar_learn(
    struct icar_reader *r, const json_t *animal, const char *source, const char *path)
{
    struct icar_marks marks;
    char key[LM_NAME_MAX + 1] = "";
    bool found = false;
    if (!lm_icar_take_marks(r, animal, source, path, &marks))
        return LM_OK; /* told; the next ones may be wrong, too */
    enum lm_err err = by_codes(r, &marks, path, key, &found);
    if (err == LM_OK && !found)
        err = by_name(r, &marks, key, &found);
    if (err == LM_OK && !found)
        err = new_name(r, &marks, path, key);
    err = err ? err : keep(r, &marks, path, key);
    return fatal(err) ? err : LM_OK;
}

enum lm_err lm_icar_named(struct icar_reader *r, const json_t *id, const char *source,
    const char *path, char key[LM_NAME_MAX + 1])
{
    struct icar_mark mark;
    key[0] = '\0';
    if (!lm_icar_take_id(r, id, source, path, &mark))
        return LM_OK;
    enum lm_err err = lm_icar_owner(r, &mark, key);
    if (err == LM_OK || fatal(err))
        return err;
    key[0] = '\0';
    lm_icar_bad(r, err, path,
        err == LM_ENOTFOUND ? "import the animals first, or look at the tag"
                            : "have the sender name it by its code",
        "%s is %s", mark.text,
        err == LM_ENOTFOUND ? "not in the register" : "more than one animal in the register");
    return LM_OK;
}
