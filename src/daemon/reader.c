#include "reader.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include "verdict_json.h"
#include <stdlib.h>
#include <string.h>

static void on_reading(void *ctx, const struct lm_event *ev)
{
    struct reader *r = ctx;
    struct daemon *d = r->d;
    struct lm_event e = *ev;
    char fold[LM_VISUAL_MAX + 1];
    bool sighting = e.kind == LM_EVENT_SIGHTING && lm_visual_fold(e.text, fold) > 0;
    if (e.kind != LM_EVENT_READING && e.kind != LM_EVENT_HEADS && !sighting) {
        r->rejects[LM_REJECT_SYNTAX]++;
        return;
    }
    r->readings += e.kind == LM_EVENT_READING ? 1u : 0u;
    e.seq = 0;
    e.open = NULL;
    e.record = NULL;
    e.t_ms = clock_wall_ms();
    e.clock_ms = fold_clock(&d->fold);
    snprintf(e.lane, sizeof e.lane, "%s", r->config->lane);
    snprintf(e.reader, sizeof e.reader, "%s", r->config->block.name);
    if (d->fold.session != NULL) {
        journal_add(&d->journal, &e);
    } else if (e.kind == LM_EVENT_READING && publish_wanted(&d->publisher)) {
        publish_send(&d->publisher, idle_json(d->fold.roll, &e), 0);
    }
}

static void on_reject(void *ctx, enum lm_reject reject, size_t bytes)
{
    struct reader *r = ctx;
    (void) bytes;
    if (reject < LM_REJECTS) {
        r->rejects[reject]++;
    }
}

static void change(struct reader *r, enum life_what what);

static struct lm_sink sink_of(struct reader *r)
{
    return (struct lm_sink){.reading = on_reading, .reject = on_reject, .ctx = r};
}

static void set_timer(struct reader *r, int ms)
{
    if (ms < 0) {
        evtimer_del(r->timer);
        return;
    }
    const struct timeval t = {ms / 1000, (ms % 1000) * 1000};
    evtimer_add(r->timer, &t);
}

/*
 * Whether readings may be taken from it now. A replay waits for a session: its file does not come
 * by a second time, while an animal that walks through before the session began did just that.
 */
static bool may_work(const struct reader *r)
{
    bool waits = r->config->ops->finished != NULL && r->d->fold.session == NULL;
    return !r->d->readers.paused && !waits;
}

static void set_tick(struct reader *r)
{
    const struct lm_driver_ops *ops = r->config->ops;
    set_timer(r, ops->tick_ms != NULL && may_work(r) ? ops->tick_ms(r->state) : -1);
}

/* Leave its port alone until readers_renew(). Returns false when there is nothing against work. */
static bool leave_alone(struct reader *r)
{
    if (!journal_has_room(&r->d->journal)) {
        readers_pause(&r->d->readers);
    }
    if (may_work(r)) {
        return false;
    }
    if (r->readable != NULL) {
        event_del(r->readable);
    }
    return true;
}

static void close_port(struct reader *r)
{
    if (r->readable != NULL) {
        event_free(r->readable); /* before the close: the number may be another file's at once */
        r->readable = NULL;
    }
    r->fd = -1;
    evtimer_del(r->timer);
    r->config->ops->close(r->state);
}

/* After the driver looked at its port: @p err is what it said. */
static void after_work(struct reader *r, enum lm_err err, bool bytes)
{
    const struct lm_driver_ops *ops = r->config->ops;
    if (bytes && err == LM_OK) {
        r->heard_ms = clock_steady_ms();
        r->has_byte = true;
        if (r->life != LIFE_LIVE) {
            change(r, LIFE_BYTES);
        }
    }
    if (ops->finished != NULL && ops->finished(r->state)) {
        r->ended = true;
        change(r, LIFE_ENDED);
    } else if (err != LM_OK && err != LM_EAGAIN) {
        change(r, LIFE_GONE);
    } else {
        set_tick(r);
    }
    journal_nudge(&r->d->journal);
}

static void on_readable(evutil_socket_t fd, short what, void *ctx)
{
    struct reader *r = ctx;
    (void) fd;
    (void) what;
    if (leave_alone(r)) {
        return;
    }
    struct lm_sink sink = sink_of(r);
    after_work(r, r->config->ops->service(r->state, &sink), true);
}

static void on_timer(evutil_socket_t fd, short what, void *ctx)
{
    struct reader *r = ctx;
    (void) fd;
    (void) what;
    if (!life_is_open(r->life)) {
        change(r, LIFE_TRY);
        return;
    }
    if (leave_alone(r)) {
        return;
    }
    uint64_t before = r->readings;
    struct lm_sink sink = sink_of(r);
    enum lm_err err = r->config->ops->tick(r->state, &sink);
    after_work(r, err, r->readings != before);
}

/* Watch the descriptor; a driver that lives on its ticks alone has none. */
static enum lm_err watch_port(struct reader *r)
{
    if (r->fd < 0) {
        return LM_OK;
    }
    r->readable = event_new(r->d->base, r->fd, EV_READ | EV_PERSIST, on_readable, r);
    if (r->readable == NULL) {
        return LM_ENOMEM;
    }
    event_priority_set(r->readable, PRIORITY_WORK);
    if (!may_work(r) || event_add(r->readable, NULL) == 0) {
        return LM_OK;
    }
    return lm_problem_set(
        &r->problem, LM_EIO, "name a port, a pipe or a socket", "it cannot be waited for");
}

static enum life_what try_open(struct reader *r)
{
    r->problem = (struct lm_problem){.err = LM_OK};
    r->fd = -1;
    enum lm_err err = r->config->ops->open(r->state, &r->fd, &r->problem);
    if (err == LM_OK) {
        err = watch_port(r);
        if (err == LM_OK) {
            r->heard_ms = clock_steady_ms();
            r->has_byte = false;
            return LIFE_OPENED;
        }
        close_port(r);
    }
    if (r->problem.what[0] == '\0') {
        lm_problem_set(&r->problem, err, NULL, "%s", lm_err_str(err));
    }
    r->problem.err = err;
    return err == LM_ENOTFOUND ? LIFE_NOT_THERE : LIFE_REFUSED;
}

/* Tell people of a new state, once. */
static void show(struct reader *r)
{
    if (r->life == r->shown) {
        return;
    }
    r->shown = r->life;
    r->since_ms = clock_wall_ms();
    char where[LM_NAME_MAX + 16];
    snprintf(where, sizeof where, "reader %s", r->config->block.name);
    if (r->problem.err != LM_OK) {
        log_at(LOG_LEVEL_WARNING, where, "%s: %s%s%s", life_name(r->life), r->problem.what,
            r->problem.mend[0] != '\0' ? "; to mend: " : "", r->problem.mend);
    } else {
        log_at(LOG_LEVEL_NOTICE, where, "%s%s", life_name(r->life),
            r->ended ? ": the replay is over" : "");
    }
    if (publish_wanted(&r->d->publisher)) {
        publish_send(&r->d->publisher, reader_json(r, true), 0);
    }
}

static void wait_for_next_try(struct reader *r)
{
    if (r->ended) {
        evtimer_del(r->timer);
        return;
    }
    r->delay_ms = life_delay_ms(r->delay_ms);
    set_timer(r, r->delay_ms);
}

/* The only place where the life of a reader changes, with what each change brings with it. */
static void change(struct reader *r, enum life_what what)
{
    bool was_open = life_is_open(r->life);
    r->life = life_next(r->life, what);
    if (r->life == LIFE_OPENING) {
        r->life = life_next(r->life, try_open(r));
    }
    bool open = life_is_open(r->life);
    if (was_open && !open) {
        if (what == LIFE_GONE) {
            lm_problem_set(&r->problem, LM_EGONE, NULL, "it hung up");
            /* A port that gave something is worth a quick new try; a program that dies is not. */
            r->delay_ms = r->has_byte ? 0 : r->delay_ms;
        }
        close_port(r);
    }
    if (!open) {
        wait_for_next_try(r);
    } else if (!was_open) {
        set_tick(r);
    }
    show(r);
}

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
        struct reader *r = &rs->all[i];
        r->d = d;
        r->timer = evtimer_new(d->base, on_timer, r);
        if (r->timer == NULL) {
            return LM_ENOMEM;
        }
        event_priority_set(r->timer, PRIORITY_WORK);
    }
    for (size_t i = 0; i < rs->n; i++) {
        change(&rs->all[i], LIFE_TRY);
    }
    return LM_OK;
}

void readers_end(struct readers *rs)
{
    for (size_t i = 0; i < rs->n; i++) {
        struct reader *r = &rs->all[i];
        if (r->timer != NULL) {
            if (life_is_open(r->life)) {
                close_port(r);
            }
            event_free(r->timer);
        }
        r->config->ops->free_(r->state);
    }
    free(rs->all);
    *rs = (struct readers){0};
}

void readers_check_silence(struct readers *rs)
{
    int64_t now = clock_steady_ms();
    for (size_t i = 0; i < rs->n; i++) {
        struct reader *r = &rs->all[i];
        if (r->life == LIFE_LIVE && now - r->heard_ms >= r->config->silent_ms) {
            change(r, LIFE_QUIET);
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
        struct reader *r = &rs->all[i];
        if (life_is_open(r->life) && may_work(r)) {
            if (r->readable != NULL) {
                event_add(r->readable, NULL);
            }
            set_tick(r);
        }
    }
}

void readers_resume(struct readers *rs)
{
    if (rs->paused) {
        rs->paused = false;
        readers_renew(rs);
    }
}
