#include "client.h"

#include "connection.h"
#include "daemon.h"
#include "log.h"
#include "lugmark/control.h"
#include "lugmark/version.h"
#include "request.h"
#include "resume.h"
#include "verdict_json.h"
#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define LINES_A_TURN 16
#define REST_AT (LM_CONTROL_QUEUE_MAX / 4) /* answers wait, more requests wait too */

static void work(struct client *c);

static void on_line(const char *line, size_t len, int64_t seq, void *ctx)
{
    struct client *c = ctx;
    if (line == NULL) {
        client_drop(c, "out of memory for what it follows");
        return;
    }
    /* What is in the journal comes to a client that catches up from there, in its turn. */
    if (c->resume == NULL || seq == 0) {
        client_write(c, line, len, seq);
    }
}

size_t client_queued(const struct client *c)
{
    if (c->way != NULL) {
        return c->way->queued(c);
    }
    return c->bev == NULL ? 0 : evbuffer_get_length(bufferevent_get_output(c->bev));
}

static size_t is_behind(void *ctx)
{
    return client_queued(ctx);
}

void client_drop(struct client *c, const char *why)
{
    if (c->gone) {
        return;
    }
    if (c->way != NULL) {
        c->way->drop(c, why);
        return;
    }
    if (why != NULL) {
        log_at(LOG_LEVEL_WARNING, "control", "a client was dropped: %s", why);
    }
    c->gone = true;
    publish_remove(&c->d->publisher, on_line, c);
    bufferevent_disable(c->bev, EV_READ | EV_WRITE);
    control_reap(&c->d->control);
}

void client_write(struct client *c, const char *line, size_t len, int64_t seq)
{
    if (c->gone || c->closing) {
        return;
    }
    if (c->way != NULL) {
        c->way->line(c, line, len, seq);
        return;
    }
    if (client_queued(c) + len > c->allow) {
        client_drop(c, "it does not read what it asked for");
        return;
    }
    if (bufferevent_write(c->bev, line, len) != 0) {
        client_drop(c, "out of memory for its line");
    }
}

void client_answer(struct client *c, json_t *object)
{
    size_t len = 0;
    if (c->way != NULL) {
        c->way->answer(c, object);
        return;
    }
    char *line = object != NULL ? publish_line(object, &len) : NULL;
    json_decref(object);
    if (line == NULL) {
        client_drop(c, "out of memory for its answer");
        return;
    }
    c->allow = client_queued(c) + len + LM_CONTROL_QUEUE_MAX;
    client_write(c, line, len, 0);
    free(line);
}

bool client_watch(struct client *c)
{
    if (!c->watching) {
        c->watching = publish_add(&c->d->publisher, on_line, is_behind, c);
    }
    return c->watching;
}

/* The last words to a client that broke the rules. */
static void refuse(struct client *c, const char *what, const char *mend)
{
    client_answer(c, json_pack("{s:b, s:n, s:s, s:s, s:i}", "ok", 0, "id", "error", what, "mend",
                         mend, "exit", 2));
    c->closing = true;
    bufferevent_disable(c->bev, EV_READ);
}

/* Whether an unfinished line may still be an open request, which may be longer than others. */
static bool may_be_open(struct evbuffer *in)
{
    struct evbuffer_ptr at = evbuffer_search(in, "\"open\"", 6, NULL);
    return at.pos >= 0;
}

static void check_length(struct client *c, struct evbuffer *in)
{
    size_t len = evbuffer_get_length(in);
    if (len > LM_CONTROL_OPEN_MAX || (len > LM_CONTROL_LINE_MAX && !may_be_open(in))) {
        refuse(c, "the line is too long", "send shorter lines, each with its line end");
    }
}

/* One line. Returns false when there is no whole one. */
static bool take_line(struct client *c)
{
    struct evbuffer *in = bufferevent_get_input(c->bev);
    size_t len = 0;
    char *line = evbuffer_readln(in, &len, EVBUFFER_EOL_LF);
    if (line == NULL) {
        if (evbuffer_search_eol(in, NULL, NULL, EVBUFFER_EOL_LF).pos >= 0) {
            client_drop(c, "out of memory for its request");
        } else {
            check_length(c, in);
        }
        return false;
    }
    if (len > LM_CONTROL_OPEN_MAX || !request_handle(c, line, len)) {
        refuse(c, "the line is too long", "send shorter lines");
    }
    free(line);
    return true;
}

static void work(struct client *c)
{
    for (int i = 0; i < LINES_A_TURN; i++) {
        if (c->gone || c->closing || client_queued(c) > REST_AT ||
            !journal_calm(&c->d->journal)) { /* client_wake() comes back */
            return;
        }
        if (!take_line(c)) {
            if (c->ended && !c->gone) {
                c->closing = true;
                if (client_queued(c) == 0) {
                    client_drop(c, NULL);
                }
            }
            return;
        }
    }
    /* Others have a turn, too. */
    bufferevent_trigger(c->bev, EV_READ, BEV_TRIG_IGNORE_WATERMARKS | BEV_TRIG_DEFER_CALLBACKS);
}

static void on_read(struct bufferevent *bev, void *ctx)
{
    (void) bev;
    work(ctx);
}

static void on_written(struct bufferevent *bev, void *ctx)
{
    struct client *c = ctx;
    (void) bev;
    if (c->gone) {
        return;
    }
    if (c->closing) {
        if (client_queued(c) == 0) {
            client_drop(c, NULL);
        }
        return;
    }
    if (client_queued(c) <= REST_AT) {
        c->allow = LM_CONTROL_QUEUE_MAX;
        if (c->resume != NULL) {
            resume_step(c);
        }
        work(c);
    }
}

void client_wake(struct client *c)
{
    if (c->bev != NULL && !c->gone) {
        bufferevent_trigger(
            c->bev, EV_READ | EV_WRITE, BEV_TRIG_IGNORE_WATERMARKS | BEV_TRIG_DEFER_CALLBACKS);
    }
}

static void on_end(struct bufferevent *bev, short what, void *ctx)
{
    struct client *c = ctx;
    int error = errno;
    (void) bev;
    if ((what & BEV_EVENT_ERROR) != 0) {
        client_drop(c, error == ECONNRESET || error == EPIPE ? NULL : strerror(error));
    } else if ((what & BEV_EVENT_EOF) != 0) {
        c->ended = true;
        work(c);
    }
}

static void greet(struct client *c)
{
    const struct fold *f = &c->d->fold;
    client_answer(
        c, json_pack("{s:s, s:s, s:o}", "schema", LM_CONTROL_SCHEMA, "version", LM_VERSION,
               "session", f->session != NULL ? session_json(&f->row) : json_null()));
}

enum lm_err client_begin(struct client *c, struct daemon *d, int fd)
{
    *c = (struct client){.d = d, .allow = LM_CONTROL_QUEUE_MAX};
    c->bev = connection_new(d->base, fd, LM_CONTROL_OPEN_MAX + 1);
    if (c->bev == NULL) {
        close(fd);
        return LM_ENOMEM;
    }
    bufferevent_priority_set(c->bev, PRIORITY_WORK);
    bufferevent_setcb(c->bev, on_read, on_written, on_end, c);
    bufferevent_setwatermark(c->bev, EV_WRITE, REST_AT, 0);
    /* As much as its socket takes in one go: the usual 16 KiB are 40 verdicts. */
    bufferevent_set_max_single_write(c->bev, LM_CONTROL_QUEUE_MAX);
    if (bufferevent_enable(c->bev, EV_READ | EV_WRITE) != 0) {
        client_free(c);
        return LM_ENOMEM;
    }
    greet(c);
    return LM_OK;
}

void client_free(struct client *c)
{
    if (c->bev == NULL) {
        return;
    }
    publish_remove(&c->d->publisher, on_line, c);
    resume_end(c);
    bufferevent_free(c->bev);
    *c = (struct client){0};
}
