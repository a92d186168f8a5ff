/* lugmark stock import: a supply list into the register. */
#include "stock.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "life.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

struct items {
    struct lm_stock_item *item;
    long *line;
    size_t n, size;
    struct lm_problems problems;
};

static enum lm_err more(struct items *s)
{
    size_t size = s->size > 0 ? s->size * 2 : 256;
    struct lm_stock_item *item = realloc(s->item, size * sizeof *item);
    if (item == NULL)
        return LM_ENOMEM;
    s->item = item;
    long *line = realloc(s->line, size * sizeof *line);
    if (line == NULL)
        return LM_ENOMEM;
    s->line = line;
    s->size = size;
    return LM_OK;
}

static enum lm_err keep(const struct lm_stock_item *item, long line, void *ctx)
{
    struct items *s = ctx;
    if (s->n == s->size && more(s) != LM_OK)
        return LM_ENOMEM;
    s->item[s->n] = *item;
    s->line[s->n++] = line;
    return LM_OK;
}

static void problem(const struct lm_problem *p, void *ctx)
{
    lm_problems_add(p, &((struct items *) ctx)->problems);
}

static void note(const struct lm_problem *p, void *ctx)
{
    char text[2 * LM_PROBLEM_TEXT_MAX + LM_PROBLEM_FILE_MAX];
    (void) ctx;
    lm_problem_format(p, text, sizeof text);
    fprintf(stderr, _("lugmark: note: %s\n"), text);
}

static int say(const struct lm_args *args, const struct items *s, bool dry)
{
    size_t strips = 0;
    for (size_t i = 0; i < s->n; i++)
        strips += i == 0 || strcmp(s->item[i].strip, s->item[i - 1].strip) != 0;
    if (lm_arg_given(args, "json"))
        lm_json_line(stdout, json_pack("{s:I, s:I, s:b}", "strips", (json_int_t) strips, "devices",
                                 (json_int_t) s->n, "dry_run", dry));
    else
        printf(
            lm_tongue_n("%zu strip, %zu devices", "%zu strips, %zu devices", strips), strips, s->n);
    if (!lm_arg_given(args, "json"))
        puts(dry ? _("; nothing was changed (--dry-run)") : "");
    return LM_EXIT_OK;
}

static int add(const struct lm_args *args, struct items *s, const char *name)
{
    struct lm_stock_add how = {
        .name = name, .allow_used = lm_arg_given(args, "allow-used"), .problem = problem, .ctx = s};
    struct lm_store *store = NULL;
    bool dry = lm_arg_given(args, "dry-run");
    int exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    enum lm_err err = lm_store_begin(store);
    err = err ? err : lm_store_stock_add(store, s->item, s->line, s->n, &how);
    if (err == LM_OK && !dry)
        err = lm_store_commit(store);
    if (s->problems.count == 0)
        exit = err == LM_OK ? say(args, s, dry) : lm_db_fail(store);
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    lm_store_close(store);
    return exit;
}

static int import(const struct lm_args *args, FILE *in, const char *name)
{
    struct items s = {0};
    struct lm_stock_hooks hooks = {
        .item = keep, .problem = problem, .note = note, .ctx = &s, .today = lm_life_today()};
    enum lm_err err = lm_stock_read(in, name, &hooks);
    int exit = LM_EXIT_OK;
    if (err == LM_OK)
        exit = add(args, &s, name);
    else if (s.problems.count == 0)
        exit = lm_fail(lm_exit_of(err), NULL, "%s could not be read: %s", name, lm_err_str(err));
    if (s.problems.count > 0) {
        exit = lm_problems_end(&s.problems);
        fprintf(stderr, _("lugmark: nothing was taken from %s\n"), name);
    }
    free(s.item);
    free(s.line);
    return exit;
}

int lm_stock_import(const struct lm_args *args, const char *name)
{
    if (strcmp(name, "-") == 0)
        return import(args, stdin, "standard input");
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", name, strerror(errno));
    int exit = import(args, in, name);
    fclose(in);
    return exit;
}
