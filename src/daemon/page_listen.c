/** @file page_listen.c
 * Where the page is served: what the configuration names, and this machine's own addresses on the
 * LAN for as long as a device is paired or a secret waits for one.
 */
#include "page.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include <arpa/inet.h>
#include <errno.h>
#include <net/if.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <string.h>
#include <unistd.h>

#define INTERFACES 32u
#define ACCEPTS_A_TURN 4    /* a storm of connections takes its turns like everybody else */
#define DEAD_PEER_MS 30000u /* a telephone that went out of reach */

static void tune(int fd)
{
    const int one = 1;
    const unsigned dead = DEAD_PEER_MS;
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    setsockopt(fd, IPPROTO_TCP, TCP_USER_TIMEOUT, &dead, sizeof dead);
}

/* Out of descriptors: the same connection would be offered again at once, for ever. */
static void rest(struct page *p, int error)
{
    const struct timeval second = {1, 0};
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        if (p->listeners[i].ev != NULL) {
            event_del(p->listeners[i].ev);
        }
    }
    evtimer_add(p->again, &second);
    log_at(LOG_LEVEL_ERROR, "page", "no connection can be taken for a second: %s", strerror(error));
}

static void on_connection(evutil_socket_t fd, short what, void *ctx)
{
    struct page_listener *l = ctx;
    (void) what;
    for (int i = 0; i < ACCEPTS_A_TURN; i++) {
        int taken = accept4(fd, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
        if (taken >= 0) {
            tune(taken);
            page_take(l->page, taken);
            continue;
        }
        if (errno == EMFILE || errno == ENFILE || errno == ENOBUFS || errno == ENOMEM) {
            rest(l->page, errno);
        }
        return;
    }
}

const char *page_address(const struct sockaddr_storage *at, char out[PAGE_URL_MAX])
{
    char text[INET6_ADDRSTRLEN] = "";
    const struct sockaddr_in *four = (const struct sockaddr_in *) at;
    const struct sockaddr_in6 *six = (const struct sockaddr_in6 *) at;
    if (at->ss_family == AF_INET6) {
        inet_ntop(AF_INET6, &six->sin6_addr, text, sizeof text);
        snprintf(out, PAGE_URL_MAX, "[%s]:%d", text, ntohs(six->sin6_port));
    } else {
        inet_ntop(AF_INET, &four->sin_addr, text, sizeof text);
        snprintf(out, PAGE_URL_MAX, "%s:%d", text, ntohs(four->sin_port));
    }
    return out;
}

static int bind_at(struct sockaddr_storage *at)
{
    const int one = 1;
    socklen_t size =
        at->ss_family == AF_INET ? sizeof(struct sockaddr_in) : sizeof(struct sockaddr_in6);
    int fd = socket(at->ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd < 0) {
        return -1;
    }
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    if (at->ss_family == AF_INET6) {
        setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &one, sizeof one);
    }
    if (bind(fd, (struct sockaddr *) at, size) != 0 || listen(fd, 64) != 0 ||
        getsockname(fd, (struct sockaddr *) at, &size) != 0) {
        int error = errno;
        close(fd);
        errno = error;
        return -1;
    }
    return fd;
}

static enum lm_err open_at(struct page *p, const struct sockaddr_storage *at, bool lan)
{
    struct page_listener *l = p->listeners;
    while (l < p->listeners + PAGE_LISTENERS && l->ev != NULL) {
        l++;
    }
    if (l == p->listeners + PAGE_LISTENERS) {
        return LM_EFULL;
    }
    *l = (struct page_listener){.page = p, .at = *at, .lan = lan};
    l->fd = bind_at(&l->at);
    if (l->fd < 0) {
        return LM_EIO;
    }
    l->ev = event_new(p->d->base, l->fd, EV_READ | EV_PERSIST, on_connection, l);
    if (l->ev == NULL || event_priority_set(l->ev, PRIORITY_WORK) != 0 ||
        event_add(l->ev, NULL) != 0) {
        if (l->ev != NULL) {
            event_free(l->ev);
        }
        close(l->fd);
        *l = (struct page_listener){.ev = NULL};
        errno = ENOMEM;
        return LM_ENOMEM;
    }
    char url[PAGE_URL_MAX];
    log_at(LOG_LEVEL_NOTICE, "page", "listening on http://%s/%s", page_address(&l->at, url),
        lan ? " for paired devices" : "");
    return LM_OK;
}

static void close_one(struct page_listener *l)
{
    if (l->ev != NULL) {
        event_free(l->ev);
        close(l->fd);
    }
    *l = (struct page_listener){.ev = NULL};
}

/* "127.0.0.1:8480", "[::1]:8480", "localhost:8480": the configuration was checked already. */
static bool parse(const char *text, struct sockaddr_storage *at)
{
    char host[INET6_ADDRSTRLEN + 2];
    const char *colon = strrchr(text, ':');
    if (colon == NULL || (size_t) (colon - text) >= sizeof host) {
        return false;
    }
    memcpy(host, text, (size_t) (colon - text));
    host[colon - text] = '\0';
    uint16_t port = htons((uint16_t) strtoul(colon + 1, NULL, 10));
    struct sockaddr_in *four = (struct sockaddr_in *) at;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *) at;
    *at = (struct sockaddr_storage){.ss_family = AF_INET};
    if (inet_pton(AF_INET, strcmp(host, "localhost") == 0 ? "127.0.0.1" : host, &four->sin_addr)) {
        four->sin_port = port;
        return true;
    }
    size_t n = strlen(host);
    if (n < 3 || host[0] != '[' || host[n - 1] != ']') {
        return false;
    }
    host[n - 1] = '\0';
    *at = (struct sockaddr_storage){.ss_family = AF_INET6};
    six->sin6_port = port;
    return inet_pton(AF_INET6, host + 1, &six->sin6_addr) == 1;
}

/* The first one that the configuration opened, or NULL. */
static const struct page_listener *configured(const struct page *p)
{
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        if (p->listeners[i].ev != NULL && !p->listeners[i].lan) {
            return &p->listeners[i];
        }
    }
    return NULL;
}

static void open_configured(struct page *p)
{
    const char *text = p->d->config->page_listen;
    struct sockaddr_storage at;
    text = text[0] != '\0' ? text : PAGE_DEFAULT_LISTEN;
    if (strcmp(text, "off") == 0 || configured(p) != NULL || !parse(text, &at)) {
        return;
    }
    enum lm_err err = open_at(p, &at, false);
    if (err == LM_OK) {
        p->problem.err = LM_OK;
    } else if (p->problem.err == LM_OK) {
        lm_problem_set(&p->problem, LM_EIO,
            "end what has it, or name another in the configuration: [page] listen = "
            "127.0.0.1:8481",
            "the page cannot listen on %s: %s", text, strerror(errno));
        log_problem(LOG_LEVEL_WARNING, "page", &p->problem);
    }
}

/* Whether what the configuration opened is already open to others. */
static bool is_open(const struct page_listener *l)
{
    const struct sockaddr_in *four = (const struct sockaddr_in *) &l->at;
    const struct sockaddr_in6 *six = (const struct sockaddr_in6 *) &l->at;
    return l->at.ss_family == AF_INET ? four->sin_addr.s_addr != htonl(INADDR_LOOPBACK)
                                      : !IN6_IS_ADDR_LOOPBACK(&six->sin6_addr);
}

static bool same_address(const struct sockaddr_storage *a, const struct in_addr *b)
{
    return a->ss_family == AF_INET &&
           ((const struct sockaddr_in *) a)->sin_addr.s_addr == b->s_addr;
}

static void open_lan(struct page *p, struct in_addr address, uint16_t port)
{
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        if (p->listeners[i].ev != NULL && same_address(&p->listeners[i].at, &address)) {
            return;
        }
    }
    struct sockaddr_storage at = {.ss_family = AF_INET};
    struct sockaddr_in *four = (struct sockaddr_in *) &at;
    four->sin_addr = address;
    four->sin_port = port;
    open_at(p, &at, true); /* what cannot be had now may be had in ten seconds */
}

/*
 * This machine's addresses on the LAN; the one that the configuration names, if it does. Asked for
 * by ioctl: a service that may speak IP alone is not let at the routing socket that getifaddrs()
 * wants.
 */
static void open_all_lan(struct page *p, const struct page_listener *first)
{
    struct in_addr named;
    uint16_t port = first->at.ss_family == AF_INET
                        ? ((const struct sockaddr_in *) &first->at)->sin_port
                        : ((const struct sockaddr_in6 *) &first->at)->sin6_port;
    if (inet_pton(AF_INET, p->d->config->page_lan, &named) == 1) {
        open_lan(p, named, port);
        return;
    }
    struct ifreq all[INTERFACES];
    struct ifconf list = {.ifc_len = sizeof all, .ifc_req = all};
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0 || ioctl(fd, SIOCGIFCONF, &list) != 0) {
        list.ifc_len = 0;
    }
    for (size_t i = 0; i < (size_t) list.ifc_len / sizeof all[0]; i++) {
        struct sockaddr_in at;
        memcpy(&at, &all[i].ifr_addr, sizeof at);
        bool known = ioctl(fd, SIOCGIFFLAGS, &all[i]) == 0;
        if (known && (all[i].ifr_flags & IFF_UP) != 0 && (all[i].ifr_flags & IFF_LOOPBACK) == 0) {
            open_lan(p, at.sin_addr, port);
        }
    }
    if (fd >= 0) {
        close(fd);
    }
}

void page_listen(struct page *p)
{
    open_configured(p);
    const struct page_listener *first = configured(p);
    bool lan = first != NULL && !is_open(first) && strcmp(p->d->config->page_lan, "off") != 0 &&
               doors_lan(&p->doors, clock_steady_ms());
    if (lan) {
        open_all_lan(p, first);
        return;
    }
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        if (p->listeners[i].ev != NULL && p->listeners[i].lan) {
            close_one(&p->listeners[i]);
        }
    }
}

void page_listen_end(struct page *p)
{
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        close_one(&p->listeners[i]);
    }
}

/* Where this machine itself finds the page. */
const char *page_url(const struct page *p, char out[PAGE_URL_MAX])
{
    char at[PAGE_URL_MAX];
    const struct page_listener *first = configured(p);
    out[0] = '\0';
    if (first != NULL) {
        struct sockaddr_storage local = first->at;
        struct sockaddr_in *four = (struct sockaddr_in *) &local;
        struct sockaddr_in6 *six = (struct sockaddr_in6 *) &local;
        if (local.ss_family == AF_INET && four->sin_addr.s_addr == htonl(INADDR_ANY)) {
            four->sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        } else if (local.ss_family == AF_INET6 && IN6_IS_ADDR_UNSPECIFIED(&six->sin6_addr)) {
            six->sin6_addr = in6addr_loopback;
        }
        snprintf(out, PAGE_URL_MAX, "http://%.80s/", page_address(&local, at));
    }
    return out;
}

/* The address that this machine would send from to anywhere else. Nothing is sent. */
static bool way_out(struct in_addr *out)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons(9)};
    socklen_t size = sizeof at;
    inet_pton(AF_INET, "198.51.100.1", &at.sin_addr);
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    bool good = fd >= 0 && connect(fd, (struct sockaddr *) &at, size) == 0 &&
                getsockname(fd, (struct sockaddr *) &at, &size) == 0;
    *out = at.sin_addr;
    if (fd >= 0) {
        close(fd);
    }
    return good;
}

const char *page_lan_address(const struct page *p, char out[PAGE_URL_MAX])
{
    struct in_addr way;
    bool known = way_out(&way);
    out[0] = '\0';
    for (size_t i = 0; i < PAGE_LISTENERS; i++) {
        const struct page_listener *l = &p->listeners[i];
        const struct sockaddr_in *four = (const struct sockaddr_in *) &l->at;
        if (l->ev == NULL || !is_open(l)) {
            continue;
        }
        bool any = l->at.ss_family == AF_INET && four->sin_addr.s_addr == htonl(INADDR_ANY);
        struct sockaddr_storage at = l->at;
        if (any && known) {
            ((struct sockaddr_in *) &at)->sin_addr = way;
        }
        bool best = any || (known && same_address(&l->at, &way));
        if (out[0] == '\0' || best) {
            page_address(&at, out);
        }
        if (best) {
            break;
        }
    }
    return out;
}
