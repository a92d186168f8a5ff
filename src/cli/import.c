/* lugmark import: take a register from CSV, all of it or nothing. */
#include "command.h"

#include <errno.h>
#include <string.h>

#include "bundle.h"
#include "icar.h"
#include "kin.h"
#include "life.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "progress.h"
#include "report/tongue.h"

#define IMPORT_CACHE_KIB 65536u /* pages that would else be written out and read back */

struct import {
    struct lm_store *store;
    const char *name;
    struct lm_problems problems;
    struct lm_progress progress;
    int64_t now_ms;
    unsigned long animals, devices;
    uint32_t total; /* animals in the file, once it was read */
    struct lm_family *family;
    bool kin;    /* there is parentage to look at */
    bool broken; /* the register itself failed: no use going on */
};

static void begin(uint32_t animals, uint32_t devices, void *ctx)
{
    struct import *im = ctx;
    (void) devices;
    im->total = animals;
}

static enum lm_err put(const struct lm_record *rec, long line, void *ctx)
{
    struct import *im = ctx;
    im->kin = im->kin || rec->dam[0] != '\0' || rec->sire[0] != '\0';
    enum lm_err err = lm_family_add(im->family, rec, line);
    if (err != LM_OK)
        return err;
    err = lm_store_put(im->store, rec, im->now_ms, "import", NULL);
    if (err == LM_OK) {
        im->animals++;
        im->devices += rec->n_devices;
        lm_progress_show(
            &im->progress, "putting animals into the register", (long long) im->animals, im->total);
        return LM_OK;
    }
    struct lm_problem p = *lm_store_problem(im->store);
    if (lm_exit_of(err) == LM_EXIT_FAILED) {
        im->broken = true;
        lm_problem_print(&p);
        return err;
    }
    snprintf(p.file, sizeof p.file, "%s", im->name);
    p.line = line;
    lm_progress_end(&im->progress);
    lm_problems_add(&p, &im->problems);
    return LM_OK; /* go on: every bad row is reported */
}

static void problem(const struct lm_problem *p, void *ctx)
{
    struct import *im = ctx;
    lm_progress_end(&im->progress);
    lm_problems_add(p, &im->problems);
}

static void progress(long long done, long long total, void *ctx)
{
    struct import *im = ctx;
    lm_progress_show(&im->progress, "reading", done, total);
}

static int say(const struct lm_args *args, const struct import *im, bool dry)
{
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, json_pack("{s:I, s:I, s:b}", "animals", (json_int_t) im->animals,
                                 "devices", (json_int_t) im->devices, "dry_run", dry));
        return LM_EXIT_OK;
    }
    printf(dry ? _("%lu animals, %lu devices; nothing was changed (--dry-run)\n")
               : _("%lu animals, %lu devices\n"),
        im->animals, im->devices);
    return LM_EXIT_OK;
}

static enum lm_err add_kin(const struct lm_record *rec, long line, void *ctx)
{
    struct import *im = ctx;
    (void) line;
    return lm_family_add(im->family, rec, 0);
}

static void tell_kin(const struct lm_family_problem *problem, void *ctx)
{
    struct import *im = ctx;
    struct lm_problem p = {.line = problem->line};
    char line[LM_PROBLEM_FILE_MAX + 2 * LM_PROBLEM_TEXT_MAX + 80];
    snprintf(p.file, sizeof p.file, "%s", im->name);
    if (lm_kin_words(problem, &p)) {
        lm_problems_add(&p, &im->problems);
        return;
    }
    lm_problem_format(&p, line, sizeof line);
    fprintf(stderr, _("lugmark: note: %s\n"), line);
}

/* The file against itself and against what the register says of the others. */
static enum lm_err check_kin(struct import *im)
{
    if (!im->kin || im->broken)
        return LM_OK;
    enum lm_err err = lm_store_each(im->store, add_kin, im);
    return err ? err : lm_family_check(im->family, tell_kin, im);
}

static int finish(const struct lm_args *args, struct import *im, enum lm_err err)
{
    bool dry = lm_arg_given(args, "dry-run");
    lm_progress_end(&im->progress);
    if (err == LM_OK)
        err = check_kin(im);
    if (im->problems.count > 0) {
        int exit = lm_problems_end(&im->problems);
        char clean[512];
        fprintf(stderr, _("lugmark: nothing was imported from %s\n"),
            lm_clean(clean, sizeof clean, im->name));
        return exit;
    }
    if (im->broken)
        return LM_EXIT_FAILED;
    if (err != LM_OK)
        return lm_fail(
            lm_exit_of(err), NULL, _("%s could not be read: %s"), im->name, lm_err_str(err));
    if (!dry && lm_store_commit(im->store) != LM_OK)
        return lm_db_fail(im->store);
    return say(args, im, dry);
}

static int read_mapping(const char *name, struct lm_regcsv_map **map)
{
    struct lm_problems problems = {0};
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, _("%s cannot be opened: %s"), name, strerror(errno));
    enum lm_err err = lm_regcsv_map_read(in, name, lm_problems_add, &problems, map);
    fclose(in);
    int exit = lm_problems_end(&problems);
    return exit == LM_EXIT_OK && err != LM_OK ? lm_exit_of(err) : exit;
}

static int import_mapped(
    const struct lm_args *args, FILE *in, const char *name, const struct lm_regcsv_map *map)
{
    struct import im = {.name = name, .now_ms = lm_now_ms()};
    struct lm_regcsv_hooks hooks = {.begin = begin,
        .record = put,
        .problem = problem,
        .progress = progress,
        .ctx = &im,
        .map = map,
        .today = lm_life_today()};
    int exit = lm_db_open(args, LM_STORE_WRITE, &im.store);
    if (exit != LM_EXIT_OK)
        return exit;
    im.family = lm_family_new();
    im.kin = lm_store_animals(im.store) > 0;
    lm_progress_begin(&im.progress);
    if (im.family == NULL) {
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    } else if (lm_store_begin_bulk(im.store) != LM_OK) {
        exit = lm_db_fail(im.store);
    } else {
        lm_store_one_change(im.store);
        lm_store_cache(im.store, IMPORT_CACHE_KIB);
        exit = finish(args, &im, lm_regcsv_read(in, name, &hooks));
        lm_store_rollback(im.store); /* after a commit there is nothing left to take back */
    }
    lm_family_free(im.family);
    lm_store_close(im.store);
    return exit;
}

static int import(const struct lm_args *args, FILE *in, const char *name)
{
    const char *format = lm_arg(args, "format"), *mapping = lm_arg(args, "mapping");
    struct lm_regcsv_map *map = NULL;
    bool icar = format != NULL && strcmp(format, "icar") == 0;
    if (format != NULL && !icar && strcmp(format, "csv") != 0)
        return lm_usage(args, "--format is csv or icar, not \"%s\"", format);
    if (icar && mapping != NULL)
        return lm_usage(args, "--mapping goes with CSV only");
    if (icar)
        return lm_import_icar(args, in, name);
    int exit = mapping != NULL ? read_mapping(mapping, &map) : LM_EXIT_OK;
    if (exit == LM_EXIT_OK)
        exit = import_mapped(args, in, name, map);
    lm_regcsv_map_free(map);
    return exit;
}

static int run(const struct lm_args *args)
{
    const char *name = args->rest[0];
    if (lm_arg_given(args, "bundle"))
        return lm_import_bundle(args);
    if (lm_arg_given(args, "keep") || lm_arg_given(args, "decide"))
        return lm_usage(args, "--keep and --decide go with --bundle");
    if (strcmp(name, "-") == 0)
        return import(args, stdin, "standard input");
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, _("%s cannot be opened: %s"), name, strerror(errno));
    int exit = import(args, in, name);
    fclose(in);
    return exit;
}

static const struct lm_option options[] = {
    {"format", 'f', "csv|icar", "CSV (default), or ICAR animal data exchange (JSON)"},
    {"mapping", 'm', "FILE", "what a CSV file of another layout calls columns and words"},
    {"bundle", 'b', NULL, "unite with another copy of this register: what export --bundle wrote"},
    {"keep", 0, "ours|theirs", "bundle: whose entry wins where both were changed"},
    {"decide", 0, "FILE", "bundle: the same one by one; lines such as animal A17 theirs"},
    {"dry-run", 'n', NULL, "check the whole file and change nothing"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_import = {
    .name = "import",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Take animals and devices from a file, all of it or nothing"),
    .arguments = "FILE",
    .details =
        "One row a device; the animal's columns repeat. Columns, in any order:\n"
        "animal,species,breed,sex,born,dam,sire,mob,status,form,place,colour,official,\n"
        "eid,visual,applied,removed. Only eid or visual must be there. - is standard input.\n"
        "An animal that is in the register already becomes what the file says.\n"
        "A mapping is written in sections: [columns] Tag number = visual, or = ignore;\n"
        "[sex] Ewe = female, and so for any column; [constants] species = sheep;\n"
        "[file] dates = dmy (or mdy, ymd: the order is never guessed), others = ignore.",
    .example = "lugmark import --dry-run register.csv\n"
               "lugmark import --mapping society.ini --dry-run flock-list.csv",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
