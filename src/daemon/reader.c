/*
 * One reader: what its driver hands over, when it is looked at, and its life. The set of all of
 * them is in readers.c.
 */
#include "reader.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include "should.h"
#include "verdict_json.h"
#include <string.h>

/** Lines of a driver, such as what a program says of itself, that go to the log in a minute. */
#define NOTES_A_MINUTE 20u
/** Openings that fell through at once which are told; after that it is silence until one stands. */
#define FALLS_TOLD 3u

/* Both are ended with NUL in fields of one size: names are copied whole, hundreds a second. */
_Static_assert(sizeof((struct lm_event){0}.lane) == sizeof((struct config_reader){0}.lane) &&
                   sizeof((struct lm_event){0}.reader) == sizeof((struct config_block){0}.name),
    "names of one size");

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
    e.seq = 0;
    e.open = NULL;
    e.record = NULL;
    /* Whatever time the reader gave: clocks of readers are never trusted, order is arrival. */
    e.t_ms = r->turn_ms;
    e.clock_ms = r->turn_clock;
    memcpy(e.lane, r->config->lane, sizeof e.lane);
    memcpy(e.reader, r->config->block.name, sizeof e.reader);
    if (e.kind == LM_EVENT_READING) {
        r->readings++;
        r->last_ms = e.t_ms;
    }
    if (d->fold.session != NULL) {
        journal_add(&d->journal, &e);
    } else if (e.kind == LM_EVENT_READING && publish_wanted(&d->publisher)) {
        publish_send(&d->publisher, should_add(idle_json(d->fold.roll, &e), &d->fold), 0);
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

static void on_note(void *ctx, const char *line)
{
    struct reader *r = ctx;
    int64_t now = clock_steady_ms();
    char where[LM_NAME_MAX + 16];
    if (r->notes == 0 || now - r->notes_ms >= 60000) {
        r->notes = 0;
        r->notes_ms = now;
    }
    if (r->notes++ > NOTES_A_MINUTE) {
        return;
    }
    snprintf(where, sizeof where, "reader %s", r->config->block.name);
    log_at(LOG_LEVEL_NOTICE, where, "says: %s",
        r->notes <= NOTES_A_MINUTE ? line : "more than is shown here within a minute");
}

static void show(struct reader *r);

/* For one turn of its driver: all that it hands over now had come before. */
static struct lm_sink sink_of(struct reader *r)
{
    r->turn_ms = clock_wall_ms();
    r->turn_clock = fold_clock(&r->d->fold);
    return (struct lm_sink){.reading = on_reading, .reject = on_reject, .ctx = r, .note = on_note};
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

/*
 * Whether it is no reader that falls over as soon as it is opened. Of a port one byte is enough: if
 * it hangs up then, somebody pulled a plug and will put it in again. A program that ends after each
 * line would be started without end.
 */
static bool has_stood(const struct reader *r)
{
    bool port = lm_setting_get(r->config->list, r->config->n_list, "port") != NULL;
    return (port && r->has_byte) || clock_steady_ms() - r->opened_ms >= READER_STOOD_MS;
}

/* It is there no more: say why, unless the driver knows better. */
static void lose(struct reader *r, const char *why)
{
    bool stood = has_stood(r);
    r->problem = (struct lm_problem){.err = LM_EGONE};
    if (r->config->ops->gone != NULL) {
        r->config->ops->gone(r->state, &r->problem);
        r->problem.err = LM_EGONE;
    }
    if (r->problem.what[0] == '\0') {
        lm_problem_set(&r->problem, LM_EGONE, NULL, "%s", why);
    }
    r->falls = stood ? 0 : r->falls + 1;
    r->delay_ms = stood ? 0 : r->delay_ms;
    reader_change(r, LIFE_GONE);
}

static void note_bytes(struct reader *r)
{
    r->heard_ms = clock_steady_ms();
    r->has_byte = true;
    reader_check_stood(r);
    if (r->life != LIFE_LIVE) {
        reader_change(r, LIFE_BYTES);
    }
}

/* After the driver looked at its port: @p err is what it said. */
static void after_work(struct reader *r, enum lm_err err, bool bytes)
{
    const struct lm_driver_ops *ops = r->config->ops;
    if (bytes && err == LM_OK) {
        note_bytes(r);
    }
    if (ops->finished != NULL && ops->finished(r->state)) {
        r->ended = true;
        reader_change(r, LIFE_ENDED);
    } else if (err != LM_OK && err != LM_EAGAIN) {
        lose(r, "it hung up");
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
        reader_change(r, LIFE_TRY);
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
            r->opened_ms = r->heard_ms = clock_steady_ms();
            r->has_byte = false;
            r->openings++;
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

/* One line in the log when something changed: never one for every try. */
static void log_change(struct reader *r)
{
    char where[LM_NAME_MAX + 16];
    bool enough = r->falls > FALLS_TOLD || (r->falls == FALLS_TOLD && r->problem.err != LM_EGONE);
    if ((r->life == r->told && r->problem.err == r->told_err) || enough) {
        return;
    }
    r->told = r->life;
    r->told_err = r->problem.err;
    snprintf(where, sizeof where, "reader %s", r->config->block.name);
    if (r->problem.err != LM_OK) {
        log_at(LOG_LEVEL_WARNING, where, "%s: %s%s%s%s", life_name(r->life), r->problem.what,
            r->problem.mend[0] != '\0' ? "; to mend: " : "", r->problem.mend,
            r->falls == FALLS_TOLD ? "; it does so again and again: no more of it here" : "");
    } else {
        log_at(LOG_LEVEL_NOTICE, where, "%s%s", life_name(r->life),
            r->ended ? ": the replay is over" : "");
    }
}

/* Tell people of a new state, or of another reason for it, once. */
static void show(struct reader *r)
{
    log_change(r);
    if (r->life == r->shown && r->problem.err == r->shown_err) {
        return;
    }
    if (r->life != r->shown) {
        r->since_ms = clock_wall_ms();
    }
    r->shown = r->life;
    r->shown_err = r->problem.err;
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
    int last_ms = LIFE_RETRY_LAST_MS;
    if (r->life == LIFE_ABSENT) {
        last_ms = LIFE_RETRY_ABSENT_MS;
    } else if (r->falls > FALLS_TOLD) {
        last_ms = LIFE_RETRY_FALLING_MS;
    }
    r->delay_ms = life_delay_ms(r->delay_ms, last_ms);
    set_timer(r, r->delay_ms);
}

void reader_change(struct reader *r, enum life_what what)
{
    bool was_open = life_is_open(r->life);
    r->life = life_next(r->life, what);
    if (r->life == LIFE_OPENING) {
        r->life = life_next(r->life, try_open(r));
    }
    bool open = life_is_open(r->life);
    if (was_open && !open) {
        close_port(r);
    }
    if (!open) {
        wait_for_next_try(r);
    } else if (!was_open) {
        set_tick(r);
    }
    show(r);
}

void reader_check_stood(struct reader *r)
{
    if (r->falls > 0 && has_stood(r)) {
        r->falls = 0;
        show(r); /* it may not have been told yet that it is open */
    }
}

void reader_moved(struct reader *r)
{
    if (!may_work(r)) {
        return; /* first the old one must be able to say what it still has */
    }
    struct lm_sink sink = sink_of(r);
    (void) r->config->ops->service(r->state, &sink);
    lose(r, "its link leads to another device now");
    journal_nudge(&r->d->journal);
}

enum lm_err reader_begin(struct reader *r, struct daemon *d)
{
    r->d = d;
    r->timer = evtimer_new(d->base, on_timer, r);
    if (r->timer == NULL) {
        return LM_ENOMEM;
    }
    event_priority_set(r->timer, PRIORITY_WORK);
    return LM_OK;
}

void reader_end(struct reader *r)
{
    if (r->timer == NULL) {
        return;
    }
    if (life_is_open(r->life)) {
        close_port(r);
    }
    event_free(r->timer);
    r->timer = NULL;
}

void reader_take_up(struct reader *r)
{
    if (!life_is_open(r->life) || !may_work(r)) {
        return;
    }
    if (r->readable != NULL) {
        event_add(r->readable, NULL);
    }
    set_tick(r);
}
