/** @file page_answer.c
 * What every answer carries.
 */
#include "page.h"

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

static void head(struct page_conn *c, int status, const char *type, const char *more)
{
    struct evbuffer *out = bufferevent_get_output(c->bev);
    evbuffer_add_printf(out, "HTTP/1.1 %d %s\r\n%s", status, http_reason(status), always);
    if (type != NULL) {
        evbuffer_add_printf(out, "Content-Type: %s\r\n", type);
    }
    if (status == 405) {
        evbuffer_add_printf(out, "Allow: GET, HEAD, POST\r\n");
    }
    if (strstr(more, "Content-Security-Policy:") == NULL) {
        evbuffer_add(out, policy, sizeof policy - 1);
    }
    if (strstr(more, "Cache-Control:") == NULL) {
        evbuffer_add_printf(out, "Cache-Control: no-store\r\n");
    }
    evbuffer_add_printf(out, "%s", more);
}

void conn_answer(
    struct page_conn *c, int status, const char *type, const char *more, struct evbuffer *body)
{
    struct evbuffer *out = bufferevent_get_output(c->bev);
    if (c->gone) {
        return;
    }
    c->state = CONN_ANSWER;
    head(c, status, type, more);
    size_t len = body == NULL ? 0 : evbuffer_get_length(body);
    if (status != 304) {
        evbuffer_add_printf(out, "Content-Length: %zu\r\n", len);
    }
    evbuffer_add_printf(
        out, "Connection: %s\r\n\r\n", c->request.close || c->ended ? "close" : "keep-alive");
    if (body != NULL && c->request.method != HTTP_HEAD) {
        evbuffer_add_buffer(out, body);
    }
}

void conn_json(struct page_conn *c, int status, json_t *object)
{
    size_t len = 0;
    char *line = object != NULL ? publish_line(object, &len) : NULL;
    struct evbuffer *body = evbuffer_new();
    json_decref(object);
    if (line == NULL || body == NULL || evbuffer_add(body, line, len) != 0) {
        conn_drop(c);
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
    head(c, 200, "text/event-stream; charset=utf-8", "");
    evbuffer_add_printf(bufferevent_get_output(c->bev), "Connection: close\r\n\r\n");
}
