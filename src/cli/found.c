/* lugmark found: enter lost animals as back on the farm. */
#include "command.h"

#include "life.h"
#include "report/tongue.h"

static int run(const struct lm_args *args)
{
    static const struct lm_status_step step = {.done = "found again",
        .to = LM_ON_FARM,
        .from = 1u << LM_LOST,
        .mend = "only a lost animal is found again; one that was sold and came back is bought: "
                "lugmark edit KEY --status on-farm --status-date DAY --why bought"};
    return lm_status_run(args, &step, NULL);
}

static const struct lm_option options[] = {
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_found = {
    .name = "found",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter lost animals as back on the farm"),
    .arguments = "ANIMAL...",
    .details = "All animals named are entered, or none. It keeps its devices and its place in the\n"
               "history; lugmark undo --register takes it back.",
    .example = "lugmark found A17 --date 2026-11-02",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
