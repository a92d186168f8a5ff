/* lugmark backup: a copy of the register while it is in use. */
#include "command.h"

#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct lm_problem p = {0};
    const char *path = args->rest[0];
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    unsigned animals = lm_store_animals(store);
    enum lm_err err = lm_store_backup(store, path, &p);
    lm_store_close(store);
    if (err != LM_OK) {
        p.err = err;
        return lm_problem_fail(&p);
    }
    char clean[4096]; /* a name of a file can be any bytes */
    lm_clean(clean, sizeof clean, path);
    if (lm_arg_given(args, "json"))
        lm_json_line(
            stdout, json_pack("{s:s, s:I}", "backup", clean, "animals", (json_int_t) animals));
    else
        printf(_("%u animals and the whole journal are copied to %s\n"), animals, clean);
    return LM_EXIT_OK;
}

const struct lm_command lm_command_backup = {
    .name = "backup",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Copy the register to a new file while it is in use"),
    .arguments = "FILE",
    .details = "A file that is there already is never overwritten.",
    .example = "lugmark backup register-copy.db",
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
