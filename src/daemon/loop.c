#include "daemon.h"

#include "clock.h"
#include "log.h"
#include "notify.h"
#include <signal.h>
#include <stdlib.h>

static void on_signal(evutil_socket_t number, short what, void *ctx)
{
    struct daemon *d = ctx;
    (void) number;
    (void) what;
    event_base_loopbreak(d->base);
}

static void on_second(evutil_socket_t fd, short what, void *ctx)
{
    struct daemon *d = ctx;
    (void) fd;
    (void) what;
    readers_check(&d->readers);
    journal_check(&d->journal);
    journal_catch_up(&d->journal);
}

static void on_watchdog(evutil_socket_t fd, short what, void *ctx)
{
    (void) fd;
    (void) what;
    (void) ctx;
    notify_send("WATCHDOG=1");
}

static void on_event_log(int severity, const char *text)
{
    if (severity >= EVENT_LOG_WARN) {
        log_at(severity == EVENT_LOG_ERR ? LOG_LEVEL_ERROR : LOG_LEVEL_WARNING, "loop", "%s", text);
    }
}

static struct event *every(struct daemon *d, event_callback_fn fn, int64_t ms)
{
    const struct timeval t = {ms / 1000, (ms % 1000) * 1000};
    struct event *ev = event_new(d->base, -1, EV_PERSIST, fn, d);
    if (ev != NULL && (event_priority_set(ev, PRIORITY_WORK) != 0 || event_add(ev, &t) != 0)) {
        event_free(ev);
        return NULL;
    }
    return ev;
}

static enum lm_err make_loop(struct daemon *d)
{
    static const int numbers[2] = {SIGTERM, SIGINT};
    event_set_log_callback(on_event_log);
    d->base = event_base_new();
    if (d->base == NULL || event_base_priority_init(d->base, PRIORITIES) != 0) {
        return LM_ENOMEM;
    }
    for (size_t i = 0; i < 2; i++) {
        d->signals[i] = evsignal_new(d->base, numbers[i], on_signal, d);
        if (d->signals[i] == NULL || event_priority_set(d->signals[i], PRIORITY_WORK) != 0 ||
            event_add(d->signals[i], NULL) != 0) {
            return LM_ENOMEM;
        }
    }
    d->second = every(d, on_second, 1000);
    int64_t watchdog_ms = notify_watchdog_ms();
    d->watchdog = watchdog_ms > 0 ? every(d, on_watchdog, watchdog_ms) : NULL;
    return d->second != NULL ? LM_OK : LM_ENOMEM;
}

static void free_loop(struct daemon *d)
{
    struct event *all[] = {d->signals[0], d->signals[1], d->second, d->watchdog};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (all[i] != NULL) {
            event_free(all[i]);
        }
    }
    if (d->base != NULL) {
        event_base_free(d->base);
    }
    libevent_global_shutdown();
}

static enum lm_err start(
    struct daemon *d, const struct config *config, struct lm_store *store, int listening)
{
    enum lm_err err = control_begin(&d->control, d, listening);
    err = err != LM_OK ? err : journal_begin(&d->journal, d);
    err = err != LM_OK ? err : fold_begin(&d->fold, store, config);
    err = err != LM_OK ? err : readers_begin(&d->readers, d);
    err = err != LM_OK ? err : page_begin(&d->page, d);
    return err;
}

static void say_start(const struct daemon *d)
{
    log_at(LOG_LEVEL_NOTICE, "lugmarkd", "at work: %u animals in the register, %zu readers%s",
        lm_roll_animals(d->fold.roll), d->readers.n,
        d->fold.session != NULL ? ", a session goes on" : "");
    notify_send("READY=1\nSTATUS=at work");
}

static int stop(struct daemon *d)
{
    notify_send("STOPPING=1");
    if (d->journal.n > 0 && journal_flush(&d->journal) != LM_OK) {
        log_at(LOG_LEVEL_ERROR, "lugmarkd", "%zu readings could not be kept",
            d->journal.n - d->journal.kept);
        return 4;
    }
    log_at(LOG_LEVEL_NOTICE, "lugmarkd", "ended");
    return 0;
}

int daemon_run(struct daemon *d, const struct config *config, struct lm_store *store, int listening)
{
    int code = 4;
    d->config = config;
    d->store = store;
    enum lm_err err = make_loop(d);
    if (err == LM_OK) {
        err = start(d, config, store, listening);
    }
    if (err == LM_OK) {
        say_start(d);
        event_base_loop(d->base, EVLOOP_NO_EXIT_ON_EMPTY);
        code = stop(d);
    } else {
        log_at(LOG_LEVEL_ERROR, "lugmarkd", "cannot start: %s",
            err == LM_ENOMEM ? lm_err_str(err) : lm_store_problem(store)->what);
    }
    readers_end(&d->readers);
    page_end(&d->page);
    control_end(&d->control);
    journal_end(&d->journal);
    fold_end(&d->fold);
    free_loop(d);
    return code;
}
