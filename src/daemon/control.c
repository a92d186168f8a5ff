#include "control.h"

#include "daemon.h"
#include "log.h"
#include "lugmark/control.h"
#include "peer.h"
#include <errno.h>
#include <event2/listener.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

/* The last line to somebody who is not served. */
static void turn_away(int fd, const char *line, size_t len)
{
    ssize_t done = send(fd, line, len, MSG_NOSIGNAL | MSG_DONTWAIT);
    (void) done;
    close(fd);
}

static bool may_enter(int fd, enum peer_may may)
{
    static const char closed[] =
        "{\"schema\":\"" LM_CONTROL_SCHEMA
        "\",\"ok\":false,\"error\":\"this user may not use the control socket\",\"mend\":\"be the "
        "daemon's user or in the group of its socket; see [control] in "
        "lugmark.conf\",\"exit\":4}\n";
    if (may == PEER_NOTHING) {
        log_at(LOG_LEVEL_WARNING, "control", "a user who may not was turned away");
        turn_away(fd, closed, sizeof closed - 1);
    }
    return may != PEER_NOTHING;
}

static void on_accept(
    struct evconnlistener *l, evutil_socket_t fd, struct sockaddr *from, int len, void *ctx)
{
    struct control *c = ctx;
    (void) l;
    (void) from;
    (void) len;
    enum peer_may may = peer_may(fd, c->d->config->control_group);
    if (!may_enter(fd, may)) {
        return;
    }
    for (size_t i = 0; i < CONTROL_CLIENTS; i++) {
        if (c->clients[i].bev == NULL) {
            if (client_begin(&c->clients[i], c->d, fd) != LM_OK) {
                log_at(LOG_LEVEL_WARNING, "control", "out of memory for one more client");
            }
            c->clients[i].looks = may == PEER_LOOK;
            return;
        }
    }
    static const char full[] =
        "{\"schema\":\"" LM_CONTROL_SCHEMA
        "\",\"ok\":false,\"error\":\"too many clients\",\"mend\":\"end some and "
        "try again\",\"exit\":4}\n";
    turn_away(fd, full, sizeof full - 1);
}

/* Out of descriptors: libevent would try again at once, for ever, and say so each time. */
static void on_accept_error(struct evconnlistener *l, void *ctx)
{
    struct control *c = ctx;
    const struct timeval second = {1, 0};
    int error = errno;
    evconnlistener_disable(l);
    evtimer_add(c->again, &second);
    log_at(
        LOG_LEVEL_ERROR, "control", "no connection can be taken for a second: %s", strerror(error));
}

static void on_again(evutil_socket_t fd, short what, void *ctx)
{
    struct control *c = ctx;
    (void) fd;
    (void) what;
    const struct timeval second = {1, 0};
    if (evconnlistener_enable(c->listener) != 0) {
        evtimer_add(c->again, &second);
    }
}

static void on_reap(evutil_socket_t fd, short what, void *ctx)
{
    struct control *c = ctx;
    (void) fd;
    (void) what;
    for (size_t i = 0; i < CONTROL_CLIENTS; i++) {
        if (c->clients[i].gone) {
            client_free(&c->clients[i]);
        }
    }
}

void control_reap(struct control *c)
{
    event_active(c->reap, EV_TIMEOUT, 0);
}

void control_wake(struct control *c)
{
    for (size_t i = 0; i < CONTROL_CLIENTS; i++) {
        client_wake(&c->clients[i]);
    }
}

enum lm_err control_begin(struct control *c, struct daemon *d, int listening)
{
    *c = (struct control){.d = d};
    c->again = evtimer_new(d->base, on_again, c);
    c->reap = event_new(d->base, -1, 0, on_reap, c);
    c->listener = evconnlistener_new(d->base, on_accept, c,
        LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC | LEV_OPT_DISABLED, 0, listening);
    if (c->listener == NULL) {
        close(listening);
    }
    if (c->listener == NULL || c->again == NULL || c->reap == NULL ||
        evconnlistener_enable(c->listener) != 0) { /* of its own it does not look whether it can */
        return LM_ENOMEM;
    }
    /* In the same turn, behind what runs now: a busy reader must not keep dead clients alive. */
    event_priority_set(c->reap, PRIORITY_WORK);
    evconnlistener_set_error_cb(c->listener, on_accept_error);
    return LM_OK;
}

void control_end(struct control *c)
{
    for (size_t i = 0; i < CONTROL_CLIENTS; i++) {
        client_free(&c->clients[i]);
    }
    if (c->listener != NULL) {
        evconnlistener_free(c->listener);
    }
    if (c->again != NULL) {
        event_free(c->again);
    }
    if (c->reap != NULL) {
        event_free(c->reap);
    }
    *c = (struct control){0};
}
