/* A file of ICAR's animal data exchange into the register: looked at whole, then taken. */
#include "icar_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What to do with a resource of a type at the first look, and when it is taken. */
typedef enum lm_err look_fn(struct icar_reader *r, const json_t *res, const char *path);
typedef enum lm_err take_fn(
    struct icar_reader *r, const json_t *res, const char *type, const char *path);

static const char *source_of(const json_t *res)
{
    return json_string_value(json_object_get(json_object_get(res, "meta"), "source"));
}

static enum lm_err look_animal(struct icar_reader *r, const json_t *res, const char *path)
{
    return lm_icar_learn(r, res, source_of(res), path);
}

/* The animal of a birth or an arrival may be new. */
static enum lm_err look_detail(struct icar_reader *r, const json_t *res, const char *path)
{
    char at[ICAR_PATH_MAX];
    const json_t *detail = json_object_get(res, "animalDetail");
    snprintf(at, sizeof at, "%s/animalDetail", path);
    if (json_is_object(detail))
        return lm_icar_learn(r, detail, source_of(res), at);
    json_t *bare = json_pack("{s:O?}", "identifier", json_object_get(res, "animal"));
    enum lm_err err = bare == NULL ? LM_ENOMEM : lm_icar_learn(r, bare, source_of(res), path);
    json_decref(bare);
    return err;
}

static enum lm_err take_animal(
    struct icar_reader *r, const json_t *res, const char *type, const char *path)
{
    (void) type;
    return lm_icar_apply(r, res, source_of(res), path, &(struct icar_change){.why = "import"});
}

static enum lm_err take_set(
    struct icar_reader *r, const json_t *res, const char *type, const char *path)
{
    (void) type;
    return lm_icar_take_set(r, res, path);
}

static const struct kind {
    const char *type;
    look_fn *look;
    take_fn *take;
} kinds[] = {
    {"icarAnimalCoreResource", look_animal, take_animal},
    {"icarMovementBirthEventResource", look_detail, lm_icar_take_event},
    {"icarMovementArrivalEventResource", look_detail, lm_icar_take_event},
    {"icarMovementDepartureEventResource", NULL, lm_icar_take_event},
    {"icarMovementDeathEventResource", NULL, lm_icar_take_event},
    {"icarAnimalSetResource", NULL, take_set},
};

static const struct kind *kind_of(struct icar_reader *r, const json_t *res, const char *path)
{
    if (!json_is_object(res)) {
        lm_icar_bad(r, LM_EINPUT, path, "write { ... }", "must be an object");
        return NULL;
    }
    unsigned long before = r->problems;
    const char *type = lm_icar_text(r, res, path, "resourceType");
    for (size_t i = 0; type != NULL && i < sizeof kinds / sizeof *kinds; i++)
        if (strcmp(type, kinds[i].type) == 0)
            return &kinds[i];
    if (r->problems == before)
        lm_icar_bad(r, LM_EINPUT, path,
            "what is taken: icarAnimalCoreResource, icarAnimalSetResource, and "
            "icarMovement...EventResource of Arrival, Departure, Birth and Death",
            "%s%.80s", type != NULL ? "cannot take a " : "has no resourceType",
            type != NULL ? type : "");
    return NULL;
}

static enum lm_err one(struct icar_reader *r, const json_t *res, const char *path, bool look)
{
    r->silent = !look;
    const struct kind *k = kind_of(r, res, path);
    r->silent = false;
    if (k == NULL)
        return LM_OK;
    if (json_is_true(json_object_get(json_object_get(res, "meta"), "isDeleted"))) {
        if (look)
            lm_icar_note(
                &r->notes, true, "resources that the sender deleted: nothing is deleted here");
        return LM_OK;
    }
    if (look)
        return k->look != NULL ? k->look(r, res, path) : LM_OK;
    return k->take(r, res, k->type, path);
}

static enum lm_err all(struct icar_reader *r, json_t *root, bool look)
{
    char path[ICAR_PATH_MAX];
    bool bare = json_is_array(root);
    json_t *list = bare ? root : json_object_get(root, "member"), *res;
    enum lm_err err = LM_OK;
    size_t i;
    if (!bare && json_object_get(root, "resourceType") != NULL)
        return one(r, root, "", look);
    if (!json_is_array(list)) {
        if (look)
            lm_icar_bad(r, LM_EINPUT, "/", "is it a collection, with \"member\":[...]?",
                "neither a resource nor a list of them");
        return LM_OK;
    }
    json_array_foreach(list, i, res)
    {
        snprintf(path, sizeof path, "%s/%zu", bare ? "" : "/member", i);
        if (err == LM_OK)
            err = one(r, res, path, look);
    }
    return err;
}

static void look_at_view(struct icar_reader *r, const json_t *root)
{
    const json_t *view = json_object_get(root, "view");
    if (json_is_string(json_object_get(view, "next")) ||
        json_integer_value(json_object_get(view, "totalPages")) > 1)
        lm_icar_note(&r->notes, false, "this file is one page of several: import the others, too");
}

static enum lm_err bad_json(struct icar_reader *r, const json_error_t *error)
{
    struct lm_problem p = {0};
    snprintf(p.file, sizeof p.file, "%s", r->how->name);
    p.line = error->line;
    p.column = error->column;
    lm_problem_set(&p, LM_EINPUT, "have the sender export it again", "not JSON: %s", error->text);
    r->problems++;
    if (r->how->problem != NULL)
        r->how->problem(&p, r->how->ctx);
    return LM_EINPUT;
}

static enum lm_err prepare(struct icar_reader *r)
{
    static const char sql[] =
        "SELECT a.key, min(d.gone) FROM device d JOIN animal a ON a.id = d.animal_id "
        "WHERE %s AND a.struck = 0 GROUP BY a.id";
    char text[256];
    snprintf(text, sizeof text, sql, "d.eid = ?1 AND d.gone IN (0, 1)");
    r->by_code = lm_store_prepare(r->store, text);
    snprintf(text, sizeof text, sql, "d.visual_fold = ?1 AND d.visual_fold <> '' AND d.gone = 0");
    r->by_number = lm_store_prepare(r->store, text);
    r->codes = json_object();
    r->keys = json_object();
    r->at = json_object();
    r->rec = malloc(sizeof *r->rec);
    if (r->codes == NULL || r->keys == NULL || r->at == NULL || r->rec == NULL)
        return LM_ENOMEM;
    if (r->by_code == NULL || r->by_number == NULL)
        return r->store->problem.err;
    return lm_icar_notes_begin(&r->notes);
}

static void finish(struct icar_reader *r)
{
    sqlite3_finalize(r->by_code);
    sqlite3_finalize(r->by_number);
    json_decref(r->codes);
    json_decref(r->keys);
    json_decref(r->at);
    lm_icar_notes_end(&r->notes);
    free(r->rec);
}

static enum lm_err read_root(struct icar_reader *r, json_t *root)
{
    look_at_view(r, root);
    enum lm_err err = all(r, root, true);
    err = err ? err : all(r, root, false);
    if (err == LM_OK && r->problems > 0) {
        if (r->problems > ICAR_PROBLEMS_MAX && r->how->problem != NULL) {
            struct lm_problem p = {0};
            snprintf(p.file, sizeof p.file, "%s", r->how->name);
            lm_problem_set(&p, LM_EINPUT, "mend those above and try again", "and %lu more problems",
                r->problems - ICAR_PROBLEMS_MAX);
            r->how->problem(&p, r->how->ctx);
        }
        return LM_EINPUT;
    }
    if (err == LM_OK)
        lm_icar_notes_tell(&r->notes, r->how->note, r->how->ctx);
    return err;
}

enum lm_err lm_icar_read(struct lm_store *store, const char *text, size_t len,
    const struct lm_icar_read *how, struct lm_icar_taken *taken)
{
    struct icar_reader r = {.how = how, .store = store, .taken = taken};
    json_error_t error;
    memset(taken, 0, sizeof *taken);
    if (len >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0) {
        text += 3;
        len -= 3;
    }
    json_t *root = json_loadb(text, len, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        return json_error_code(&error) == json_error_out_of_memory ? LM_ENOMEM
                                                                   : bad_json(&r, &error);
    enum lm_err err = prepare(&r);
    err = err ? err : read_root(&r, root);
    finish(&r);
    json_decref(root);
    return err;
}
