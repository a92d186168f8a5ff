/* lugmark count: several sessions that together are one count. */
#include "command.h"

#include <string.h>

#include "fields.h"
#include "listing.h"
#include "lugmark/inventory.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

static int cutoff_of(const struct lm_args *args, struct lm_date *out)
{
    const char *text = lm_arg(args, "cutoff");
    *out = (struct lm_date){0};
    if (text != NULL && (lm_date_parse(text, strlen(text), out) != LM_OK || out->day == 0))
        return lm_fail(LM_EXIT_INPUT, _("write 2026-12-01"),
            _("--cutoff cannot be \"%s\": it is a day"), text);
    if (lm_arg_given(args, "close") && out->day != 0 &&
        lm_date_days(*out, 0) > lm_date_days(lm_today(), 0))
        return lm_fail(LM_EXIT_INPUT, _("close it when that day is over"),
            _("--cutoff %s lies in the future"), text);
    return LM_EXIT_OK;
}

static int write_count(const struct lm_args *args, struct lm_inventory *inv)
{
    enum lm_err err = lm_arg_given(args, "json") ? lm_inventory_json(stdout, inv)
                                                 : lm_inventory_text(stdout, inv);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return lm_count_flagged(&inv->figures) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static int count(const struct lm_args *args, struct lm_store *store, struct lm_date cutoff)
{
    struct lm_inventory inv;
    struct lm_problem p = {0};
    char name[LM_NAME_MAX + 1];
    if (!lm_text_copy(name, sizeof name, args->rest[0], strlen(args->rest[0])) || name[0] == '\0')
        return lm_usage(args, _("NAME is empty, longer than 63 bytes or not clean text"));
    if (lm_inventory_make(store, name, cutoff, &inv, &p) != LM_OK)
        return lm_problem_fail(&p);
    int exit = LM_EXIT_OK;
    if (lm_arg_given(args, "close") && lm_inventory_close(store, &inv, lm_now_ms(), &p) != LM_OK)
        exit = lm_problem_fail(&p);
    if (exit == LM_EXIT_OK)
        exit = write_count(args, &inv);
    lm_inventory_free(&inv);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct lm_date cutoff;
    bool list = lm_arg_given(args, "list");
    if (list != (args->n_rest == 0))
        return lm_usage(
            args, list ? _("--list is of all counts: leave NAME out") : _("which count? NAME"));
    if (list)
        return lm_list_counts(args);
    int exit = cutoff_of(args, &cutoff);
    if (exit == LM_EXIT_OK)
        exit =
            lm_db_open(args, lm_arg_given(args, "close") ? LM_STORE_WRITE : LM_STORE_READ, &store);
    if (exit == LM_EXIT_OK)
        exit = count(args, store, cutoff);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"cutoff", 0, "DATE", "the day at whose end book and heads must agree (default: the last)"},
    {"close", 0, NULL, "record the count as it is now; it says the same ever after"},
    {"list", 0, NULL, "only list the counts that there were"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_count = {
    .name = "count",
    .group = LM_GROUP_AFTER,
    .summary = N_("Put the sessions of a yearly count together"),
    .arguments = "NAME | --list",
    .details = "All sessions opened with --count NAME are one count, over days, mobs and lanes.\n"
               "Each animal counts once. Births, purchases, sales and deaths between the sessions\n"
               "are taken by their dates. Book, heads counted and animals identified stay three\n"
               "figures; what lies between them is named, never evened out.",
    .example = "lugmark count 2026 --cutoff 2026-12-01\nlugmark count 2026 --close",
    .options = options,
    .max_rest = 1,
    .run = run,
};
