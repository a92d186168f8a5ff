/* lugmark move: put animals into another mob. */
#include "command.h"

#include <string.h>

#include "life.h"
#include "lugmark/text.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

static int move_one(struct lm_life *life, const char *word, const char *mob)
{
    int exit = lm_life_animal(life, word);
    if (exit != LM_EXIT_OK)
        return exit;
    if (life->rec->status != LM_ON_FARM)
        return lm_fail(LM_EXIT_INPUT, "only animals on the farm run in a mob", "animal %s is %s",
            life->rec->key, lm_status_name((enum lm_status) life->rec->status));
    snprintf(life->rec->mob, sizeof life->rec->mob, "%s", mob);
    return lm_life_put(life);
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char mob[LM_NAME_MAX + 1], more[LM_NAME_MAX + 20];
    const char *given = lm_arg(args, "mob");
    if (given == NULL)
        return lm_usage(args, "say where to: --mob MOB");
    if (!lm_text_copy(mob, sizeof mob, given, strlen(given)))
        return lm_usage(args, "--mob is too long or is not clean text");
    snprintf(more, sizeof more, mob[0] != '\0' ? "to mob %s" : "out of its mob%s", mob);
    int exit = lm_life_begin(&life, args, "moved", more);
    for (size_t i = 0; i < args->n_rest && exit == LM_EXIT_OK; i++)
        exit = move_one(&life, args->rest[i], mob);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep_and_show(&life);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"mob", 0, "MOB", "the mob they run with from now on; \"\" for none"},
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_move = {
    .name = "move",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Put animals into another mob"),
    .arguments = "ANIMAL...",
    .example = "lugmark move A17 A18 0419 --mob \"weaned kids\"",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
