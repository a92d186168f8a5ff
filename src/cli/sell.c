/* lugmark sell: enter animals as sold. */
#include "command.h"

#include "life.h"
#include "problem.h"

static int run(const struct lm_args *args)
{
    static const struct lm_status_step step = {.done = "sold",
        .to = LM_SOLD,
        .from = 1u << LM_ON_FARM,
        .mend = "one that came back is entered with lugmark found; mistakes are taken back with "
                "lugmark undo --register"};
    char more[128] = "", clean[100];
    const char *to = lm_arg(args, "to");
    if (to != NULL)
        snprintf(more, sizeof more, "to %s", lm_clean(clean, sizeof clean, to));
    return lm_status_run(args, &step, more);
}

static const struct lm_option options[] = {
    {"to", 0, "WHOM", "where they went, for the history"},
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_sell = {
    .name = "sell",
    .group = LM_GROUP_REGISTER,
    .summary = "Enter animals as sold",
    .arguments = "ANIMAL...",
    .details = "All animals named are entered, or none. It keeps its devices and its place in the\n"
               "history; lugmark undo --register takes it back.",
    .example = "lugmark sell A17 0418 --date 2026-11-02 --to \"weekly market\"",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
