/* lugmark show: all the register says of one animal. */
#include "command.h"

#include <stdlib.h>

#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_record *rec = calloc(1, sizeof *rec);
    exit = rec != NULL ? lm_db_animal(store, args->rest[0], rec)
                       : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (exit == LM_EXIT_OK && lm_arg_given(args, "json")) {
        char *text = lm_record_json(rec);
        if (text != NULL)
            puts(text);
        free(text);
    } else if (exit == LM_EXIT_OK) {
        lm_record_block(stdout, rec);
    }
    free(rec);
    lm_store_close(store);
    return exit;
}

const struct lm_command lm_command_show = {
    .name = "show",
    .group = LM_GROUP_REGISTER,
    .summary = "Show all the register says of one animal",
    .arguments = "ANIMAL",
    .details = "ANIMAL is its key, or a number or code that only it carries.",
    .example = "lugmark show 0417",
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
