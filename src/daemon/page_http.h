/** @file page_http.h
 * The head of an HTTP request, taken apart. Pure: no descriptor, no clock, no memory of its own.
 *
 * Strict on purpose: what a browser never sends is refused, not guessed at. Only what the pages
 * need is understood: GET, HEAD and POST, HTTP/1.0 and 1.1, a body with its length said.
 */
#ifndef LUGMARK_DAEMON_PAGE_HTTP_H
#define LUGMARK_DAEMON_PAGE_HTTP_H

#include <stdbool.h>
#include <stddef.h>

#define HTTP_VALUE_MAX 256u
#define HTTP_QUERY_MAX 2048u
#define HTTP_COOKIE "lugmark"

enum http_method { HTTP_GET, HTTP_HEAD, HTTP_POST };

/** A request without its body. Texts are "" when the header was not sent. */
struct http_request {
    enum http_method method;
    bool close;   /**< the connection ends with the answer */
    bool expects; /**< it waits for leave to send its body */
    bool has_length;
    size_t length;              /**< of the body */
    char path[HTTP_VALUE_MAX];  /**< as sent: nothing here has a '%' in its name */
    char query[HTTP_QUERY_MAX]; /**< as sent, without '?' */
    char host[HTTP_VALUE_MAX];
    char origin[HTTP_VALUE_MAX];
    char type[HTTP_VALUE_MAX];    /**< Content-Type */
    char etag[HTTP_VALUE_MAX];    /**< If-None-Match */
    char last_id[HTTP_VALUE_MAX]; /**< Last-Event-ID */
    char cookie[HTTP_VALUE_MAX];  /**< value of the cookie called HTTP_COOKIE */
    char site[HTTP_VALUE_MAX];    /**< Sec-Fetch-Site */
    char mode[HTTP_VALUE_MAX];    /**< Sec-Fetch-Mode */
};

/** Bytes of the head with its blank line, 0 when it is not yet whole. */
size_t http_head_length(const char *bytes, size_t len);

/**
 * Take a whole head apart.
 * @param[in] len  What http_head_length() gave.
 * @return 0, or the status to answer with: 400, 405, 411, 413, 414, 505. The connection must end
 *         then: where the next request would begin is not known.
 */
int http_parse(const char *head, size_t len, struct http_request *out);

/**
 * A value of the query, percent-decoded ('+' is a blank).
 * @return false when it is not there, too long, or holds a NUL or a bad escape.
 */
bool http_query(const char *query, const char *key, char *out, size_t size);

/** What a status is called. */
const char *http_reason(int status);

#endif
