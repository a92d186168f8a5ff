/* lugmark lose: enter animals as lost. */
#include "command.h"

#include "life.h"
#include "report/tongue.h"

static int run(const struct lm_args *args)
{
    static const struct lm_status_step step = {.done = "lost",
        .to = LM_LOST,
        .from = 1u << LM_ON_FARM,
        .mend = "lost and back: lugmark found; sold and back: lugmark edit KEY --status on-farm "
                "--status-date DAY --why bought; a mistake: lugmark undo --register"};
    return lm_status_run(args, &step, NULL);
}

static const struct lm_option options[] = {
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_lose = {
    .name = "lose",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter animals as lost"),
    .arguments = "ANIMAL...",
    .details = "All animals named are entered, or none. It keeps its devices and its place in the\n"
               "history; lugmark undo --register takes it back.",
    .example = "lugmark lose A17 --why \"not seen since the storm\"",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
