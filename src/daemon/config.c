#include "config_parse.h"

#include "drivers/ini.h"
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

struct config *config_new(void)
{
    struct config *cfg = calloc(1, sizeof *cfg);
    if (cfg != NULL) {
        lm_session_defaults(&cfg->options);
        cfg->control_group = PEER_WORK;
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

static void on_section(void *ctx, long line, const char *text)
{
    struct config_parse *c = ctx;
    c->line = line;
    if (text != NULL)
        config_section_begin(c, text);
    else
        c->section = CONFIG_BAD_SECTION;
}

static void on_key(void *ctx, long line, const char *key, const char *value)
{
    struct config_parse *c = ctx;
    c->line = line;
    config_key(c, key, value);
}

static void on_bad(void *ctx, long line, const char *mend, const char *what)
{
    config_bad(ctx, line, mend, "%s", what);
}

enum lm_err config_read(struct config *cfg, const char *path, lm_problem_fn *fn, void *ctx)
{
    struct config_parse c = {.cfg = cfg, .fn = fn, .ctx = ctx};
    const struct lm_ini to = {on_section, on_key, on_bad, &c};
    snprintf(cfg->file, sizeof cfg->file, "%s", path);
    if (lm_ini_read(path, &to) == LM_ENOTFOUND)
        return LM_ENOTFOUND;
    config_finish_readers(&c);
    return c.problems == 0 ? LM_OK : LM_EINPUT;
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
