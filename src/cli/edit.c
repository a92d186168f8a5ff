/* lugmark edit: change what the register says of an animal. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "kin.h"
#include "life.h"
#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

static int say(const struct lm_args *args, const struct lm_record *rec, bool changed)
{
    if (lm_arg_given(args, "json")) {
        char *text = lm_record_json(rec);
        if (text != NULL)
            puts(text);
        free(text);
        return LM_EXIT_OK;
    }
    if (!changed)
        puts(_("nothing changed: the register says so already"));
    lm_record_block(stdout, rec);
    return LM_EXIT_OK;
}

/* The animal is read and written in one transaction, so that nobody's change in between is lost. */
static int change(const struct lm_args *args, struct lm_store *store, struct lm_record *rec,
    struct lm_record *was)
{
    unsigned given = 0;
    const char *why = lm_arg(args, "why");
    int exit = lm_db_animal(store, args->rest[0], rec);
    if (exit != LM_EXIT_OK)
        return exit;
    *was = *rec;
    exit = lm_fields_animal(args, rec, &given);
    if (exit != LM_EXIT_OK)
        return exit;
    if (given == 0)
        return lm_usage(args, "say what to change, such as --mob does");
    if (lm_life_future(rec->born) || lm_life_future(rec->status_date))
        return lm_fail(LM_EXIT_INPUT, "what is to come is entered when it has come",
            "a date lies in the future");
    bool changed = memcmp(was, rec, sizeof *rec) != 0;
    if (changed && lm_store_put(store, rec, lm_now_ms(), why != NULL ? why : "", NULL) != LM_OK)
        return lm_db_fail(store);
    exit = changed ? lm_kin_check(store, rec->key) : LM_EXIT_OK;
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_store_commit(store) != LM_OK)
        return lm_db_fail(store);
    return say(args, rec, changed);
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    int exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_record *two = calloc(2, sizeof *two);
    if (two == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else if (lm_store_begin(store) != LM_OK)
        exit = lm_db_fail(store);
    else
        exit = change(args, store, &two[0], &two[1]);
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    free(two);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    LM_ANIMAL_OPTIONS,
    {"why", 0, "TEXT", "a note for the history"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_edit = {
    .name = "edit",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Change what the register says of an animal"),
    .arguments = "ANIMAL",
    .details = "ANIMAL is its key, or a number or code that only it carries. An empty value\n"
               "clears a field: --mob \"\".",
    .example = "lugmark edit A17 --status sold --status-date 2026-11-02",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
