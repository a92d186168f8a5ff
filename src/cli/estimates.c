/* lugmark estimates: what the readings and the devices allow to estimate. */
#include "command.h"

#include "lugmark/inventory.h"
#include "lugmark/report.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

struct gather {
    struct lm_store *store;
    struct lm_estimates *e;
    long only; /* session, or 0 for all */
    unsigned taken;
};

static enum lm_err take_session(const struct lm_store_session *row, void *ctx)
{
    struct gather *g = ctx;
    struct lm_replay replay;
    if (g->only > 0 ? row->id != g->only : row->last_seq == 0)
        return LM_OK;
    enum lm_err err = lm_replay_session(g->store, row, NULL, &replay);
    if (err != LM_OK)
        return err;
    err = lm_estimates_session(g->e, g->store, row, replay.session);
    lm_replay_free(&replay);
    g->taken++;
    return err;
}

static int write_all(const struct lm_args *args, struct gather *g, const struct lm_retentions *r)
{
    if (lm_arg_given(args, "json")) {
        printf("{\"schema\":\"lugmark.estimates/1\",\"sessions\":%u,", g->taken);
        lm_estimates_json(stdout, g->e, r);
        puts("}");
    } else {
        printf(lm_tongue_n("Estimates from %u session. They are no count.\n",
                   "Estimates from %u sessions. They are no count.\n", g->taken),
            g->taken);
        lm_estimates_text(stdout, g->e, r);
    }
    return LM_EXIT_OK;
}

static int gather(const struct lm_args *args, struct gather *g)
{
    struct lm_retentions r = {0};
    enum lm_err err = lm_store_sessions(g->store, take_session, g);
    if (err == LM_OK && g->only > 0 && g->taken == 0)
        return lm_fail(LM_EXIT_INPUT, NULL, "there is no session %ld", g->only);
    if (err == LM_OK)
        err = lm_retentions_make(
            g->store, lm_day_of(lm_now_ms(), 0), lm_arg_given(args, "whole-history"), &r);
    int exit = LM_EXIT_FAILED;
    if (err == LM_OK)
        exit = write_all(args, g, &r);
    else if (err == LM_ENOMEM)
        lm_fail(exit, NULL, "out of memory");
    else
        exit = lm_db_fail(g->store);
    lm_retentions_free(&r);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct gather g = {0};
    if (!lm_arg_number(args, "session", 1, 1000000000L, &g.only))
        return LM_EXIT_USAGE;
    int exit = lm_db_open(args, LM_STORE_READ, &g.store);
    if (exit == LM_EXIT_OK) {
        g.e = lm_estimates_new();
        exit = g.e != NULL ? gather(args, &g) : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    }
    lm_estimates_free(g.e);
    lm_store_close(g.store);
    return exit;
}

static const struct lm_option options[] = {
    {"session", 's', "N", "readings of this session only (default: all that are closed)"},
    {"whole-history", 0, NULL, "the register holds every device ever put on, lost ones too"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_estimates = {
    .name = "estimates",
    .group = LM_GROUP_AFTER,
    .summary = N_("Estimate readability, heads, and how long devices stay"),
    .arguments = "",
    .details =
        "Each estimate has its 95 % interval and says what it rests on. Devices are watched\n"
        "from the day they were written down; with --whole-history, from the day they\n"
        "were put on.",
    .example = "lugmark estimates --json",
    .options = options,
    .run = run,
};
