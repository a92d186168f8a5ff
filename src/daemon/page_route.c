/** @file page_route.c
 * What may come in, and who answers it.
 */
#include "page.h"

#include "daemon.h"
#include "lugmark/control.h"
#include <string.h>

#define BODY_MAX LM_CONTROL_OPEN_MAX
#define PAIR_BODY_MAX 1024u

struct route {
    const char *path;
    bool post;
    bool free; /**< for devices that are not paired, too */
    void (*run)(struct page_conn *c);
};

static void send_file(struct page_conn *c, const char *name)
{
    if (!page_file(c, name)) {
        conn_fail(c, 404, "look at / or /book", "there is nothing of that name here");
    }
}

static void race_page(struct page_conn *c)
{
    send_file(c, "race.html");
}

static void book_page(struct page_conn *c)
{
    send_file(c, "book.html");
}

static void pair_page(struct page_conn *c)
{
    send_file(c, "pair.html");
}

static const struct route routes[] = {
    {"/", false, false, race_page},
    {"/book", false, false, book_page},
    {"/pair", false, true, pair_page},
    {"/pair", true, true, page_pair},
    {"/events", false, false, page_events},
    {"/do", true, false, page_do},
    {"/api/not-seen", false, false, page_not_seen},
    {"/api/find", false, false, page_find},
};

/* The route of a path; @p other: the path is there, but not for this method. */
static const struct route *find(const struct http_request *r, bool *other)
{
    *other = false;
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++) {
        if (strcmp(routes[i].path, r->path) == 0) {
            if (routes[i].post == (r->method == HTTP_POST)) {
                return &routes[i];
            }
            *other = true;
        }
    }
    return NULL;
}

/* Style sheets, scripts and pictures say nothing of the farm: the page of pairing needs them. */
static bool is_plain_file(const char *path)
{
    const char *dot = strrchr(path, '.');
    return dot != NULL && strchr(path + 1, '/') == NULL && strcmp(dot, ".html") != 0;
}

/* By what a browser says of the page that asks. */
static bool from_elsewhere(const struct http_request *r)
{
    bool other_site = strcmp(r->site, "cross-site") == 0 || strcmp(r->site, "same-site") == 0;
    return !door_origin(r->origin, r->host) || (other_site && strcmp(r->mode, "navigate") != 0);
}

static bool admit_place(struct page_conn *c)
{
    const struct http_request *r = &c->request;
    if (!door_host(r->host, c->local, c->port, c->inside)) {
        conn_refuse(c, 421, "open the page by the address that lugmarkd says",
            "the page is not known by that name");
    } else if (from_elsewhere(r)) {
        conn_refuse(c, 403, "use the page itself", "another site asked for this");
    } else if (r->method == HTTP_POST && !door_json(r->type)) {
        conn_refuse(c, 415, "send application/json", "the body is of a type that is not taken");
    } else {
        return true;
    }
    return false;
}

/* Somebody who is not paired: a page leads to where that is done, the rest says so. */
static void send_away(struct page_conn *c)
{
    const char *path = c->request.path;
    c->request.close = true;
    if (strcmp(path, "/") == 0 || strcmp(path, "/book") == 0) {
        conn_answer(c, 303, NULL, "Location: /pair\r\n", NULL);
    } else {
        conn_fail(
            c, 401, "on the machine at the race run: lugmarkd --pair", "this device is not paired");
    }
}

static void know(struct page_conn *c)
{
    c->device = 0;
    c->may = DOOR_NOTHING;
    if (c->inside) {
        c->may = DOOR_ACT;
        return;
    }
    const struct door_device *device = doors_known(&c->page->doors, c->request.cookie);
    if (device != NULL) {
        c->device = device->number;
        c->may = device->may;
    }
}

bool page_admit(struct page_conn *c)
{
    const struct http_request *r = &c->request;
    bool other = false;
    if (!admit_place(c)) {
        return false;
    }
    const struct route *route = find(r, &other);
    bool open =
        (route != NULL && route->free) || (r->method != HTTP_POST && is_plain_file(r->path));
    know(c);
    if (c->may == DOOR_NOTHING && !open) {
        send_away(c);
    } else if (other && route == NULL) {
        conn_refuse(c, 405, "the page itself does it right", "this is not asked for in that way");
    } else if (r->method == HTTP_POST && route == NULL) {
        conn_refuse(c, 404, "send it to /do", "nothing is done there");
    } else if (r->length > (route != NULL && route->free ? PAIR_BODY_MAX : BODY_MAX)) {
        conn_refuse(c, 413, "send less", "the request is too long");
    } else {
        return true;
    }
    return false;
}

void page_route(struct page_conn *c)
{
    bool other = false;
    const struct route *route = find(&c->request, &other);
    if (route != NULL) {
        route->run(c);
    } else if (!page_view(c)) {
        send_file(c, c->request.path + 1);
    }
}
