/* lugmark sell: enter animals as sold. */
#include "command.h"

#include "life.h"
#include "problem.h"
#include "report/tongue.h"

static int run(const struct lm_args *args)
{
    static const char mend[] =
        "lost and back: lugmark found; sold and back: lugmark edit KEY --status on-farm "
        "--status-date DAY --why bought; a mistake: lugmark undo --register";
    static const struct lm_status_step sold = {
        .done = "sold", .to = LM_SOLD, .from = 1u << LM_ON_FARM, .mend = mend};
    /* The statement knows it by these words (stay.h). */
    static const struct lm_status_step moved = {
        .done = "transferred out", .to = LM_SOLD, .from = 1u << LM_ON_FARM, .mend = mend};
    char more[128] = "", clean[100];
    const char *to = lm_arg(args, "to");
    if (to != NULL)
        snprintf(more, sizeof more, "to %s", lm_clean(clean, sizeof clean, to));
    return lm_status_run(args, lm_arg_given(args, "transfer") ? &moved : &sold, more);
}

static const struct lm_option options[] = {
    {"to", 0, "WHOM", "where they went, for the history"},
    {"transfer", 0, NULL, "not sold: moved to another holding of the same keeper"},
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_sell = {
    .name = "sell",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter animals as sold"),
    .arguments = "ANIMAL...",
    .details = "All animals named are entered, or none. It keeps its devices and its place in the\n"
               "history; lugmark undo --register takes it back.",
    .example = "lugmark sell A17 0418 --date 2026-11-02 --to \"weekly market\"",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
