/* lugmark init: make an empty register. */
#include "command.h"

#include <string.h>

#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static int refuse_existing(struct lm_store *store, const char *path)
{
    unsigned animals = lm_store_animals(store);
    lm_store_close(store);
    return lm_fail(LM_EXIT_INPUT, "use it as it is, or name another file with --db",
        "there is a register already at %s, with %u animals", path, animals);
}

static int say(const struct lm_args *args, const char *path, const char *holding)
{
    char clean[4096]; /* a name of a file can be any bytes */
    lm_clean(clean, sizeof clean, path);
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, json_pack("{s:s, s:s}", "register", clean, "holding", holding));
        return LM_EXIT_OK;
    }
    printf(_("A new register is at %s\n"), clean);
    puts(_("Next: lugmark import register.csv, or lugmark add --visual 0001 --species goat"));
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    char path[4096], holding[256] = "";
    struct lm_store *store = NULL;
    struct lm_problem p = {0};
    const char *given = lm_arg(args, "holding");
    if (given != NULL && !lm_text_copy(holding, sizeof holding, given, strlen(given)))
        return lm_usage(args, "--holding is too long or is not clean text");
    int exit = lm_db_path(args, path, sizeof path);
    if (exit != LM_EXIT_OK)
        return exit;
    /* Only "there is none" goes on: an odd file in that place is reported, never replaced. */
    enum lm_err err = lm_store_open(path, LM_STORE_READ, &store, &p);
    if (err == LM_EINPUT) /* written by an older version? Then it is brought forward, as was said */
        err = lm_store_open(path, LM_STORE_WRITE, &store, &p);
    if (err == LM_OK)
        return refuse_existing(store, path);
    if (err == LM_ENOTFOUND)
        err = lm_store_open(path, LM_STORE_CREATE, &store, &p);
    if (err != LM_OK) {
        p.err = err;
        lm_problem_print(&p);
        return LM_EXIT_FAILED;
    }
    err = given != NULL ? lm_store_set(store, "holding", holding) : LM_OK;
    exit = err == LM_OK ? say(args, path, holding) : lm_db_fail(store);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"holding", 0, "NAME", "name or number of the holding, kept in the register"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_init = {
    .name = "init",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Make an empty register"),
    .arguments = "",
    .example = "lugmark init --holding \"Example holding\"",
    .options = options,
    .run = run,
};
