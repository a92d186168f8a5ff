#include "config_parse.h"

#include <errno.h>
#include <ini.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct config *config_new(void)
{
    struct config *cfg = calloc(1, sizeof *cfg);
    if (cfg != NULL) {
        lm_session_defaults(&cfg->options);
    }
    return cfg;
}

void config_bad(struct config_parse *c, long line, const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {.line = line};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;
    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    char clean[LM_PROBLEM_TEXT_MAX];
    lm_text_copy(clean, sizeof clean, what, strlen(what));
    lm_problem_set(&p, LM_EINPUT, mend, "%s", clean);
    snprintf(p.file, sizeof p.file, "%s", c->cfg->file);
    c->problems++;
    c->fn(&p, c->ctx);
}

/* Take one line off the file; returns its length or -1 at the end. Longer ones are dropped whole.
 */
static long take_line(struct config_parse *c, char *out)
{
    size_t n = 0;
    int ch = 0;
    bool any = false, nul = false;
    while ((ch = getc(c->in)) != EOF && ch != '\n') {
        any = true;
        nul = nul || ch == '\0';
        if (n < CONFIG_LINE_MAX) {
            out[n] = (char) ch;
        }
        n++;
    }
    if (ch == EOF && !any) {
        return -1;
    }
    c->line++;
    if (n > 0 && n <= CONFIG_LINE_MAX && out[n - 1] == '\r') {
        n--;
    }
    if (n > CONFIG_LINE_MAX) {
        config_bad(c, c->line, "shorten it, for example by a symbolic link with a short name",
            "this line has %zu bytes; %u are the most", n, CONFIG_LINE_MAX);
        n = 0;
    } else if (nul) {
        config_bad(c, c->line, "save the file as UTF-8 text", "this line has a NUL byte");
        n = 0;
    }
    out[n] = '\0';
    return (long) n;
}

static void check_line(struct config_parse *c, char *line)
{
    size_t len = strlen(line);
    for (size_t i = 0; i < len; i++) {
        if (line[i] == '\t') {
            line[i] = ' '; /* the only control character that people type on purpose */
        }
    }
    if (!lm_text_clean(line, len)) {
        config_bad(c, c->line, "save the file as UTF-8 text",
            "this line has control characters or is not UTF-8");
        line[0] = '\0';
        return;
    }
    if (line[0] == '[') {
        char *end = strchr(line, ']');
        if (end == NULL) {
            config_bad(c, c->line, "write it as [reader front]", "a section without its closing ]");
            c->section = CONFIG_BAD_SECTION;
            line[0] = '\0';
            return;
        }
        *end = '\0';
        config_section_begin(c, line + 1);
        line[0] = '\0'; /* inih would cut the name at 49 bytes; the section is known here */
        return;
    }
    if (line[0] != '\0' && line[0] != ';' && line[0] != '#' && strpbrk(line, "=:") == NULL) {
        config_bad(c, c->line, "write key = value, or put a ; before a remark",
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
    struct config_parse *c = stream;
    char line[CONFIG_LINE_MAX + 2];
    if (take_line(c, line) < 0) {
        return NULL;
    }
    char *from = line;
    if (c->line == 1 && strncmp(from, "\xEF\xBB\xBF", 3) == 0) {
        from += 3;
    }
    from += strspn(from, " \t");
    check_line(c, from);
    snprintf(out, (size_t) room, "%s\n", from);
    return out;
}

static int take_pair(void *ctx, const char *section, const char *key, const char *value)
{
    (void) section;
    config_key(ctx, key, value);
    return 1;
}

enum lm_err config_read(struct config *cfg, const char *path, lm_problem_fn *fn, void *ctx)
{
    struct config_parse c = {.cfg = cfg, .fn = fn, .ctx = ctx};
    snprintf(cfg->file, sizeof cfg->file, "%s", path);
    c.in = fopen(path, "re");
    if (c.in == NULL) {
        config_bad(&c, 0, "check the path and who may read it", "cannot read the configuration: %s",
            strerror(errno));
        return LM_ENOTFOUND;
    }
    int bad_line = ini_parse_stream(next_line, &c, take_pair, &c);
    if (ferror(c.in)) {
        config_bad(&c, c.line, "check that it is a file", "cannot read on: %s", strerror(errno));
    } else if (bad_line != 0 && c.problems == 0) {
        config_bad(&c, bad_line, "write key = value", "this line cannot be read");
    }
    fclose(c.in);
    config_finish_readers(&c);
    return c.problems == 0 ? LM_OK : LM_EINPUT;
}

const char *config_default(char *out, size_t size)
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

static size_t add_name(const char *out[], size_t n, const char *name)
{
    for (size_t i = 0; i < n; i++) {
        if (strcmp(out[i], name) == 0) {
            return n;
        }
    }
    out[n] = name;
    return n + 1;
}

size_t config_lane_names(const struct config *cfg, const char *out[CONFIG_LANES + CONFIG_READERS])
{
    size_t n = 0;
    for (size_t i = 0; i < cfg->n_lanes; i++) {
        n = add_name(out, n, cfg->lanes[i].name);
    }
    for (size_t i = 0; i < cfg->n_readers; i++) {
        n = add_name(out, n, cfg->readers[i].lane);
    }
    if (n == 0) {
        out[n++] = "1";
    }
    return n;
}
