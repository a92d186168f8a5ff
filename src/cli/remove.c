/* lugmark remove: a device that is worn no more. */
#include "command.h"

#include "device_pick.h"
#include "life.h"
#include "problem.h"
#include "report/tongue.h"

static int take_off(struct lm_life *life)
{
    int exit = lm_life_animal(life, life->args->rest[0]);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_device *old = lm_device_pick(life->rec, lm_arg(life->args, "old"), &exit);
    if (old == NULL)
        return exit;
    exit = lm_device_remove(life->rec, old, lm_arg(life->args, "reason"), life->date);
    if (exit == LM_EXIT_OK)
        exit = lm_life_put(life);
    return exit == LM_EXIT_OK ? lm_life_keep_and_show(life) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char more[100] = "", clean[80];
    const char *reason = lm_arg(args, "reason");
    if (reason == NULL)
        return lm_usage(args, "say why: --reason lost (or " LM_REMOVE_REASONS ")");
    snprintf(more, sizeof more, "(%s)", lm_clean(clean, sizeof clean, reason));
    int exit = lm_life_begin(&life, args, "device removed", more);
    if (exit == LM_EXIT_OK)
        exit = take_off(&life);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"old", 0, "WHICH", "its code or number, or last: the one put on last (default: the only one)"},
    {"reason", 0, "TEXT", LM_REMOVE_REASONS},
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_remove = {
    .name = "remove",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter a device as removed"),
    .arguments = "ANIMAL",
    .details = "It stays in the history of the animal and is known again if it is ever read.",
    .example = "lugmark remove A17 --old 0417 --reason lost --date 2026-11-02",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
