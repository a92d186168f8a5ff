/** @file page_conn.c
 * One connection of the page server: its bytes, its limits, its turn.
 */
#include "page.h"

#include "clock.h"
#include "connection.h"
#include "daemon.h"
#include "log.h"
#include "resume.h"
#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define ANSWER_STALL_S 20 /* an answer of which nobody takes a byte for so long is given up */
#define END_MS 1000       /* for the other side to take the last words */
#define LATE_MS 50        /* the longest that page work waits for a reader that never pauses */
#define LATE_US (LATE_MS * 1000)

static void set_deadline(struct page_conn *c, int64_t ms)
{
    const struct timeval t = {ms / 1000, (ms % 1000) * 1000};
    evtimer_add(c->deadline, &t);
}

static void enter(struct page_conn *c, enum conn_state state)
{
    c->state = state;
    c->since_ms = clock_steady_ms();
}

void conn_drop(struct page_conn *c)
{
    if (c->gone) {
        return;
    }
    c->gone = true;
    c->page->n--;
    page_events_end(c);
    page_run_end(c);
    page_scan_end(c);
    evtimer_del(c->deadline);
    bufferevent_disable(c->bev, EV_READ | EV_WRITE);
    event_active(c->page->reap, EV_TIMEOUT, 0);
}

/* A connection that waits for nothing but a next request, or the longest of several. */
static struct page_conn *idle_one(struct page *p, const char *address)
{
    struct page_conn *found = NULL;
    for (struct page_conn *c = p->conns; c != NULL; c = c->next) {
        bool idle = !c->gone && (c->state == CONN_END || (c->state == CONN_HEAD && !c->ended));
        if (idle && (address == NULL || strcmp(c->peer, address) == 0) &&
            (found == NULL || c->since_ms < found->since_ms)) {
            found = c;
        }
    }
    return found;
}

static unsigned count_of(const struct page *p, const char *address)
{
    unsigned n = 0;
    for (const struct page_conn *c = p->conns; c != NULL; c = c->next) {
        n += !c->gone && strcmp(c->peer, address) == 0 ? 1u : 0u;
    }
    return n;
}

/* Room for one more, if need be by ending one that is idle. */
static bool make_room(struct page *p, const char *address)
{
    struct page_conn *idle = NULL;
    if (count_of(p, address) >= LM_PAGE_PER_ADDRESS) {
        idle = idle_one(p, address);
    } else if (p->n >= LM_PAGE_CONNECTIONS) {
        idle = idle_one(p, NULL);
    } else {
        return true;
    }
    if (idle == NULL || clock_steady_ms() - idle->since_ms < END_MS) {
        return false; /* who came just now has a right to ask */
    }
    conn_drop(idle);
    return true;
}

static void turn_away(struct page *p, int fd)
{
    static const char body[] =
        "{\"ok\":false,\"error\":\"too many connections\",\"mend\":\"close some "
        "pages and try again\"}\n";
    char full[400];
    int len = snprintf(full, sizeof full,
        "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/json; charset=utf-8\r\n"
        "Retry-After: 2\r\nContent-Length: %zu\r\nConnection: close\r\n\r\n%s",
        sizeof body - 1, body);
    ssize_t done = send(fd, full, (size_t) len, MSG_NOSIGNAL | MSG_DONTWAIT);
    (void) done;
    close(fd);
    int64_t now = clock_steady_ms();
    if (p->full_said_ms == 0 || now - p->full_said_ms > 60000) {
        p->full_said_ms = now;
        log_at(LOG_LEVEL_WARNING, "page", "turned a connection away: there are %u", p->n);
    }
}

/* The whole head is there: look at it, and leave the body if there is none. */
static bool take_head(struct page_conn *c)
{
    struct evbuffer *in = bufferevent_get_input(c->bev);
    size_t len = evbuffer_get_length(in);
    size_t look = len < LM_PAGE_HEADERS_MAX ? len : LM_PAGE_HEADERS_MAX;
    const char *bytes = look == 0 ? "" : (const char *) evbuffer_pullup(in, (ev_ssize_t) look);
    if (bytes == NULL) {
        conn_no_memory(c);
        return false;
    }
    size_t head = http_head_length(bytes, look);
    if (head == 0) {
        if (len >= LM_PAGE_HEADERS_MAX) {
            conn_refuse(c, 431, "send shorter headers", "the head of the request is too long");
        }
        return false;
    }
    int bad = http_parse(bytes, head, &c->request);
    evbuffer_drain(in, head);
    if (bad != 0) {
        conn_refuse(c, bad, "the page itself does it right", http_reason(bad));
        return false;
    }
    if (!page_admit(c)) {
        return false;
    }
    if (c->request.length > 0) {
        bufferevent_setwatermark(c->bev, EV_READ, 0, c->request.length + LM_PAGE_HEADERS_MAX);
        if (c->request.expects) {
            evbuffer_add_printf(bufferevent_get_output(c->bev), "HTTP/1.1 100 Continue\r\n\r\n");
        }
    }
    c->state = CONN_BODY; /* its deadline is that of the whole request */
    return true;
}

static void take_body(struct page_conn *c)
{
    struct evbuffer *in = bufferevent_get_input(c->bev);
    if (evbuffer_get_length(in) < c->request.length) {
        return;
    }
    evbuffer_drain(c->body, evbuffer_get_length(c->body));
    if (evbuffer_remove_buffer(in, c->body, c->request.length) != (int) c->request.length) {
        conn_no_memory(c);
        return;
    }
    bufferevent_setwatermark(c->bev, EV_READ, 0, LM_PAGE_HEADERS_MAX + 1);
    evtimer_del(c->deadline);
    conn_queue(c, page_route);
}

static void work(struct page_conn *c)
{
    if (c->gone) {
        return;
    }
    if (c->state == CONN_HEAD && !take_head(c) && !c->gone && c->state == CONN_HEAD && c->ended) {
        conn_drop(c);
    }
    if (!c->gone && c->state == CONN_BODY) {
        take_body(c);
        if (c->state == CONN_BODY && c->ended) {
            conn_drop(c);
        }
    }
}

static void on_read(struct bufferevent *bev, void *ctx)
{
    struct page_conn *c = ctx;
    if (c->state == CONN_END || c->state == CONN_STREAM) {
        struct evbuffer *in = bufferevent_get_input(bev);
        evbuffer_drain(in, evbuffer_get_length(in)); /* nobody listens any more */
        return;
    }
    work(c);
}

static void on_written(struct bufferevent *bev, void *ctx)
{
    struct page_conn *c = ctx;
    (void) bev;
    if (c->gone) {
        return;
    }
    if (c->state == CONN_STREAM) {
        page_events_written(c);
    } else if (c->state == CONN_ANSWER && (c->request.close || c->ended)) {
        enter(c, CONN_END);
        shutdown(bufferevent_getfd(c->bev), SHUT_WR);
        set_deadline(c, END_MS);
        if (c->ended) {
            conn_drop(c);
        }
    } else if (c->state == CONN_ANSWER) {
        enter(c, CONN_HEAD);
        set_deadline(c, LM_PAGE_REQUEST_S * 1000);
        work(c);
    }
}

static void on_end(struct bufferevent *bev, short what, void *ctx)
{
    struct page_conn *c = ctx;
    int error = errno;
    (void) bev;
    if (c->gone) {
        return;
    }
    if ((what & BEV_EVENT_ERROR) != 0 && error != ECONNRESET && error != EPIPE &&
        error != ETIMEDOUT) {
        log_at(LOG_LEVEL_WARNING, "page", "a connection failed: %s", strerror(error));
    }
    c->ended = true;
    bool over = (what & (BEV_EVENT_ERROR | BEV_EVENT_TIMEOUT)) != 0;
    if (over || c->state == CONN_BUSY || c->state == CONN_STREAM || c->state == CONN_END) {
        conn_drop(c);
    } else if (c->state == CONN_HEAD || c->state == CONN_BODY) {
        work(c);
    }
}

static void on_deadline(evutil_socket_t fd, short what, void *ctx)
{
    struct page_conn *c = ctx;
    (void) fd;
    (void) what;
    bool begun = evbuffer_get_length(bufferevent_get_input(c->bev)) > 0 || c->state == CONN_BODY;
    if (begun && (c->state == CONN_HEAD || c->state == CONN_BODY)) {
        conn_refuse(c, 408, "send it at once", "the request took too long");
    } else {
        conn_drop(c);
    }
}

static void conn_free(struct page_conn *c)
{
    resume_end(&c->as);
    if (c->bev != NULL) {
        bufferevent_free(c->bev);
    }
    if (c->deadline != NULL) {
        event_free(c->deadline);
    }
    if (c->body != NULL) {
        evbuffer_free(c->body);
    }
    free(c);
}

static struct page_conn *conn_new(struct page *p, int fd)
{
    static const struct timeval stall = {ANSWER_STALL_S, 0};
    struct page_conn *c = calloc(1, sizeof *c);
    if (c == NULL) {
        return NULL;
    }
    c->page = p;
    c->body = evbuffer_new();
    c->deadline = evtimer_new(p->d->base, on_deadline, c);
    c->bev = c->body == NULL || c->deadline == NULL
                 ? NULL
                 : connection_new(p->d->base, fd, LM_PAGE_HEADERS_MAX + 1);
    if (c->bev == NULL) {
        conn_free(c);
        return NULL;
    }
    bufferevent_priority_set(c->bev, PRIORITY_WORK);
    bufferevent_setcb(c->bev, on_read, on_written, on_end, c);
    bufferevent_set_timeouts(c->bev, NULL, &stall);
    return c;
}

static bool is_loopback(const char *address)
{
    return strcmp(address, "127.0.0.1") == 0 || strcmp(address, "::1") == 0;
}

/* An end of the connection as text; an IPv4 address that came over IPv6 is one of IPv4. */
static int name_end(const struct sockaddr_storage *at, char out[INET6_ADDRSTRLEN])
{
    const struct sockaddr_in *four = (const struct sockaddr_in *) at;
    const struct sockaddr_in6 *six = (const struct sockaddr_in6 *) at;
    if (at->ss_family == AF_INET) {
        evutil_inet_ntop(AF_INET, &four->sin_addr, out, INET6_ADDRSTRLEN);
        return ntohs(four->sin_port);
    }
    if (IN6_IS_ADDR_V4MAPPED(&six->sin6_addr)) {
        evutil_inet_ntop(AF_INET, six->sin6_addr.s6_addr + 12, out, INET6_ADDRSTRLEN);
    } else {
        evutil_inet_ntop(AF_INET6, &six->sin6_addr, out, INET6_ADDRSTRLEN);
    }
    return ntohs(six->sin6_port);
}

void page_take(struct page *p, int fd)
{
    struct sockaddr_storage peer = {0}, local = {0};
    socklen_t n = sizeof peer, m = sizeof local;
    char from[INET6_ADDRSTRLEN], to[INET6_ADDRSTRLEN];
    if (getpeername(fd, (struct sockaddr *) &peer, &n) != 0 ||
        getsockname(fd, (struct sockaddr *) &local, &m) != 0) {
        close(fd);
        return;
    }
    name_end(&peer, from);
    int port = name_end(&local, to);
    struct page_conn *c = make_room(p, from) ? conn_new(p, fd) : NULL;
    if (c == NULL) {
        turn_away(p, fd);
        return;
    }
    memcpy(c->peer, from, sizeof c->peer);
    memcpy(c->local, to, sizeof c->local);
    c->port = port;
    c->inside = is_loopback(to) && (is_loopback(from) || strncmp(from, "127.", 4) == 0);
    c->next = p->conns;
    p->conns = c;
    p->n++;
    enter(c, CONN_HEAD);
    set_deadline(c, LM_PAGE_REQUEST_S * 1000);
    if (bufferevent_enable(c->bev, EV_READ | EV_WRITE) != 0) {
        conn_no_memory(c);
    }
}

void page_reap(struct page *p)
{
    for (struct page_conn **at = &p->conns; *at != NULL;) {
        struct page_conn *c = *at;
        if (!c->gone || c->state == CONN_QUEUED) { /* its turn will come, and find it gone */
            at = &c->next;
            continue;
        }
        *at = c->next;
        conn_free(c);
    }
}

void conn_queue(struct page_conn *c, void (*step)(struct page_conn *c))
{
    static const struct timeval late = {0, LATE_US};
    struct page *p = c->page;
    enter(c, CONN_QUEUED);
    c->step = step;
    c->after = NULL;
    if (p->last != NULL) {
        p->last->after = c;
    } else {
        p->first = c;
    }
    p->last = c;
    event_active(p->work, EV_TIMEOUT, 0);
    if (!evtimer_pending(p->late, NULL)) {
        evtimer_add(p->late, &late);
    }
}

void page_turn(struct page *p)
{
    static const struct timeval late = {0, LATE_US};
    struct page_conn *c = p->first;
    if (c == NULL) {
        evtimer_del(p->late);
        return;
    }
    if (!journal_calm(&p->d->journal)) {
        evtimer_add(p->late, &late);
        return;
    }
    p->first = c->after;
    p->last = p->first == NULL ? NULL : p->last;
    c->state = CONN_BUSY;
    if (c->gone) {
        event_active(p->reap, EV_TIMEOUT, 0);
    } else {
        c->step(c);
    }
    if (p->first != NULL) {
        event_active(p->work, EV_TIMEOUT, 0);
        evtimer_add(p->late, &late);
    } else {
        evtimer_del(p->late);
    }
}
