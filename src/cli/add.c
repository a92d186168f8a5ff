/* lugmark add: one animal with one device. */
#include "command.h"

#include <stdlib.h>

#include "fields.h"
#include "lugmark/eventline.h"
#include "new_animal.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

static int say(const struct lm_args *args, const struct lm_record *rec)
{
    if (!lm_arg_given(args, "json")) {
        fputs(_("added "), stdout);
        lm_record_line(stdout, rec);
        return LM_EXIT_OK;
    }
    char *text = lm_record_json(rec);
    if (text != NULL)
        puts(text);
    free(text);
    return LM_EXIT_OK;
}

static int put(const struct lm_args *args, struct lm_store *store, const struct lm_record *rec)
{
    if (lm_store_begin(store) != LM_OK)
        return lm_db_fail(store);
    int exit = lm_new_animal_put(store, rec, lm_arg_given(args, "why") ? lm_arg(args, "why") : "");
    if (exit == LM_EXIT_OK && lm_store_commit(store) != LM_OK)
        exit = lm_db_fail(store);
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    return exit == LM_EXIT_OK ? say(args, rec) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct lm_record *rec = calloc(1, sizeof *rec);
    if (rec == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    int exit = lm_new_animal(args, rec);
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
    .summary = N_("Add one animal, with one device"),
    .arguments = "",
    .example = "lugmark add --animal A17 --species goat --sex doe --born 2026-03-28 --mob does \\\n"
               "    --visual 0417 --eid 999000000012345 --form \"flag tag\" --colour yellow",
    .options = options,
    .run = run,
};
