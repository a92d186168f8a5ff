/* lugmark castrate: enter males as castrated. */
#include "command.h"

#include "life.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

static int castrate_one(struct lm_life *life, const char *word)
{
    int exit = lm_life_animal(life, word);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_record *rec = life->rec;
    if (rec->sex == LM_SEX_FEMALE)
        return lm_fail(LM_EXIT_INPUT, "correct its sex first with lugmark edit --sex male",
            "animal %s is entered as a female", rec->key);
    if (rec->castrated)
        return lm_fail(LM_EXIT_INPUT, "leave it out", "animal %s is castrated already", rec->key);
    if (rec->status != LM_ON_FARM)
        return lm_fail(LM_EXIT_INPUT, "correct it with lugmark edit --castrated yes",
            "animal %s is %s", rec->key, lm_status_name((enum lm_status) rec->status));
    if (lm_life_before_birth(rec, life->date, "castrated"))
        return LM_EXIT_INPUT;
    rec->sex = LM_SEX_MALE;
    rec->castrated = true;
    return lm_life_put(life);
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    int exit = lm_life_begin(&life, args, "castrated", NULL);
    for (size_t i = 0; i < args->n_rest && exit == LM_EXIT_OK; i++)
        exit = castrate_one(&life, args->rest[i]);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep_and_show(&life);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_castrate = {
    .name = "castrate",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter males as castrated"),
    .arguments = "ANIMAL...",
    .details = "The day stands in the history.",
    .example = "lugmark castrate A17 A18 --date 2026-05-02",
    .options = options,
    .min_rest = 1,
    .max_rest = 10000,
    .run = run,
};
