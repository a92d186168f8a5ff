/* lugmark verify: check the register, its history and its journal. */
#include "command.h"

#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct lm_problems problems = {0};
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    enum lm_err err = lm_store_verify(store, lm_problems_add, &problems);
    /* Asked only then: it would forget why the check could not be done. */
    unsigned animals = err == LM_OK || err == LM_EINPUT ? lm_store_animals(store) : 0;
    if (err != LM_OK && err != LM_EINPUT && problems.count == 0) {
        exit = lm_db_fail(store);
    } else {
        lm_problems_end(&problems);
        exit = err == LM_OK && problems.count == 0 ? LM_EXIT_OK : LM_EXIT_FAILED;
        if (lm_arg_given(args, "json"))
            lm_json_line(
                stdout, json_pack("{s:b, s:I, s:I}", "good", exit == LM_EXIT_OK, "animals",
                            (json_int_t) animals, "problems", (json_int_t) problems.count));
        else if (exit == LM_EXIT_OK)
            printf(_("The register is sound: %u animals\n"), animals);
        else
            puts(
                _("The register is not sound; to mend: keep this file as it is, and go on with the "
                  "latest backup"));
    }
    lm_store_close(store);
    return exit;
}

const struct lm_command lm_command_verify = {
    .name = "verify",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Check the register, its history and its journal"),
    .arguments = "",
    .details = "Exit status 4 when anything is wrong with the file.",
    .example = "lugmark verify",
    .run = run,
};
