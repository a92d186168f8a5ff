/* lugmark reconcile: the whole job with no database. */
#include "reconcile.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "lot.h"
#include "lugmark/regcsv.h"
#include "lugmark/report.h"
#include "report/tongue.h"

FILE *lm_reconcile_file(const char *path, const char **name)
{
    *name = strcmp(path, "-") == 0 ? "standard input" : path;
    FILE *in = strcmp(path, "-") == 0 ? stdin : fopen(path, "rbe");
    if (in == NULL)
        lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", path, strerror(errno));
    return in;
}

void lm_reconcile_file_close(FILE *in)
{
    if (in != stdin)
        fclose(in);
}

static const char *senseless(enum lm_event_kind kind)
{
    switch (kind) {
    case LM_EVENT_UNDO:
        return "there is no call and no head count to take back";
    case LM_EVENT_OPEN:
        return "the session is open already";
    case LM_EVENT_SIGHTING:
        return "the called number has no letter and no digit";
    case LM_EVENT_READING:
    case LM_EVENT_HEADS:
    case LM_EVENT_CLOSE:
    case LM_EVENT_REGISTER:
        break;
    }
    return "this event makes no sense here";
}

enum lm_err lm_reconcile_apply(const struct lm_event *ev, const char *file, long line, void *ctx)
{
    struct lm_reconcile *r = ctx;
    struct lm_problem p = {0};
    enum lm_err err = lm_session_apply(r->session, ev, NULL);
    if (err != LM_EARG)
        return err;
    snprintf(p.file, sizeof p.file, "%s", file);
    p.line = line;
    lm_problem_set(&p, LM_EINPUT, "leave the line out", "%s",
        lm_session_is_closed(r->session) ? "this comes after the close of the session"
                                         : senseless(ev->kind));
    lm_problems_add(&p, &r->problems);
    return LM_OK;
}

enum lm_err lm_reconcile_heads(struct lm_reconcile *r)
{
    struct lm_event ev = {.kind = LM_EVENT_HEADS, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE};
    if (r->heads < 0 || r->heads_given)
        return LM_OK;
    r->heads_given = true;
    ev.heads = (uint32_t) r->heads;
    return lm_session_apply(r->session, &ev, NULL);
}

/* --- the register --- */

static enum lm_err into_roll(const struct lm_record *rec, long line, void *ctx)
{
    struct lm_reconcile *r = ctx;
    (void) line;
    enum lm_err err = lm_roll_put(r->roll, rec, NULL);
    return err || !r->explains ? err : lm_lives_add(&r->past.lives, rec);
}

/* The file's keys are known to be unique by now: they can be loaded at once. */
static void make_room(uint32_t animals, uint32_t devices, void *ctx)
{
    struct lm_reconcile *r = ctx;
    lm_roll_load_begin(r->roll, animals, devices);
}

static void register_problem(const struct lm_problem *p, void *ctx)
{
    struct lm_reconcile *r = ctx;
    lm_problems_add(p, &r->problems);
}

static int read_register(struct lm_reconcile *r)
{
    const char *name;
    struct lm_regcsv_hooks hooks = {.begin = make_room,
        .record = into_roll,
        .problem = register_problem,
        .ctx = r,
        .lenient = true};
    FILE *in = lm_reconcile_file(lm_arg(r->args, "register"), &name);
    if (in == NULL)
        return LM_EXIT_INPUT;
    enum lm_err err = lm_regcsv_read(in, name, &hooks);
    if (err == LM_OK)
        err = lm_roll_load_end(r->roll);
    lm_reconcile_file_close(in);
    if (r->problems.count > 0)
        return lm_problems_end(&r->problems);
    if (err != LM_OK)
        return lm_fail(lm_exit_of(err), NULL, "%s could not be read: %s", name, lm_err_str(err));
    return LM_EXIT_OK;
}

/* --- opening and closing --- */

static bool mob_exists(const struct lm_roll *roll, const char *mob)
{
    for (uint32_t i = 0, n = lm_roll_animals(roll); i < n; i++)
        if (strcmp(lm_roll_animal(roll, i).mob, mob) == 0)
            return true;
    return false;
}

static int open_it(struct lm_reconcile *r, const struct lm_open *open)
{
    struct lm_event ev = {
        .kind = LM_EVENT_OPEN, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE, .open = open};
    if (lm_session_apply(r->session, &ev, NULL) != LM_OK)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (lm_roll_expected(r->roll) == 0 && lm_roll_animals(r->roll) > 0) {
        if (open->mob[0] != '\0' && !mob_exists(r->roll, open->mob))
            return lm_fail(LM_EXIT_USAGE, "name a mob of the register, or leave --mob out",
                "no animal of the register is in a mob called %s", open->mob);
        fputs(_("lugmark: note: no animal of the register is expected\n"), stderr);
    }
    return LM_EXIT_OK;
}

/* Open as the options say. */
static int open_by_options(struct lm_reconcile *r)
{
    const char *mob = lm_arg(r->args, "mob"), *lot_path = lm_arg(r->args, "lot");
    const char *kind = lm_arg(r->args, "kind");
    struct lm_open open = {.kind = LM_WALK};
    struct lm_lot lot = {0};
    int exit = LM_EXIT_OK;
    if (kind != NULL && lm_session_kind_parse(kind, &open.kind) != LM_OK)
        return lm_usage(r->args, "--kind is walk, count or sale, not \"%s\"", kind);
    if (mob != NULL && !lm_text_copy(open.mob, sizeof open.mob, mob, strlen(mob)))
        return lm_usage(r->args, "--mob is longer than 63 bytes or not clean text");
    if (lot_path != NULL)
        exit = lm_lot_read(lot_path, r->roll, &lot);
    if (exit == LM_EXIT_OK) {
        memcpy(open.lot, lot.name, sizeof open.lot);
        open.keys = lot.keys;
        open.n_keys = lot.n;
        exit = open_it(r, &open);
    }
    lm_lot_free(&lot);
    return exit;
}

static int open_session(struct lm_reconcile *r, const struct lm_event *first)
{
    if (first == NULL)
        return open_by_options(r);
    if (lm_arg_given(r->args, "mob") || lm_arg_given(r->args, "lot") ||
        lm_arg_given(r->args, "kind"))
        return lm_usage(r->args, "the events say already how the session was opened: leave out "
                                 "--mob, --lot and --kind");
    if (lm_reconcile_apply(first, lm_arg(r->args, "events"), 1, r) != LM_OK)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return LM_EXIT_OK;
}

static int close_session(struct lm_reconcile *r)
{
    struct lm_event ev = {.kind = LM_EVENT_CLOSE, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE};
    enum lm_err err = LM_OK;
    if (!lm_session_is_closed(r->session)) {
        err = lm_reconcile_heads(r);
        if (err == LM_OK)
            err = lm_session_apply(r->session, &ev, NULL);
    }
    return err == LM_OK ? LM_EXIT_OK : lm_fail(LM_EXIT_FAILED, NULL, "%s", lm_err_str(err));
}

static int fold(struct lm_reconcile *r)
{
    struct lm_reconcile_events *events = NULL;
    int exit = lm_reconcile_events_begin(r, &events);
    if (exit == LM_EXIT_OK)
        exit = open_session(r, lm_reconcile_events_open(events));
    if (exit == LM_EXIT_OK)
        exit = lm_reconcile_passes(r);
    if (exit == LM_EXIT_OK)
        exit = lm_reconcile_events_rest(r, events);
    if (exit == LM_EXIT_OK && r->problems.count == 0)
        exit = close_session(r);
    lm_reconcile_events_end(events);
    int bad = lm_problems_end(&r->problems);
    return exit != LM_EXIT_OK ? exit : bad;
}

static enum lm_err explain(struct lm_reconcile *r, struct lm_explain **out)
{
    enum lm_err err = lm_past_file(&r->past, r->session, &r->supply);
    return err ? err
               : lm_supply_explain_past(&r->supply, &r->past, r->session,
                     lm_supply_speech(r->args, !lm_arg_given(r->args, "json")), out);
}

static int report(struct lm_reconcile *r)
{
    struct lm_explain *x = NULL;
    enum lm_err err = LM_OK;
    if (lm_arg_given(r->args, "explain"))
        err = explain(r, &x);
    if (err == LM_OK && lm_arg_given(r->args, "json"))
        err = lm_report_json_explained(stdout, r->session, x);
    else if (err == LM_OK)
        err = lm_report_text(stdout, r->session);
    if (err == LM_OK && x != NULL && !lm_arg_given(r->args, "json"))
        err = lm_report_explain_text(stdout, r->session, x, NULL);
    lm_explain_free(x);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return lm_report_flagged(r->session) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

/* --- the command --- */

static int check_usage(const struct lm_args *args)
{
    static const char *const files[] = {
        "register", "readings", "sightings", "events", "lot", "stock"};
    unsigned dashes = 0;
    for (size_t i = 0; i < sizeof files / sizeof *files; i++)
        dashes += lm_arg_given(args, files[i]) && strcmp(lm_arg(args, files[i]), "-") == 0;
    if (!lm_arg_given(args, "register"))
        return lm_usage(args, "say which register with --register R.csv");
    if (dashes > 1)
        return lm_usage(args, "standard input can be read only once");
    if (lm_arg_given(args, "mob") && lm_arg_given(args, "lot"))
        return lm_usage(args, "either --mob or --lot says who is expected, not both");
    if (lm_arg_given(args, "stock") && !lm_arg_given(args, "explain"))
        return lm_usage(args, "--stock is evidence for --explain: give both");
    return LM_EXIT_OK;
}

/* Seconds, with or without a fraction. */
static int rearm(const struct lm_args *args, struct lm_session_options *options)
{
    const char *text = lm_arg(args, "rearm");
    char *end = NULL;
    if (text == NULL)
        return LM_EXIT_OK;
    double seconds = strtod(text, &end);
    if (text[0] < '0' || text[0] > '9' || *end != '\0' || !(seconds <= 86400.0))
        return lm_usage(args, "--rearm wants seconds from 0 to 86400, not \"%s\"", text);
    options->rearm_ms = (int64_t) (seconds * 1000.0 + 0.5);
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    struct lm_reconcile r = {.args = args, .heads = -1, .explains = lm_arg_given(args, "explain")};
    struct lm_session_options options;
    int exit = check_usage(args);
    lm_session_defaults(&options);
    if (exit == LM_EXIT_OK && !lm_arg_number(args, "heads", 0, 10000000, &r.heads))
        exit = LM_EXIT_USAGE;
    if (exit == LM_EXIT_OK)
        exit = rearm(args, &options);
    if (exit != LM_EXIT_OK)
        return exit;
    r.roll = lm_roll_new();
    if (r.roll != NULL)
        r.session = lm_session_new(r.roll, &options);
    if (r.session == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else if (!lm_reconcile_sieve(&r, &exit))
        exit = read_register(&r);
    if (exit == LM_EXIT_OK && lm_arg_given(args, "stock"))
        exit = lm_supply_file(lm_arg(args, "stock"), &r.supply);
    if (exit == LM_EXIT_OK)
        exit = fold(&r);
    if (exit == LM_EXIT_OK)
        exit = report(&r);
    lm_past_free(&r.past);
    lm_supply_free(&r.supply);
    lm_sieve_free(r.sieve);
    lm_session_free(r.session);
    lm_roll_free(r.roll);
    return exit;
}

static const struct lm_option options_table[] = {
    {"register", 'r', "FILE", "the register as CSV, one row a device"},
    {"readings", 'c', "FILE", "codes read: one a line, or CSV time,lane,eid"},
    {"sightings", 's', "FILE", "numbers called: CSV time,lane,visual,with"},
    {"events", 'e', "FILE", "event lines, as lugmark export --format events writes them"},
    {"heads", 'n', "N", "heads that a person counted through the gate"},
    {"mob", 'm', "MOB", "only the animals of this mob are expected"},
    {"lot", 'l', "FILE", "only the animals listed in this file are expected"},
    {"kind", 'k', "KIND", "walk (default), count or sale"},
    {"rearm", 0, "S", "the same code within S seconds is the same pass (default 30)"},
    {"stock", 0, "FILE",
        "the supplier's list of devices, as evidence: CSV strip,position,eid,visual"},
    {"explain", 0, NULL, "say what most likely happened, how sure that is, and why"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_reconcile = {
    .name = "reconcile",
    .group = LM_GROUP_AFTER,
    .summary = N_("Match readings with a register from files, with no database"),
    .arguments = "--register R.csv",
    .details =
        "One of the files may be - for standard input. Readings and sightings are merged by\n"
        "time when both have times; otherwise the readings come first. Nothing is reported\n"
        "when any line of any file is bad.",
    .example = "lugmark reconcile --register register.csv --readings stick.csv --heads 213",
    .options = options_table,
    .run = run,
};
