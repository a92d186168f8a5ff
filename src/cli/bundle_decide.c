/* Decisions on what contradicts between two copies of a register, made before it is asked. */
#include "bundle.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/text.h"
#include "problem.h"

static enum lm_keep keep_named(const char *word)
{
    if (strcmp(word, "ours") == 0)
        return LM_KEEP_OURS;
    return strcmp(word, "theirs") == 0 ? LM_KEEP_THEIRS : LM_KEEP_NONE;
}

/* Cut the first word, or the last one, off a line; blanks between are dropped. */
static char *first_word(char **line)
{
    char *word = *line;
    size_t n = strcspn(word, " \t");
    *line = word + n + strspn(word + n, " \t");
    word[n] = '\0';
    return word;
}

static char *last_word(char *line)
{
    size_t end = strlen(line);
    while (end > 0 && line[end - 1] != ' ' && line[end - 1] != '\t')
        end--;
    char *word = line + end;
    while (end > 0 && (line[end - 1] == ' ' || line[end - 1] == '\t'))
        line[--end] = '\0';
    return word;
}

/* @return false when the line is no decision. */
static bool take(char *line, struct lm_decision *d)
{
    char *rest = line;
    const char *last = last_word(line);
    *d = (struct lm_decision){.keep = keep_named(last)};
    if (d->keep == LM_KEEP_NONE || last == line)
        return false;
    const char *kind = first_word(&rest);
    if (strcmp(kind, "session") == 0) {
        d->kind = LM_CLASH_SESSION;
        return rest[0] == '\0';
    }
    d->kind = strcmp(kind, "code") == 0 ? LM_CLASH_CODE : LM_CLASH_ANIMAL;
    if (d->kind == LM_CLASH_ANIMAL && strcmp(kind, "animal") != 0)
        return false;
    size_t len = strlen(rest);
    if (len == 0 || len >= sizeof d->name || !lm_text_clean(rest, len))
        return false;
    snprintf(d->name, sizeof d->name, "%s", rest);
    return true;
}

static int bad_line(const char *name, long line)
{
    struct lm_problem p = {.line = line};
    snprintf(p.file, sizeof p.file, "%s", name);
    lm_problem_set(&p, LM_EINPUT,
        "write animal KEY ours, code 999000000000001 theirs, or session ours", "not a decision");
    return lm_problem_fail(&p);
}

static int read_file(FILE *in, const char *name, struct lm_decisions *out)
{
    char *text = NULL;
    size_t size = 0;
    int exit = LM_EXIT_OK;
    for (long line = 1; exit == LM_EXIT_OK && getline(&text, &size, in) > 0; line++) {
        char *start = text + strspn(text, " \t");
        size_t end = strlen(start);
        while (end > 0 && strchr(" \t\r\n", start[end - 1]) != NULL)
            start[--end] = '\0';
        if (end == 0 || start[0] == '#')
            continue;
        struct lm_decision *each = realloc(out->each, (out->n + 1) * sizeof *each);
        if (each == NULL) {
            exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
            break;
        }
        out->each = each;
        if (take(start, &each[out->n]))
            out->n++;
        else
            exit = bad_line(name, line);
    }
    if (exit == LM_EXIT_OK && ferror(in))
        exit = lm_fail(LM_EXIT_INPUT, NULL, "%s could not be read", name);
    free(text);
    return exit;
}

int lm_decisions_read(const struct lm_args *args, struct lm_decisions *out)
{
    const char *keep = lm_arg(args, "keep"), *name = lm_arg(args, "decide");
    *out = (struct lm_decisions){0};
    if (keep != NULL && (out->all = keep_named(keep)) == LM_KEEP_NONE)
        return lm_usage(args, "--keep is ours or theirs, not \"%s\"", keep);
    if (name == NULL)
        return LM_EXIT_OK;
    FILE *in = fopen(name, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", name, strerror(errno));
    int exit = read_file(in, name, out);
    fclose(in);
    return exit;
}

void lm_decisions_end(struct lm_decisions *decisions)
{
    free(decisions->each);
}

enum lm_keep lm_decisions_keep(struct lm_decisions *decisions, const struct lm_clash *clash)
{
    const char *name = clash->kind == LM_CLASH_CODE ? clash->code : clash->animal;
    for (size_t i = 0; i < decisions->n; i++) {
        struct lm_decision *d = &decisions->each[i];
        if (d->kind == clash->kind && strcmp(d->name, name) == 0) {
            d->used = true;
            return d->keep;
        }
    }
    return decisions->all;
}
