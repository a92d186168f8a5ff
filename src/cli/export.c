/* lugmark export: the register as CSV, or a session as event lines. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "bundle.h"
#include "icar.h"
#include "lugmark/eventline.h"
#include "open_db.h"
#include "out_file.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static enum lm_err write_csv(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_regcsv_write(ctx, rec);
}

static enum lm_err write_sheet(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_regcsv_write_sheet(ctx, rec);
}

static enum lm_err write_json(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    char *text = lm_record_json(rec);
    if (text == NULL)
        return LM_ENOMEM;
    bool good = fprintf(ctx, "%s\n", text) > 0;
    free(text);
    return good ? LM_OK : LM_EIO;
}

static enum lm_err write_event(const struct lm_event *ev, void *ctx)
{
    return lm_eventline_write(ctx, ev);
}

static enum lm_err write_register(
    const struct lm_args *args, struct lm_store *store, int64_t at_seq, FILE *out)
{
    bool sheet = lm_arg_given(args, "spreadsheet");
    lm_record_fn *fn = lm_arg_given(args, "json") ? write_json : sheet ? write_sheet : write_csv;
    enum lm_err err = LM_OK;
    if (fn != write_json)
        err = sheet ? lm_regcsv_write_sheet_header(out) : lm_regcsv_write_header(out);
    if (err != LM_OK)
        return err;
    return at_seq > 0 ? lm_store_each_at(store, at_seq, fn, out) : lm_store_each(store, fn, out);
}

static int export_to(
    const struct lm_args *args, struct lm_store *store, bool events, long number, FILE *out)
{
    struct lm_store_session session = {0};
    enum lm_err err = LM_OK;
    if (events || number > 0) {
        err = lm_store_session(store, number, &session);
        if (err == LM_ENOTFOUND && number > 0)
            return lm_fail(LM_EXIT_INPUT, NULL, "there is no session %ld", number);
        if (err == LM_ENOTFOUND)
            return lm_fail(LM_EXIT_INPUT, NULL, "there is no session yet");
    }
    if (err == LM_OK && events)
        err = lm_store_events(store, session.id, 0, write_event, out);
    else if (err == LM_OK)
        err = write_register(args, store, session.first_seq, out);
    if (err == LM_EIO && ferror(out))
        return LM_EXIT_OK; /* closing says so */
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
}

static const char *const icar_only[] = {"what", "location", "source"};

static int run(const struct lm_args *args)
{
    const char *format = lm_arg(args, "format");
    bool events = format != NULL && strcmp(format, "events") == 0;
    long number = 0;
    struct lm_store *store = NULL;
    struct lm_out out;
    if (lm_arg_given(args, "bundle"))
        return lm_export_bundle(args);
    if (format != NULL && strcmp(format, "icar") == 0)
        return lm_export_icar(args);
    if (format != NULL && !events && strcmp(format, "csv") != 0)
        return lm_usage(args, "--format is csv, events or icar, not \"%s\"", format);
    if (lm_arg_given(args, "spreadsheet") && (events || lm_arg_given(args, "json")))
        return lm_usage(args, "--spreadsheet is a form of the CSV");
    for (unsigned i = 0; i < sizeof icar_only / sizeof *icar_only; i++)
        if (lm_arg_given(args, icar_only[i]))
            return lm_usage(args, "--%s goes with --format icar", icar_only[i]);
    if (!lm_arg_number(args, "session", 1, 1000000000L, &number))
        return LM_EXIT_USAGE;
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = lm_out_open(args, &out);
    if (exit == LM_EXIT_OK) {
        exit = export_to(args, store, events, number, out.file);
        int closed = lm_out_close(&out, exit == LM_EXIT_OK);
        exit = exit == LM_EXIT_OK ? closed : exit;
    }
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"format", 'f', "csv|events|icar",
        "the register as CSV (default), a session's events, or "
        "ICAR animal data exchange (JSON)"},
    {"spreadsheet", 0, NULL, "CSV for a spreadsheet program: byte order mark, formulas disarmed"},
    {"what", 'w', "WHAT", "icar: animals, arrivals, departures, births, deaths or session"},
    {"location", 0, "SCHEME:ID", "icar: the holding's number and whose number it is"},
    {"source", 0, "NAME", "icar: your name in reverse, as of a domain (default local.lugmark)"},
    {"session", 's', "N", "which session; with csv: the register as it stood before it"},
    {"bundle", 'b', "FILE", "all there is, to take along on another machine: see import"},
    {"output", 'o', "FILE", "write to a new file instead of standard output"},
    {"overwrite", 0, NULL, "replace the file when it is there"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_export = {
    .name = "export",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Write the register as CSV, or a session as event lines"),
    .arguments = "",
    .details = "The CSV is what import takes, and loses nothing. With --json the register is\n"
               "written as one JSON object an animal. Without --session, events are those of\n"
               "the latest session; reconcile --events folds them again.\n"
               "--spreadsheet loses nothing either; but open it with your program's text import\n"
               "and call eid and visual text, or it drops zeros and digits. What ICAR's form\n"
               "cannot hold is counted on standard error; 1 when animals were left out.",
    .example = "lugmark export -o register.csv\n"
               "lugmark export --format icar --what animals --location org.example.holding:0042",
    .options = options,
    .run = run,
};
