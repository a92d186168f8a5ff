/** @file ini.c
 * Lines of a configuration file, read by inih.
 */
#include "ini.h"

#include <errno.h>
#include <ini.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "lugmark/text.h"

struct reading {
    const struct lm_ini *to;
    FILE *in;
    long line;
    bool told; /**< a mistake was told of */
};

__attribute__((format(printf, 3, 4))) static void bad(
    struct reading *r, const char *mend, const char *fmt, ...)
{
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;
    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    r->told = true;
    r->to->bad(r->to->ctx, r->line, mend, what);
}

/* Take one line off the file; returns its length or -1 at the end. Longer ones are dropped whole.
 */
static long take_line(struct reading *r, char *out)
{
    size_t n = 0;
    int ch = 0;
    bool any = false, nul = false;
    while ((ch = getc(r->in)) != EOF && ch != '\n') {
        any = true;
        nul = nul || ch == '\0';
        if (n < LM_INI_LINE_MAX) {
            out[n] = (char) ch;
        }
        n++;
    }
    if (ch == EOF && !any) {
        return -1;
    }
    r->line++;
    if (n > 0 && n <= LM_INI_LINE_MAX && out[n - 1] == '\r') {
        n--;
    }
    if (n > LM_INI_LINE_MAX) {
        bad(r, "shorten it: a symbolic link with a short name, or a second line fields2 for fields",
            "this line has %zu bytes; %u are the most", n, LM_INI_LINE_MAX);
        n = 0;
    } else if (nul) {
        bad(r, "save the file as UTF-8 text", "this line has a NUL byte");
        n = 0;
    }
    out[n] = '\0';
    return (long) n;
}

static void check_line(struct reading *r, char *line)
{
    size_t len = strlen(line);
    for (size_t i = 0; i < len; i++) {
        if (line[i] == '\t') {
            line[i] = ' '; /* the only control character that people type on purpose */
        }
    }
    if (!lm_text_clean(line, len)) {
        bad(r, "save the file as UTF-8 text", "this line has control characters or is not UTF-8");
        line[0] = '\0';
        return;
    }
    if (line[0] == '[') {
        char *end = strchr(line, ']');
        if (end == NULL) {
            bad(r, "write it as [reader front]", "a section without its closing ]");
            r->to->section(r->to->ctx, r->line, NULL);
            line[0] = '\0';
            return;
        }
        *end = '\0';
        r->to->section(r->to->ctx, r->line, line + 1);
        line[0] = '\0'; /* inih would cut the name at 49 bytes; the section is known here */
        return;
    }
    if (line[0] != '\0' && line[0] != ';' && line[0] != '#' && strpbrk(line, "=:") == NULL) {
        bad(r, "write key = value, or put a ; before a remark",
            "this line is neither a section nor key = value");
        line[0] = '\0';
    }
}

/*
 * Give inih its next line. Blanks in front go, because inih takes an indented line for more of the
 * value above; the line is counted here, because inih does not tell its number.
 */
static char *next_line(char *out, int room, void *stream)
{
    struct reading *r = stream;
    char line[LM_INI_LINE_MAX + 2];
    if (take_line(r, line) < 0) {
        return NULL;
    }
    char *from = line;
    if (r->line == 1 && strncmp(from, "\xEF\xBB\xBF", 3) == 0) {
        from += 3;
    }
    from += strspn(from, " \t");
    check_line(r, from);
    snprintf(out, (size_t) room, "%s\n", from);
    return out;
}

static int take_pair(void *ctx, const char *section, const char *key, const char *value)
{
    (void) section;
    const struct reading *r = ctx;
    r->to->key(r->to->ctx, r->line, key, value);
    return 1;
}

enum lm_err lm_ini_read(const char *path, const struct lm_ini *to)
{
    struct reading r = {.to = to, .in = fopen(path, "re")};
    if (r.in == NULL) {
        bad(&r, "check the path and who may read it", "cannot read the configuration: %s",
            strerror(errno));
        return LM_ENOTFOUND;
    }
    int bad_line = ini_parse_stream(next_line, &r, take_pair, &r);
    bool failed = ferror(r.in);
    if (failed)
        bad(&r, "check that it is a file", "cannot read on: %s", strerror(errno));
    else if (bad_line != 0 && !r.told)
        bad(&r, "write key = value", "a line cannot be read");
    fclose(r.in);
    return failed ? LM_EIO : LM_OK;
}

const char *lm_ini_default(char *out, size_t size)
{
    static const char system_file[] = "/etc/lugmark/lugmark.conf";
    if (access(system_file, F_OK) == 0) {
        snprintf(out, size, "%s", system_file);
        return out;
    }
    const char *base = getenv("XDG_CONFIG_HOME");
    const char *home = getenv("HOME");
    int n = -1;
    if (base != NULL && base[0] == '/') {
        n = snprintf(out, size, "%s/lugmark/lugmark.conf", base);
    } else if (home != NULL && home[0] == '/') {
        n = snprintf(out, size, "%s/.config/lugmark/lugmark.conf", home);
    }
    return n > 0 && (size_t) n < size && access(out, F_OK) == 0 ? out : NULL;
}
