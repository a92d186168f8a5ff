/* lugmark report: one session as a page that prints, as text, JSON or CSV. */
#include "command.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "explain_apply.h"
#include "explain_past.h"
#include "lugmark/printed.h"
#include "lugmark/report.h"
#include "open_db.h"
#include "out_file.h"
#include "problem.h"
#include "supply.h"
#include "report/tongue.h"

typedef enum lm_err writer(FILE *out, const struct lm_printed *p);

static const struct format {
    const char *name, *ending;
    writer *write;
    bool devices; /* shows how long devices stay */
} formats[] = {
    {"html", ".html", lm_printed_html, true},
    {"html", ".htm", lm_printed_html, true},
    {"text", ".txt", lm_printed_text, false},
    {"json", ".json", lm_printed_json, true},
    {"csv", ".csv", lm_printed_csv, false},
};
#define N_FORMATS (sizeof formats / sizeof formats[0])
#define TEXT 2

struct wanted {
    const struct format *format;
    long long id; /* 0: the latest */
};

static const struct format *format_named(const char *name)
{
    for (size_t i = 0; i < N_FORMATS; i++) {
        if (strcmp(formats[i].name, name) == 0)
            return &formats[i];
    }
    return NULL;
}

/* What was asked for by name, else by --json, else by how the file's name ends, else text. */
static int take_format(const struct lm_args *args, struct wanted *w)
{
    const char *name = lm_arg(args, "format"), *path = lm_arg(args, "output");
    w->format = &formats[TEXT];
    if (name != NULL)
        w->format = format_named(name);
    if (w->format == NULL)
        return lm_usage(args, "--format is html, text, json or csv, not \"%s\"", name);
    if (name != NULL && lm_arg_given(args, "json") && w->format != format_named("json"))
        return lm_usage(args, "--json and --format %s do not go together", name);
    if (lm_arg_given(args, "json"))
        w->format = format_named("json");
    if (name != NULL || lm_arg_given(args, "json") || path == NULL || strcmp(path, "-") == 0)
        return LM_EXIT_OK;
    for (size_t i = 0; i < N_FORMATS; i++) {
        size_t len = strlen(path), end = strlen(formats[i].ending);
        if (len > end && strcasecmp(path + len - end, formats[i].ending) == 0) {
            w->format = &formats[i];
            return LM_EXIT_OK;
        }
    }
    return lm_usage(
        args, _("end the name after --output in .html, .txt, .json or .csv, or say which "
                "with --format"));
}

static int take_session(const struct lm_args *args, struct wanted *w)
{
    char *end = NULL;
    if (args->n_rest > 0 && lm_arg_given(args, "count"))
        return lm_usage(args, _("either SESSION or --count"));
    if (args->n_rest == 0 || strcmp(args->rest[0], "last") == 0)
        return LM_EXIT_OK;
    errno = 0;
    w->id = strtoll(args->rest[0], &end, 10);
    if (errno != 0 || *end != '\0' || w->id < 1)
        return lm_usage(
            args, _("SESSION is a number such as 3, or last, not \"%s\""), args->rest[0]);
    return LM_EXIT_OK;
}

static int said(const struct lm_store *store, enum lm_err err)
{
    return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory") : lm_db_fail(store);
}

static int write_out(
    const struct lm_args *args, const struct wanted *w, const struct lm_printed *p, bool flagged)
{
    struct lm_out out;
    int exit = lm_out_open(args, &out);
    if (exit != LM_EXIT_OK)
        return exit;
    enum lm_err err = w->format->write(out.file, p); /* a full disk is told by closing */
    exit = lm_out_close(&out, err != LM_ENOMEM);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return exit == LM_EXIT_OK && flagged ? LM_EXIT_FLAGGED : exit;
}

static int report(const struct lm_args *args, const struct wanted *w, const struct lm_told *told,
    const struct lm_store_session *row)
{
    struct lm_printed_source from = {.store = told->store,
        .row = row,
        .session = told->session,
        .explain = told->all,
        .skip = told->skip,
        .made_ms = lm_now_ms(),
        .devices = w->format->devices,
        .whole = lm_arg_given(args, "whole-history")};
    struct lm_printed *p = NULL;
    enum lm_err err = lm_printed_make(&from, &p);
    if (err != LM_OK)
        return said(told->store, err);
    int exit = write_out(args, w, p, lm_report_flagged(told->session));
    lm_printed_free(p);
    return exit;
}

static int explain_and_report(const struct lm_args *args, const struct wanted *w,
    struct lm_store *store, const struct lm_store_session *row, const struct lm_session *session)
{
    struct lm_supply supply = {0};
    struct lm_past past = {0};
    struct lm_explain *all = NULL;
    enum lm_err err = lm_supply_store(store, &supply);
    if (err == LM_OK)
        err = lm_past_store(store, row, session, &supply, &past);
    if (err == LM_OK) /* the ids must be those of `lugmark explain`: a command accepts by them */
        err = lm_supply_explain_past(&supply, &past, session,
            lm_supply_speech(args, w->format->write != lm_printed_json), &all);
    lm_past_free(&past);
    lm_supply_free(&supply);
    if (err != LM_OK)
        return said(store, err);
    struct lm_told told = {.store = store, .session = session, .all = all, .session_row = row->id};
    told.skip = calloc((size_t) lm_explain_count(all) + 1, sizeof *told.skip);
    err = told.skip == NULL ? LM_ENOMEM : lm_told_skip(&told);
    int exit = err == LM_OK ? report(args, w, &told, row) : said(store, err);
    free(told.skip);
    lm_explain_free(all);
    return exit;
}

static enum lm_err write_count(
    const struct wanted *w, struct lm_store *store, struct lm_inventory *inv, FILE *out)
{
    char holding[256] = "";
    enum lm_err err = lm_store_setting(store, "holding", holding, sizeof holding);
    if (err != LM_OK)
        return err;
    if (w->format->write == lm_printed_html)
        return lm_printed_count_html(out, inv, holding, lm_now_ms());
    if (w->format->write == lm_printed_csv)
        return lm_printed_count_csv(out, inv);
    return w->format->write == lm_printed_json ? lm_inventory_json(out, inv)
                                               : lm_inventory_text(out, inv);
}

static int from_count(const struct lm_args *args, const struct wanted *w, struct lm_store *store)
{
    const char *given = lm_arg(args, "count");
    char name[LM_NAME_MAX + 1];
    struct lm_inventory inv;
    struct lm_problem p = {0};
    struct lm_out out;
    if (!lm_text_copy(name, sizeof name, given, strlen(given)) || name[0] == '\0')
        return lm_usage(args, "--count is empty, longer than 63 bytes or not clean text");
    if (lm_inventory_make(store, name, (struct lm_date){0}, &inv, &p) != LM_OK)
        return lm_problem_fail(&p);
    int exit = lm_out_open(args, &out);
    if (exit == LM_EXIT_OK) {
        enum lm_err err = write_count(w, store, &inv, out.file);
        exit = lm_out_close(&out, err == LM_OK || err == LM_EIO);
        if (err != LM_OK && err != LM_EIO)
            exit = said(store, err);
    }
    if (exit == LM_EXIT_OK && lm_count_flagged(&inv.figures))
        exit = LM_EXIT_FLAGGED;
    lm_inventory_free(&inv);
    return exit;
}

static int from_store(const struct lm_args *args, const struct wanted *w, struct lm_store *store)
{
    struct lm_store_session row = {0};
    struct lm_replay replay;
    enum lm_err err = lm_store_session(store, w->id, &row);
    if (err == LM_ENOTFOUND && w->id > 0)
        return lm_fail(LM_EXIT_INPUT, NULL, _("there is no session %lld"), w->id);
    if (err == LM_ENOTFOUND)
        return lm_fail(
            LM_EXIT_INPUT, _("open one with lugmark open"), _("there is no session yet"));
    if (err == LM_OK)
        err = lm_replay_session(store, &row, NULL, &replay);
    if (err != LM_OK)
        return said(store, err);
    if (!lm_session_is_closed(replay.session))
        fputs(_("lugmark: note: the session is still open, nobody is missing yet\n"), stderr);
    int exit = explain_and_report(args, w, store, &row, replay.session);
    lm_replay_free(&replay);
    return exit;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct wanted w = {0};
    int exit = take_format(args, &w);
    if (exit == LM_EXIT_OK)
        exit = take_session(args, &w);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = lm_arg_given(args, "count") ? from_count(args, &w, store) : from_store(args, &w, store);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"output", 'o', "FILE", "write to a new file instead of standard output"},
    {"overwrite", 0, NULL, "replace a file that is there already"},
    {"format", 'f', "FORMAT", "html, text, json or csv (default: by the end of FILE, else text)"},
    {"count", 0, "NAME", "the yearly count of that name instead of one session"},
    {"whole-history", 0, NULL, "the register holds every device ever put on, lost ones too"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_report = {
    .name = "report",
    .group = LM_GROUP_AFTER,
    .summary = N_("Make a page of a session to print, sign and send"),
    .arguments = "[SESSION]",
    .details = "Without SESSION, or with last: the latest in the register. The page is one file\n"
               "that needs nothing else: the three figures, flags, those not found, what most\n"
               "likely happened, and pictures of the race. Lists on paper are bounded; json and\n"
               "csv have everything.",
    .example = "lugmark report -o race.html\nlugmark report 3 --format csv -o findings.csv",
    .options = options,
    .max_rest = 1,
    .run = run,
};
