/* lugmark import --format icar: another program's animals and movements, all of it or nothing. */
#include "icar.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "kin.h"
#include "life.h"
#include "lugmark/icar.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

struct told {
    struct lm_problems problems;
    unsigned long left_out;
    const char *name;
    struct lm_family *family;
    json_t *places; /* key of an entry that was written: its place in the file */
    bool no_memory; /* one is missing there */
};

static void problem(const struct lm_problem *p, void *ctx)
{
    struct told *told = ctx;
    lm_problems_add(p, &told->problems);
}

static void note(const char *text, unsigned long n, bool left_out, void *ctx)
{
    struct told *told = ctx;
    told->left_out += left_out ? n : 0;
    fprintf(stderr, "lugmark: %s: %lu %s\n", left_out ? "left out" : "note", n, text);
}

static void entry(const char *key, const char *place, void *ctx)
{
    struct told *told = ctx;
    if (json_object_set_new(told->places, key, json_string(place)) != 0)
        told->no_memory = true;
}

static enum lm_err add_kin(const struct lm_record *rec, long line, void *ctx)
{
    struct told *told = ctx;
    (void) line;
    return lm_family_add(told->family, rec, json_object_get(told->places, rec->key) != NULL);
}

static void tell_kin(const struct lm_family_problem *problem, void *ctx)
{
    struct told *told = ctx;
    struct lm_problem words = {0}, p = {0};
    char line[LM_PROBLEM_FILE_MAX + 2 * LM_PROBLEM_TEXT_MAX + 80];
    const char *place = json_string_value(json_object_get(told->places, problem->animal));
    if (place == NULL)
        place = json_string_value(json_object_get(told->places, problem->parent));
    bool refused = lm_kin_words(problem, &words);
    snprintf(p.file, sizeof p.file, "%s", told->name);
    lm_problem_set(
        &p, LM_EINPUT, words.mend, "%.200s: %.600s", place != NULL ? place : "/", words.what);
    if (refused) {
        lm_problems_add(&p, &told->problems);
        return;
    }
    lm_problem_format(&p, line, sizeof line);
    fprintf(stderr, _("lugmark: note: %s\n"), line);
}

/* What was taken against itself and against what the register says of the others. */
static enum lm_err check_kin(struct lm_store *store, struct told *told)
{
    if (told->no_memory)
        return LM_ENOMEM;
    if (told->problems.count > 0 || json_object_size(told->places) == 0)
        return LM_OK;
    enum lm_err err = lm_store_each(store, add_kin, told);
    return err ? err : lm_family_check(told->family, tell_kin, told);
}

/* The whole file. NULL after saying what is wrong, with the exit status. */
static char *read_all(FILE *in, const char *name, size_t *len, int *exit)
{
    size_t size = 65536;
    char *text = malloc(size);
    *len = 0;
    *exit = LM_EXIT_FAILED;
    while (text != NULL) {
        *len += fread(text + *len, 1, size - *len, in);
        if (*len < size)
            break;
        if (size >= LM_ICAR_FILE_MAX) {
            *exit = lm_fail(LM_EXIT_INPUT, "ask for it in pages", "%s is longer than %u bytes",
                name, LM_ICAR_FILE_MAX);
            free(text);
            return NULL;
        }
        size *= 2;
        char *more = realloc(text, size);
        if (more == NULL)
            free(text);
        text = more;
    }
    if (text == NULL) {
        lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    } else if (ferror(in)) {
        *exit = lm_fail(LM_EXIT_INPUT, "check that it is a file", "%s cannot be read: %s", name,
            strerror(errno));
        free(text);
        return NULL;
    }
    return text;
}

static int say(const struct lm_args *args, const struct lm_icar_taken *t, bool dry)
{
    if (lm_arg_given(args, "json")) {
        lm_json_line(
            stdout, json_pack("{s:I, s:I, s:I, s:I, s:b}", "animals", (json_int_t) t->animals,
                        "devices", (json_int_t) t->devices, "unchanged", (json_int_t) t->unchanged,
                        "sessions", (json_int_t) t->sessions, "dry_run", dry));
        return LM_EXIT_OK;
    }
    printf("%lu animals new or changed, %lu devices new, %lu animals as they were", t->animals,
        t->devices, t->unchanged);
    if (t->sessions > 0)
        printf(", %lu sessions", t->sessions);
    puts(dry ? "; nothing was changed (--dry-run)" : "");
    return LM_EXIT_OK;
}

static int take(const struct lm_args *args, struct lm_store *store, const char *text, size_t len,
    struct told *told)
{
    struct lm_icar_taken taken;
    struct lm_icar_read how = {.name = told->name,
        .problem = problem,
        .note = note,
        .entry = entry,
        .ctx = told,
        .now_ms = lm_now_ms(),
        .today = lm_life_today()};
    bool dry = lm_arg_given(args, "dry-run");
    if (lm_store_begin(store) != LM_OK)
        return lm_db_fail(store);
    lm_store_one_change(store);
    enum lm_err err = lm_icar_read(store, text, len, &how, &taken);
    err = err ? err : check_kin(store, told);
    if (told->problems.count > 0) {
        int exit = lm_problems_end(&told->problems);
        char clean[512];
        fprintf(stderr, _("lugmark: nothing was imported from %s\n"),
            lm_clean(clean, sizeof clean, told->name));
        return exit;
    }
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (err != LM_OK || (!dry && lm_store_commit(store) != LM_OK))
        return lm_db_fail(store);
    int exit = say(args, &taken, dry);
    return exit == LM_EXIT_OK && told->left_out > 0 ? LM_EXIT_FLAGGED : exit;
}

int lm_import_icar(const struct lm_args *args, FILE *in, const char *name)
{
    struct lm_store *store = NULL;
    struct told told = {.name = name};
    size_t len;
    int exit;
    char *text = read_all(in, name, &len, &exit);
    if (text == NULL)
        return exit;
    told.family = lm_family_new();
    told.places = json_object();
    if (told.family == NULL || told.places == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else
        exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit == LM_EXIT_OK) {
        exit = take(args, store, text, len, &told);
        lm_store_rollback(store); /* after a commit there is nothing left to take back */
        lm_store_close(store);
    }
    lm_family_free(told.family);
    json_decref(told.places);
    free(text);
    return exit;
}
