/* lugmark export --bundle and import --bundle: a register taken along, and brought back. */
#include "bundle.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "open_db.h"
#include "out_file.h"
#include "out_json.h"
#include "problem.h"
#include "record_diff.h"

/* A bundle is the whole register: nobody else may read it, and no file is lost to it by surprise.
 */
static int open_out(const struct lm_args *args, const char *path, struct lm_out *out)
{
    struct stat st;
    *out = (struct lm_out){.file = stdout};
    if (strcmp(path, "-") == 0)
        return LM_EXIT_OK;
    out->path = path;
    if (lstat(path, &st) == 0 && !S_ISREG(st.st_mode))
        return lm_fail(LM_EXIT_INPUT, "name a file", "%s is no ordinary file", path);
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0 && errno == EEXIST) {
        if (!lm_arg_given(args, "overwrite"))
            return lm_fail(LM_EXIT_INPUT, "choose another name, or add --overwrite",
                "%s is there already", path);
        int len = snprintf(out->temp, sizeof out->temp, "%s.XXXXXX", path);
        if (len < 0 || (size_t) len >= sizeof out->temp)
            return lm_usage(args, "the name after --bundle is too long");
        fd = mkostemp(out->temp, O_CLOEXEC);
    }
    out->file = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (out->file != NULL)
        return LM_EXIT_OK;
    int why = errno;
    if (fd >= 0) {
        close(fd);
        unlink(out->temp[0] != '\0' ? out->temp : path); /* made just now, and empty */
    }
    return lm_fail(LM_EXIT_FAILED, NULL, "%s cannot be written: %s", path, strerror(why));
}

int lm_export_bundle(const struct lm_args *args)
{
    static const char *const others[] = {"format", "session", "output", "json"};
    const char *path = lm_arg(args, "bundle");
    struct lm_store *store = NULL;
    struct lm_out out;
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (lm_arg_given(args, others[i]))
            return lm_usage(args, "--bundle FILE goes alone, not with --%s", others[i]);
    if (path[0] == '\0')
        return lm_usage(args, "--bundle wants the name of a file");
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = open_out(args, path, &out);
    if (exit == LM_EXIT_OK) {
        if (lm_bundle_write(store, out.file) != LM_OK && !ferror(out.file))
            exit = lm_db_fail(store);
        int closed = lm_out_close(&out, exit == LM_EXIT_OK); /* it says what the disk refused */
        exit = exit == LM_EXIT_OK ? closed : exit;
    }
    lm_store_close(store);
    return exit;
}

struct uniting {
    struct lm_decisions decisions;
    json_t *clashes; /* for --json */
};

static const char *kept(enum lm_keep keep)
{
    return keep == LM_KEEP_OURS ? "ours" : keep == LM_KEEP_THEIRS ? "theirs" : NULL;
}

static void show(const struct lm_clash *clash, enum lm_keep keep)
{
    const char *how = kept(keep);
    if (clash->kind == LM_CLASH_SESSION)
        fprintf(stderr, "lugmark: a session is open here and one there");
    else if (clash->kind == LM_CLASH_CODE)
        fprintf(stderr, "lugmark: code %s is worn by %s here and by %s there", clash->code,
            clash->other, clash->animal);
    else
        fprintf(stderr, "lugmark: animal %s was changed here and there", clash->animal);
    fprintf(stderr, "; %s%s\n", how != NULL ? "kept: " : "not decided", how != NULL ? how : "");
    if (clash->ours != NULL && clash->theirs != NULL) {
        fputs("  from the entry here to the one there:\n", stderr);
        lm_record_diff(stderr, clash->ours, clash->theirs);
    }
}

static enum lm_keep decide(const struct lm_clash *clash, void *ctx)
{
    struct uniting *u = ctx;
    static const char *const kinds[] = {"animal", "code", "session"};
    enum lm_keep keep = lm_decisions_keep(&u->decisions, clash);
    const char *how = kept(keep);
    show(clash, keep);
    json_array_append_new(u->clashes,
        json_pack("{s:s, s:o, s:o, s:o, s:o}", "kind", kinds[clash->kind], "animal",
            lm_json_or_null(clash->animal), "other", lm_json_or_null(clash->other), "code",
            lm_json_or_null(clash->code), "kept", lm_json_or_null(how != NULL ? how : "")));
    return keep;
}

static void say(
    const struct lm_args *args, struct uniting *u, const struct lm_united *got, bool done, bool dry)
{
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout,
            json_pack("{s:b, s:b, s:I, s:I, s:I, s:I, s:I, s:O}", "united", done && !dry, "dry_run",
                dry, "events", (json_int_t) got->events, "animals", (json_int_t) got->animals,
                "sessions", (json_int_t) got->sessions, "stock", (json_int_t) got->stock,
                "settings_differ", (json_int_t) got->settings, "clashes", u->clashes));
        return;
    }
    if (got->settings > 0)
        fprintf(stderr, "lugmark: note: %u settings differ; those here are kept\n", got->settings);
    for (size_t i = 0; i < u->decisions.n; i++)
        if (!u->decisions.each[i].used)
            fprintf(stderr, "lugmark: note: nothing was to decide of %s\n",
                u->decisions.each[i].name[0] ? u->decisions.each[i].name : "sessions");
    if (done && got->events == 0 && got->stock == 0)
        puts("nothing is new in the bundle");
    else if (done)
        printf("%u events, %u animals, %u sessions, %u devices of the stock%s\n", got->events,
            got->animals, got->sessions, got->stock,
            dry ? "; nothing was changed (--dry-run)" : "");
}

static int unite(const struct lm_args *args, struct lm_store *store, FILE *in, const char *name)
{
    struct uniting u = {.clashes = json_array()};
    struct lm_bundle_hooks hooks = {.keep = decide, .ctx = &u};
    struct lm_united got = {0};
    struct lm_problem p = {0};
    bool dry = lm_arg_given(args, "dry-run");
    int exit = lm_decisions_read(args, &u.decisions);
    if (exit == LM_EXIT_OK && lm_store_begin(store) != LM_OK)
        exit = lm_db_fail(store);
    if (exit == LM_EXIT_OK) {
        enum lm_err err = lm_bundle_unite(store, in, name, lm_now_ms(), &hooks, &got, &p);
        if (err == LM_OK && !dry && (err = lm_store_commit(store)) != LM_OK)
            p = *lm_store_problem(store);
        if (err == LM_OK || err == LM_EAMBIGUOUS)
            say(args, &u, &got, err == LM_OK, dry);
        if (err != LM_OK)
            exit = lm_problem_fail(&p);
        if (err == LM_EAMBIGUOUS)
            exit = LM_EXIT_FLAGGED;
        else if (err == LM_ENEWER || err == LM_EARG)
            exit = LM_EXIT_INPUT; /* of the bundle, not of our register */
    }
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    lm_decisions_end(&u.decisions);
    json_decref(u.clashes);
    return exit;
}

int lm_import_bundle(const struct lm_args *args)
{
    const char *name = args->rest[0];
    struct lm_store *store = NULL;
    FILE *in = strcmp(name, "-") == 0 ? stdin : fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", name, strerror(errno));
    int exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit == LM_EXIT_OK)
        exit = unite(args, store, in, in == stdin ? "standard input" : name);
    lm_store_close(store);
    if (in != stdin)
        fclose(in);
    return exit;
}
