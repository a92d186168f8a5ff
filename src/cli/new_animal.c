/* Adding one animal with at most one device: add, buy and tag share it. */
#include "new_animal.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "kin.h"
#include "life.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

int lm_new_animal_key(const struct lm_args *args, struct lm_record *rec)
{
    const struct lm_device *d = &rec->devices[0];
    const char *key = lm_arg(args, "animal");
    char code[LM_EID_TEXT_SIZE];
    if (key == NULL)
        key = d->visual;
    if (key[0] == '\0' && d->eid.known != LM_EID_NONE)
        key = lm_eid_format(d->eid, code);
    if (key[0] == '\0')
        return lm_usage(args, "give the animal a name (--animal) or a device (--visual, --eid)");
    if (!lm_text_copy(rec->key, sizeof rec->key, key, strlen(key)) || rec->key[0] == '\0')
        return lm_fail(LM_EXIT_INPUT, "name it with --animal, at most 63 bytes",
            "the animal cannot be called \"%s\"", key);
    return LM_EXIT_OK;
}

int lm_new_animal(const struct lm_args *args, struct lm_record *rec)
{
    unsigned given = 0;
    int exit = lm_fields_animal(args, rec, NULL);
    if (exit == LM_EXIT_OK)
        exit = lm_fields_device(args, &rec->devices[0], &given);
    if (exit != LM_EXIT_OK)
        return exit;
    const struct lm_device *d = &rec->devices[0];
    bool carries = d->eid.known != LM_EID_NONE || d->visual[0] != '\0' || d->uid[0] != '\0';
    if (given > 0 && !carries)
        return lm_usage(args, "a device carries a number or a code: give --visual or --eid");
    rec->n_devices = carries ? 1 : 0;
    return lm_new_animal_key(args, rec);
}

struct wearers {
    const struct lm_record *rec;
    char fold[LM_VISUAL_MAX + 1];
};

/* Two living animals of one number are found at the race; better to hear of it now. */
static enum lm_err note_wearer(const struct lm_record *other, long line, void *ctx)
{
    const struct wearers *w = ctx;
    char fold[LM_VISUAL_MAX + 1];
    (void) line;
    for (unsigned i = 0; other->status == LM_ON_FARM && i < other->n_devices; i++) {
        const struct lm_device *d = &other->devices[i];
        if (!d->gone && lm_visual_fold(d->visual, fold) && strcmp(fold, w->fold) == 0)
            fprintf(
                stderr, _("lugmark: note: %s wears the number %s, too\n"), other->key, d->visual);
    }
    return LM_OK;
}

static int refuse_known(struct lm_store *store, const char *key)
{
    struct lm_record *there = calloc(1, sizeof *there);
    if (there == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    enum lm_err err = lm_store_get(store, key, there);
    free(there);
    if (err == LM_OK)
        return lm_fail(LM_EXIT_INPUT, _("change it with lugmark edit, or choose another --animal"),
            _("there is an animal %s already"), key);
    return err == LM_ENOTFOUND ? LM_EXIT_OK : lm_db_fail(store);
}

static int refuse_future(const struct lm_record *rec)
{
    bool future = lm_life_future(rec->born) || lm_life_future(rec->status_date);
    for (unsigned i = 0; i < rec->n_devices; i++)
        future = future || lm_life_future(rec->devices[i].applied) ||
                 lm_life_future(rec->devices[i].removed);
    if (!future)
        return LM_EXIT_OK;
    return lm_fail(LM_EXIT_INPUT,
        _("correct the date; what is to come is entered when it has come"),
        _("animal %s has a date in the future"), rec->key);
}

int lm_new_animal_put(struct lm_store *store, const struct lm_record *rec, const char *why)
{
    struct wearers w = {.rec = rec};
    int exit = refuse_known(store, rec->key);
    if (exit == LM_EXIT_OK)
        exit = refuse_future(rec);
    if (exit != LM_EXIT_OK)
        return exit;
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (lm_visual_fold(rec->devices[i].visual, w.fold) > 0)
            lm_store_find(store, rec->devices[i].visual, 0, note_wearer, &w);
    if (lm_store_put(store, rec, lm_now_ms(), why, NULL) != LM_OK)
        return lm_db_fail(store);
    return lm_kin_check(store, rec->key);
}
