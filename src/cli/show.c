/* lugmark show: all the register says of one animal. */
#include "command.h"

#include <stdlib.h>

#include "lugmark/eventline.h"
#include "lugmark/markplan.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "show_history.h"
#include "report/tongue.h"

/* Where the holding's own plan says something else. @return "" when it does not. */
static int should_wear(
    struct lm_store *store, const struct lm_record *rec, char should[LM_PLAN_TEXT_MAX])
{
    struct lm_markplan *plan = calloc(1, sizeof *plan);
    should[0] = '\0';
    if (plan == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    int exit = lm_markplan_load(store, plan) == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
    if (exit == LM_EXIT_OK)
        lm_markplan_record(plan, rec, should);
    free(plan);
    return exit;
}

static int show(const struct lm_args *args, struct lm_store *store)
{
    struct lm_record *rec = calloc(1, sizeof *rec);
    char should[LM_PLAN_TEXT_MAX] = "", words[2 * LM_PLAN_TEXT_MAX];
    int exit = rec != NULL ? lm_db_animal(store, args->rest[0], rec)
                           : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (exit == LM_EXIT_OK)
        exit = should_wear(store, rec, should);
    if (exit == LM_EXIT_OK && lm_arg_given(args, "json")) {
        char *text = lm_record_json(rec);
        if (text != NULL)
            puts(text);
        free(text);
    } else if (exit == LM_EXIT_OK) {
        lm_record_block(stdout, rec);
        if (should[0] != '\0')
            printf(_("  should    wear by the marking plan: %s\n"),
                lm_tongue_list(should, words, sizeof words));
    }
    free(rec);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = lm_arg_given(args, "history") ? lm_show_history(args, store, args->rest[0])
                                         : show(args, store);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"history", 0, NULL, "all its changes, oldest first, with their reasons"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_show = {
    .name = "show",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Show all the register says of one animal"),
    .arguments = "ANIMAL",
    .details = "ANIMAL is its key, or a number or code that only it carries.",
    .example = "lugmark show 0417\nlugmark show 0417 --history",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
