/* lugmark export --format icar: the register for other programs, and what could not go along. */
#include "icar.h"

#include <string.h>

#include "lugmark/icar.h"
#include "open_db.h"
#include "out_file.h"
#include "problem.h"

#define NAME_SIZE 256

/* What is to be written, with the text that it borrows. */
struct request {
    struct lm_icar_write how;
    char scheme[NAME_SIZE], holding[NAME_SIZE];
};

/* Whether animals or events were left out is counted; members are only told of. */
struct told {
    unsigned long left_out;
};

static void note(const char *text, unsigned long n, bool left_out, void *ctx)
{
    struct told *told = ctx;
    told->left_out += left_out ? n : 0;
    fprintf(
        stderr, "lugmark: %s: %lu %s\n", left_out ? "left out whole" : "not in the file", n, text);
}

/* A source is part of the schemes made from it: no blanks, nothing that ends a line. */
static bool source_good(const char *source)
{
    size_t n = strlen(source);
    return n > 0 && n < 200 && lm_text_clean(source, n) && strpbrk(source, " \t\"") == NULL;
}

/* SCHEME:ID, split at the last colon: a scheme may be a URI. */
static int split_location(
    const struct lm_args *args, const char *given, char scheme[NAME_SIZE], const char **id)
{
    const char *colon = strrchr(given, ':');
    if (colon == NULL || colon == given || colon[1] == '\0' || strlen(given) >= NAME_SIZE ||
        !lm_text_clean(given, strlen(given)))
        return lm_usage(
            args, "--location is SCHEME:ID, such as org.example.holding:0042, not \"%s\"", given);
    snprintf(scheme, NAME_SIZE, "%.*s", (int) (colon - given), given);
    *id = colon + 1;
    return LM_EXIT_OK;
}

static int find_location(
    const struct lm_args *args, struct lm_store *store, struct request *request)
{
    const char *given = lm_arg(args, "location");
    if (given != NULL) {
        request->how.scheme = request->scheme;
        return split_location(args, given, request->scheme, &request->how.location);
    }
    if (lm_store_setting(store, "holding", request->holding, NAME_SIZE) != LM_OK)
        return lm_db_fail(store);
    request->how.location = request->holding;
    if (request->holding[0] == '\0')
        return lm_fail(LM_EXIT_INPUT,
            "say it with --location SCHEME:ID, such as org.example.holding:0042",
            "which holding this is, is not in the register, and each ICAR record must say it");
    return LM_EXIT_OK;
}

static int write_to(struct lm_store *store, const struct lm_icar_write *how, struct lm_out *out)
{
    enum lm_err err = lm_icar_write(store, how, out->file);
    int exit = LM_EXIT_OK;
    if (err == LM_ENOTFOUND)
        exit = lm_fail(LM_EXIT_INPUT, "lugmark report lists them", "there is no such session");
    else if (err == LM_ENOMEM)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else if (err != LM_OK && !(err == LM_EIO && ferror(out->file)))
        exit = lm_db_fail(store);
    int closed = lm_out_close(out, exit == LM_EXIT_OK);
    return exit == LM_EXIT_OK ? closed : exit;
}

static int export_from(const struct lm_args *args, struct lm_store *store, struct request *request)
{
    const struct told *told = request->how.ctx;
    struct lm_out out;
    int exit = find_location(args, store, request);
    if (exit == LM_EXIT_OK)
        exit = lm_out_open(args, &out);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = write_to(store, &request->how, &out);
    return exit == LM_EXIT_OK && told->left_out > 0 ? LM_EXIT_FLAGGED : exit;
}

int lm_export_icar(const struct lm_args *args)
{
    struct told told = {0};
    struct request request = {.how = {.now_ms = lm_now_ms(), .note = note, .ctx = &told}};
    struct lm_icar_write *how = &request.how;
    const char *what = lm_arg(args, "what");
    struct lm_store *store = NULL;
    long number = 0;
    how->source = lm_arg(args, "source");
    if (what == NULL)
        return lm_usage(args, "--format icar wants --what animals, arrivals, departures, births, "
                              "deaths or session");
    if (lm_icar_what_parse(what, &how->what) != LM_OK)
        return lm_usage(args,
            "--what is animals, arrivals, departures, births, deaths or session, "
            "not \"%s\"",
            what);
    if (how->source != NULL && !source_good(how->source))
        return lm_usage(args, "--source is a name such as org.example.farm, without blanks");
    if (lm_arg_given(args, "spreadsheet"))
        return lm_usage(args, "--spreadsheet is a form of the CSV");
    if (lm_arg_given(args, "session") && how->what != LM_ICAR_SESSION)
        return lm_usage(args, "--session goes with --what session");
    if (!lm_arg_number(args, "session", 1, 1000000000L, &number))
        return LM_EXIT_USAGE;
    how->session = number;
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = export_from(args, store, &request);
    lm_store_close(store);
    return exit;
}
