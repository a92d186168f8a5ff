/* lugmark statement: the movements of a period, with a count beside them. */
#include "command.h"

#include <string.h>

#include "fields.h"
#include "lugmark/statement.h"
#include "open_db.h"
#include "out_file.h"
#include "problem.h"
#include "report/tongue.h"

typedef enum lm_err writer(FILE *out, const struct lm_statement *s);

struct wanted {
    struct lm_date from, to;
    struct lm_statement_limits limits;
    writer *write;
};

static int take_day(const struct lm_args *args, const char *name, struct lm_date *out)
{
    const char *text = lm_arg(args, name);
    if (text == NULL)
        return lm_usage(args, _("--from and --to say which days the statement is for"));
    if (lm_date_parse(text, strlen(text), out) != LM_OK || out->day == 0)
        return lm_fail(LM_EXIT_INPUT, _("write 2026-12-31"),
            _("--%s cannot be \"%s\": it is a day"), name, text);
    return LM_EXIT_OK;
}

static writer *format_of(const struct lm_args *args)
{
    const char *format = lm_arg(args, "format");
    if (format == NULL)
        return lm_arg_given(args, "json") ? lm_statement_json : lm_statement_text;
    if (strcmp(format, "text") == 0)
        return lm_statement_text;
    if (strcmp(format, "csv") == 0)
        return lm_statement_csv;
    if (strcmp(format, "json") == 0)
        return lm_statement_json;
    return strcmp(format, "html") == 0 ? lm_statement_html : NULL;
}

static int take(const struct lm_args *args, struct wanted *w)
{
    long kid = 12, yearling = 24;
    int exit = take_day(args, "from", &w->from);
    if (exit == LM_EXIT_OK)
        exit = take_day(args, "to", &w->to);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_date_days(w->from, 0) > lm_date_days(w->to, 0))
        return lm_fail(LM_EXIT_INPUT, _("give the earlier day as --from"),
            _("the statement would end before it begins"));
    if (lm_date_days(w->to, 0) > lm_date_days(lm_today(), 0))
        fprintf(stderr,
            _("lugmark: note: the period is not over: what happens until %s is not in it yet\n"),
            lm_arg(args, "to"));
    if (!lm_arg_number(args, "kid-months", 1, 240, &kid) ||
        !lm_arg_number(args, "yearling-months", 1, 240, &yearling))
        return LM_EXIT_USAGE;
    if (yearling < kid)
        return lm_usage(args, "--yearling-months cannot be below --kid-months");
    w->limits = (struct lm_statement_limits){(unsigned) kid, (unsigned) yearling};
    w->write = format_of(args);
    return w->write != NULL ? LM_EXIT_OK
                            : lm_usage(args, "--format is text, csv, json or html, not \"%s\"",
                                  lm_arg(args, "format"));
}

static int write_to(
    const struct lm_args *args, const struct wanted *w, const struct lm_statement *statement)
{
    struct lm_out out;
    int exit = lm_out_open(args, &out);
    if (exit != LM_EXIT_OK)
        return exit;
    w->write(out.file, statement); /* a full disk is told by closing */
    exit = lm_out_close(&out, true);
    return exit == LM_EXIT_OK && lm_statement_flagged(statement) ? LM_EXIT_FLAGGED : exit;
}

static int make(const struct lm_args *args, const struct wanted *w, struct lm_store *store,
    const struct lm_inventory *count)
{
    struct lm_statement statement;
    enum lm_err err = lm_statement_make(store, w->from, w->to, &w->limits, count, &statement);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (err != LM_OK)
        return lm_db_fail(store);
    if (lm_arg_given(args, "lang"))
        statement.notes_in = &lm_tongue_speech;
    int exit = write_to(args, w, &statement);
    lm_statement_free(&statement);
    return exit;
}

static int with_count(const struct lm_args *args, const struct wanted *w, struct lm_store *store)
{
    const char *given = lm_arg(args, "count");
    char name[LM_NAME_MAX + 1];
    struct lm_inventory count;
    struct lm_problem p = {0};
    if (given == NULL)
        return make(args, w, store, NULL);
    if (!lm_text_copy(name, sizeof name, given, strlen(given)) || name[0] == '\0')
        return lm_usage(args, "--count is empty, longer than 63 bytes or not clean text");
    if (lm_inventory_make(store, name, (struct lm_date){0}, &count, &p) != LM_OK)
        return lm_problem_fail(&p);
    int exit = make(args, w, store, &count);
    lm_inventory_free(&count);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct wanted w = {.write = NULL};
    struct lm_store *store = NULL;
    int exit = take(args, &w);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit == LM_EXIT_OK)
        exit = with_count(args, &w, store);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"from", 0, "DATE", "first day"},
    {"to", 0, "DATE", "last day"},
    {"count", 'c', "NAME", "the count to set beside the book"},
    {"kid-months", 0, "N", "kids and lambs are younger (default 12)"},
    {"yearling-months", 0, "N", "yearlings are younger (default 24)"},
    {"format", 'f', "WORD", "text (default), csv, json or html: a page to print and sign"},
    {"output", 'o', "FILE", "write to a new file instead of standard output"},
    {"overwrite", 0, NULL, "replace the file when it is there"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_statement = {
    .name = "statement",
    .group = LM_GROUP_AFTER,
    .summary = N_("State the movements of a period: opening, came, left, book"),
    .arguments = "",
    .details =
        "Opening + births + bought - sold - died - killed at home = book, by class. When an\n"
        "animal came and left is taken from the register and its history. Book, heads\n"
        "counted and animals identified are three figures; a difference is taken apart,\n"
        "never posted.",
    .example = "lugmark statement --from 2026-01-01 --to 2026-12-31 --count 2026 \\\n"
               "    --format html -o statement.html",
    .options = options,
    .run = run,
};
