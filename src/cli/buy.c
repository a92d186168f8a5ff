/* lugmark buy: animals that come from another holding. */
#include "command.h"

#include <errno.h>
#include <string.h>

#include "fields.h"
#include "life.h"
#include "new_animal.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

struct buying {
    struct lm_life *life;
    const char *name; /* of the list */
    struct lm_problems problems;
    unsigned long bought;
    int failed; /* exit status of the register's failure, or 0 */
};

static int buy(struct lm_life *life, struct lm_record *rec)
{
    rec->status = LM_ON_FARM;
    rec->status_date = life->date;
    if (lm_life_before_birth(rec, life->date, "bought"))
        return LM_EXIT_INPUT;
    return lm_new_animal_put(life->store, rec, life->why);
}

static enum lm_err buy_row(const struct lm_record *rec, long line, void *ctx)
{
    struct buying *b = ctx;
    *b->life->rec = *rec;
    int exit = buy(b->life, b->life->rec);
    if (exit == LM_EXIT_OK) {
        b->bought++;
        return LM_OK;
    }
    if (exit == LM_EXIT_FAILED) {
        b->failed = exit;
        return LM_EIO;
    }
    struct lm_problem p = {.line = line};
    snprintf(p.file, sizeof p.file, "%s", b->name);
    lm_problem_set(&p, LM_EINPUT, NULL, "animal %s was refused, see above", rec->key);
    lm_problems_add(&p, &b->problems);
    return LM_OK; /* go on: every bad row is reported */
}

static void problem(const struct lm_problem *p, void *ctx)
{
    struct buying *b = ctx;
    lm_problems_add(p, &b->problems);
}

static int buy_list(struct lm_life *life, const char *name)
{
    struct buying b = {.life = life, .name = name};
    struct lm_regcsv_hooks hooks = {
        .record = buy_row, .problem = problem, .ctx = &b, .today = lm_life_today()};
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", name, strerror(errno));
    enum lm_err err = lm_regcsv_read(in, name, &hooks);
    fclose(in);
    if (b.problems.count > 0)
        return lm_problems_end(&b.problems);
    if (b.failed != 0)
        return b.failed;
    if (err != LM_OK)
        return lm_fail(lm_exit_of(err), NULL, "%s could not be read: %s", name, lm_err_str(err));
    int exit = lm_life_keep(life);
    if (exit == LM_EXIT_OK && lm_arg_given(life->args, "json"))
        printf("{\"bought\":%lu}\n", b.bought);
    else if (exit == LM_EXIT_OK)
        printf(lm_tongue_n("%lu animal bought\n", "%lu animals bought\n", b.bought), b.bought);
    return exit;
}

static int buy_one(struct lm_life *life)
{
    int exit = lm_new_animal(life->args, life->rec);
    if (exit == LM_EXIT_OK)
        exit = buy(life, life->rec);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    return exit == LM_EXIT_OK ? lm_life_show(life->args, life->rec) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char more[128] = "", clean[100];
    const char *from = lm_arg(args, "from"), *list = lm_arg(args, "list");
    if (lm_arg_given(args, "status") || lm_arg_given(args, "status-date"))
        return lm_usage(args, "a bought animal is on the farm since --date");
    if (from != NULL)
        snprintf(more, sizeof more, "from %s", lm_clean(clean, sizeof clean, from));
    /* The statement knows it by these words (stay.h). */
    int exit = lm_life_begin(
        &life, args, lm_arg_given(args, "transfer") ? "transferred in" : "bought", more);
    if (exit == LM_EXIT_OK)
        exit = list != NULL ? buy_list(&life, list) : buy_one(&life);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"from", 0, "WHOM", "where it comes from: a holding's name or number"},
    {"transfer", 0, NULL, "not bought: moved from another holding of the same keeper"},
    {"list", 0, "FILE", "several at once: a CSV as lugmark import takes it"},
    {"animal", 0, "KEY", "the register's name for it (default: its number, else its code)"},
    LM_ANIMAL_OPTIONS,
    LM_DEVICE_OPTIONS,
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_buy = {
    .name = "buy",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Add animals that come from another holding"),
    .arguments = "",
    .details = "They are on the farm since --date; where they come from stands in the history.",
    .example = "lugmark buy --from \"Hill holding\" --date 2026-09-01 --sex doe --born 2025 \\\n"
               "    --visual 0501 --eid 999000000000501 --mob does",
    .options = options,
    .run = run,
};
