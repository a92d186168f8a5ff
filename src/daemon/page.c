/** @file page.c
 * The page server as a whole: what it begins with, and its clocks.
 */
#include "page.h"

#include "daemon.h"
#include "log.h"
#include <stdlib.h>
#include <string.h>

#define LISTEN_BEATS 5u /* addresses come and go: every ten seconds */

static void on_work(evutil_socket_t fd, short what, void *ctx)
{
    (void) fd;
    (void) what;
    page_turn(ctx);
}

static void on_reap(evutil_socket_t fd, short what, void *ctx)
{
    (void) fd;
    (void) what;
    page_reap(ctx);
}

static void on_beat(evutil_socket_t fd, short what, void *ctx)
{
    struct page *p = ctx;
    (void) fd;
    (void) what;
    page_beat(p);
    if (++p->beats % LISTEN_BEATS == 0) {
        page_listen(p);
    }
}

static void on_again(evutil_socket_t fd, short what, void *ctx)
{
    struct page *p = ctx;
    (void) fd;
    (void) what;
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        if (p->listeners[i].ev != NULL) {
            event_add(p->listeners[i].ev, NULL);
        }
    }
}

static void on_journal(const char *line, size_t len, int64_t seq, void *ctx)
{
    struct page *p = ctx;
    if (seq != 0 && line == NULL) {
        ring_forget(&p->ring, seq);
    } else if (seq != 0) {
        ring_put(&p->ring, line, len, seq);
    }
}

static enum lm_err make_events(struct page *p, struct event_base *base)
{
    const struct timeval beat = {LM_PAGE_BEAT_MS / 1000, 0};
    p->work = event_new(base, -1, 0, on_work, p);
    p->late = evtimer_new(base, on_work, p);
    p->reap = event_new(base, -1, 0, on_reap, p);
    p->beat = event_new(base, -1, EV_PERSIST, on_beat, p);
    p->again = evtimer_new(base, on_again, p);
    struct event *all[] = {p->work, p->late, p->reap, p->beat, p->again};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (all[i] == NULL ||
            event_priority_set(all[i], all[i] == p->work ? PRIORITY_PAGE : PRIORITY_WORK) != 0) {
            return LM_ENOMEM;
        }
    }
    return event_add(p->beat, &beat) == 0 ? LM_OK : LM_ENOMEM;
}

enum lm_err page_begin(struct page *p, struct daemon *d)
{
    struct lm_problem problem = {.err = LM_OK};
    *p = (struct page){.d = d};
    if (strcmp(d->config->page_listen, "off") == 0) {
        return LM_OK;
    }
    if (ring_begin(&p->ring, d->fold.last_seq) != 0 || make_events(p, d->base) != LM_OK ||
        !publish_add(&d->publisher, on_journal, NULL, p)) {
        return LM_ENOMEM;
    }
    if (doors_begin(&p->doors, d->db, &problem) != LM_OK) {
        log_problem(LOG_LEVEL_WARNING, "page", &problem);
    }
    page_replay(p);
    page_listen(p);
    return LM_OK;
}

void page_end(struct page *p)
{
    struct event *all[] = {p->work, p->late, p->reap, p->beat, p->again, p->task_check};
    if (p->d == NULL) {
        return;
    }
    page_listen_end(p);
    for (struct page_conn *c = p->conns; c != NULL; c = c->next) {
        conn_drop(c);
        c->state = CONN_END;
    }
    page_reap(p);
    page_run_all_end(p);
    publish_remove(&p->d->publisher, on_journal, p);
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (all[i] != NULL) {
            event_free(all[i]);
        }
    }
    ring_end(&p->ring);
    *p = (struct page){.d = NULL};
}
