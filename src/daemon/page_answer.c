/** @file page_answer.c
 * What every answer carries.
 */
#include "page.h"

#include "log.h"
#include "publish.h"
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <stdlib.h>
#include <string.h>

/* Scripts and styles from here alone, nothing from elsewhere, never inside another page. */
static const char policy[] =
    "Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self'; img-src "
    "'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors "
    "'none'\r\n";
static const char always[] = "X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\n"
                             "Cross-Origin-Resource-Policy: same-origin\r\n"
                             "X-Frame-Options: DENY\r\n";

void conn_no_memory(struct page_conn *c)
{
    if (!c->gone) {
        log_at(
            LOG_LEVEL_ERROR, "page", "out of memory: the connection from %s was closed", c->peer);
    }
    conn_drop(c);
}

/* @return whether there was memory for all of it: a head that lacks a line may mean another thing.
 */
static bool head(struct page_conn *c, int status, const char *type, const char *more)
{
    struct evbuffer *out = bufferevent_get_output(c->bev);
    bool own_policy = strstr(more, "Content-Security-Policy:") != NULL;
    bool own_cache = strstr(more, "Cache-Control:") != NULL;
    return evbuffer_add_printf(out, "HTTP/1.1 %d %s\r\n%s%s%s%s%s%s%s%s", status,
               http_reason(status), always, type != NULL ? "Content-Type: " : "",
               type != NULL ? type : "", type != NULL ? "\r\n" : "",
               status == 405 ? "Allow: GET, HEAD, POST\r\n" : "", own_policy ? "" : policy,
               own_cache ? "" : "Cache-Control: no-store\r\n", more) > 0;
}

void conn_answer(
    struct page_conn *c, int status, const char *type, const char *more, struct evbuffer *body)
{
    struct evbuffer *out = bufferevent_get_output(c->bev);
    if (c->gone) {
        return;
    }
    c->state = CONN_ANSWER;
    bool good = head(c, status, type, more);
    size_t len = body == NULL ? 0 : evbuffer_get_length(body);
    if (status != 304) {
        good = good && evbuffer_add_printf(out, "Content-Length: %zu\r\n", len) > 0;
    }
    good = good && evbuffer_add_printf(out, "Connection: %s\r\n\r\n",
                       c->request.close || c->ended ? "close" : "keep-alive") > 0;
    if (body != NULL && c->request.method != HTTP_HEAD) {
        good = good && evbuffer_add_buffer(out, body) == 0;
    }
    if (!good) {
        conn_no_memory(c);
    }
}

void conn_json(struct page_conn *c, int status, json_t *object)
{
    size_t len = 0;
    char *line = object != NULL ? publish_line(object, &len) : NULL;
    struct evbuffer *body = evbuffer_new();
    json_decref(object);
    if (line == NULL || body == NULL || evbuffer_add(body, line, len) != 0) {
        conn_no_memory(c);
    } else {
        conn_answer(c, status, "application/json; charset=utf-8", "", body);
    }
    if (body != NULL) {
        evbuffer_free(body);
    }
    free(line);
}

void conn_fail(struct page_conn *c, int status, const char *mend, const char *what)
{
    conn_json(c, status, json_pack("{s:b, s:s, s:s}", "ok", 0, "error", what, "mend", mend));
}

void conn_refuse(struct page_conn *c, int status, const char *mend, const char *what)
{
    c->request.close = true;
    c->request.method = HTTP_GET;
    conn_fail(c, status, mend, what);
}

void conn_stream_head(struct page_conn *c)
{
    if (!head(c, 200, "text/event-stream; charset=utf-8", "Connection: close\r\n\r\n")) {
        conn_no_memory(c);
    }
}
