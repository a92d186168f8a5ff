/* lugmark add: one animal with one device. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"

/* Without a key of its own an animal is called by its number, else by its code. */
static int name_it(const struct lm_args *args, struct lm_record *rec)
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

static int fill(const struct lm_args *args, struct lm_record *rec)
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
    return name_it(args, rec);
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
            fprintf(stderr, "lugmark: note: %s wears the number %s, too\n", other->key, d->visual);
    }
    return LM_OK;
}

static int put(const struct lm_args *args, struct lm_store *store, struct lm_record *rec)
{
    struct lm_record *there = calloc(1, sizeof *there);
    if (there == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    enum lm_err err = lm_store_get(store, rec->key, there);
    free(there);
    if (err == LM_OK)
        return lm_fail(LM_EXIT_INPUT, "change it with lugmark edit, or choose another --animal",
            "there is an animal %s already", rec->key);
    struct wearers w = {.rec = rec};
    if (err == LM_ENOTFOUND && rec->n_devices && lm_visual_fold(rec->devices[0].visual, w.fold))
        lm_store_find(store, rec->devices[0].visual, 0, note_wearer, &w);
    if (err != LM_ENOTFOUND ||
        lm_store_put(store, rec, lm_now_ms(), lm_arg_given(args, "why") ? lm_arg(args, "why") : "",
            NULL) != LM_OK)
        return lm_db_fail(store);
    if (!lm_arg_given(args, "json")) {
        fputs("added ", stdout);
        lm_record_line(stdout, rec);
        return LM_EXIT_OK;
    }
    char *text = lm_record_json(rec);
    if (text != NULL)
        puts(text);
    free(text);
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct lm_record *rec = calloc(1, sizeof *rec);
    if (rec == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    int exit = fill(args, rec);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit == LM_EXIT_OK)
        exit = put(args, store, rec);
    lm_store_close(store);
    free(rec);
    return exit;
}

static const struct lm_option options[] = {
    {"animal", 0, "KEY", "the register's name for it (default: its number, else its code)"},
    LM_ANIMAL_OPTIONS,
    LM_DEVICE_OPTIONS,
    {"why", 0, "TEXT", "a note for the history"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_add = {
    .name = "add",
    .group = LM_GROUP_REGISTER,
    .summary = "Add one animal, with one device",
    .arguments = "",
    .example = "lugmark add --animal A17 --species goat --sex doe --born 2026-03-28 --mob does \\\n"
               "    --visual 0417 --eid 999000000012345 --form \"flag tag\" --colour yellow",
    .options = options,
    .run = run,
};
