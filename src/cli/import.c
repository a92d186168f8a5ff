/* lugmark import: take a register from CSV, all of it or nothing. */
#include "command.h"

#include <errno.h>
#include <string.h>

#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "progress.h"

struct import {
    struct lm_store *store;
    const char *name;
    struct lm_problems problems;
    struct lm_progress progress;
    int64_t now_ms;
    unsigned long animals, devices;
    uint32_t total; /* animals in the file, once it was read */
    bool broken;    /* the register itself failed: no use going on */
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
    enum lm_err err = lm_store_put(im->store, rec, im->now_ms, "import", NULL);
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
    printf("%lu animals, %lu devices%s\n", im->animals, im->devices,
        dry ? "; nothing was changed (--dry-run)" : "");
    return LM_EXIT_OK;
}

static int finish(const struct lm_args *args, struct import *im, enum lm_err err)
{
    bool dry = lm_arg_given(args, "dry-run");
    lm_progress_end(&im->progress);
    if (im->problems.count > 0) {
        int exit = lm_problems_end(&im->problems);
        fprintf(stderr, "lugmark: nothing was imported from %s\n", im->name);
        return exit;
    }
    if (im->broken)
        return LM_EXIT_FAILED;
    if (err != LM_OK)
        return lm_fail(
            lm_exit_of(err), NULL, "%s could not be read: %s", im->name, lm_err_str(err));
    if (!dry && lm_store_commit(im->store) != LM_OK)
        return lm_db_fail(im->store);
    return say(args, im, dry);
}

static int import(const struct lm_args *args, FILE *in, const char *name)
{
    struct import im = {.name = name, .now_ms = lm_now_ms()};
    struct lm_regcsv_hooks hooks = {
        .begin = begin, .record = put, .problem = problem, .progress = progress, .ctx = &im};
    int exit = lm_db_open(args, LM_STORE_WRITE, &im.store);
    if (exit != LM_EXIT_OK)
        return exit;
    lm_progress_begin(&im.progress);
    if (lm_store_begin(im.store) != LM_OK) {
        exit = lm_db_fail(im.store);
    } else {
        exit = finish(args, &im, lm_regcsv_read(in, name, &hooks));
        lm_store_rollback(im.store); /* after a commit there is nothing left to take back */
    }
    lm_store_close(im.store);
    return exit;
}

static int run(const struct lm_args *args)
{
    const char *name = args->rest[0];
    if (strcmp(name, "-") == 0)
        return import(args, stdin, "standard input");
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", name, strerror(errno));
    int exit = import(args, in, name);
    fclose(in);
    return exit;
}

static const struct lm_option options[] = {
    {"dry-run", 'n', NULL, "check the whole file and change nothing"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_import = {
    .name = "import",
    .group = LM_GROUP_REGISTER,
    .summary = "Take animals and devices from a CSV file, all of it or nothing",
    .arguments = "FILE.csv",
    .details =
        "One row a device; the animal's columns repeat. Columns, in any order:\n"
        "animal,species,breed,sex,born,dam,sire,mob,status,form,place,colour,official,\n"
        "eid,visual,applied,removed. Only eid or visual must be there. - is standard input.\n"
        "An animal that is in the register already becomes what the file says.",
    .example = "lugmark import --dry-run register.csv",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
