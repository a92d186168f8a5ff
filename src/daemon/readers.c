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

/* A driver or decoder begins with the key that it does not like; the line is known only here. */
static bool begins_with(const char *what, const char *key)
{
    size_t len = strlen(key);
    return strncmp(what, key, len) == 0 && what[len] == ':';
}

/* The section that a problem is about: a frame has one of its own. */
static const struct config_block *section_of(const struct config_reader *c, const char *what)
{
    const struct lm_decoder_ops *ops = c->frame != NULL ? lm_decoder_find("frame") : NULL;
    for (size_t i = 0; ops != NULL && ops->keys[i] != NULL; i++) {
        if (begins_with(what, ops->keys[i])) {
            return c->frame;
        }
    }
    return &c->block;
}

static void name_problem(
    const struct config *config, const struct config_reader *c, struct lm_problem *p)
{
    char what[221];
    const struct config_block *block = section_of(c, p->what);
    bool found = false;
    snprintf(p->file, sizeof p->file, "%s", config->file);
    p->line = block->line;
    for (size_t i = 0; i < block->n && !found; i++) {
        found = begins_with(p->what, block->settings[i].key);
        if (found || strstr(p->what, block->settings[i].key) != NULL) {
            p->line = block->settings[i].line;
        }
    }
    snprintf(what, sizeof what, "%.*s", (int) sizeof what - 1, p->what);
    snprintf(p->what, sizeof p->what, "[%s %s]: %s", block == c->frame ? "frame" : "reader",
        block->name, what);
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
        *r = (struct reader){.config = c,
            .fd = -1,
            .life = LIFE_ABSENT,
            .shown = LIFE_STATES, /* nothing was told yet */
            .told = LIFE_STATES,
            .last_ms = LM_TIME_NONE};
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
    /* All are closed before the first is freed: programs that will not end are waited for at once.
     */
    for (size_t i = 0; i < rs->n; i++) {
        reader_end(&rs->all[i]);
    }
    for (size_t i = 0; i < rs->n; i++) {
        rs->all[i].config->ops->free_(rs->all[i].state);
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
        reader_check_stood(r);
        if (has_moved(r)) {
            reader_moved(r);
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
