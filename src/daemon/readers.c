/*
 * All readers together: made, put to work, paused and looked after. What one of them does is in
 * reader.c.
 */
#include "reader.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static void name_problem(
    const struct config *config, const struct config_reader *c, struct lm_problem *p)
{
    char what[221];
    snprintf(p->file, sizeof p->file, "%s", config->file);
    p->line = c->block.line;
    for (size_t i = 0; i < c->block.n; i++) {
        /* A driver names the key that it does not like; the line is known only here. */
        if (strstr(p->what, c->block.settings[i].key) != NULL) {
            p->line = c->block.settings[i].line;
        }
    }
    snprintf(what, sizeof what, "%.*s", (int) sizeof what - 1, p->what);
    snprintf(p->what, sizeof p->what, "[reader %s]: %s", c->block.name, what);
}

enum lm_err readers_new(
    struct readers *rs, const struct config *config, lm_problem_fn *fn, void *ctx)
{
    enum lm_err err = LM_OK;
    *rs = (struct readers){.all = calloc(CONFIG_READERS, sizeof *rs->all)};
    if (rs->all == NULL) {
        return LM_ENOMEM;
    }
    for (size_t i = 0; i < config->n_readers; i++) {
        const struct config_reader *c = &config->readers[i];
        struct lm_problem p = {.err = LM_OK};
        struct reader *r = &rs->all[rs->n];
        *r = (struct reader){.config = c, .fd = -1, .life = LIFE_ABSENT, .shown = LIFE_OPENING};
        r->state = c->ops->new_(c->list, c->n_list, &p);
        if (r->state == NULL) {
            name_problem(config, c, &p);
            fn(&p, ctx);
            err = LM_EINPUT;
        } else {
            rs->n++;
        }
    }
    return err;
}

enum lm_err readers_begin(struct readers *rs, struct daemon *d)
{
    for (size_t i = 0; i < rs->n; i++) {
        if (reader_begin(&rs->all[i], d) != LM_OK) {
            return LM_ENOMEM;
        }
    }
    for (size_t i = 0; i < rs->n; i++) {
        reader_change(&rs->all[i], LIFE_TRY);
    }
    return LM_OK;
}

void readers_end(struct readers *rs)
{
    for (size_t i = 0; i < rs->n; i++) {
        struct reader *r = &rs->all[i];
        reader_end(r);
        r->config->ops->free_(r->state);
    }
    free(rs->all);
    *rs = (struct readers){0};
}

/*
 * Whether the link that the configuration names leads to another device by now, while the old one
 * is still open: an emulator that was started anew, or a link put right by hand. The link is what
 * the user named, so it is followed.
 */
static bool has_moved(const struct reader *r)
{
    const struct lm_driver_ops *ops = r->config->ops;
    const char *link = lm_setting_get(r->config->list, r->config->n_list, "port");
    const char *device = ops->describe != NULL ? ops->describe(r->state) : "";
    struct stat named, open;
    return link != NULL && device[0] == '/' && stat(link, &named) == 0 &&
           stat(device, &open) == 0 && S_ISCHR(named.st_mode) && S_ISCHR(open.st_mode) &&
           named.st_rdev != open.st_rdev;
}

void readers_check(struct readers *rs)
{
    int64_t now = clock_steady_ms();
    for (size_t i = 0; i < rs->n; i++) {
        struct reader *r = &rs->all[i];
        if (!life_is_open(r->life)) {
            continue;
        }
        if (has_moved(r)) {
            reader_change(r, LIFE_MOVED);
        } else if (r->life == LIFE_LIVE && now - r->heard_ms >= r->config->silent_ms) {
            reader_change(r, LIFE_QUIET);
        }
    }
}

void readers_pause(struct readers *rs)
{
    if (rs->paused) {
        return;
    }
    rs->paused = true;
    log_at(LOG_LEVEL_ERROR, "journal", "%u readings wait for the disk: the ports are left alone",
        JOURNAL_PENDING_MAX);
    for (size_t i = 0; i < rs->n; i++) {
        if (rs->all[i].readable != NULL) {
            event_del(rs->all[i].readable);
        }
    }
}

void readers_renew(struct readers *rs)
{
    for (size_t i = 0; i < rs->n; i++) {
        reader_take_up(&rs->all[i]);
    }
}

void readers_resume(struct readers *rs)
{
    if (rs->paused) {
        rs->paused = false;
        readers_renew(rs);
    }
}
