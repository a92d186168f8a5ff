#include "page_http.h"

#include <stdint.h>
#include <string.h>
#include <strings.h>

#define LENGTH_DIGITS 9u /* more is never taken, and it cannot overflow */

size_t http_head_length(const char *bytes, size_t len)
{
    const char *end = memmem(bytes, len, "\r\n\r\n", 4);
    return end == NULL ? 0 : (size_t) (end - bytes) + 4;
}

static bool is_token(const char *text, size_t len)
{
    static const char more[] = "!#$%&'*+-.^_`|~";
    for (size_t i = 0; i < len; i++) {
        char c = text[i];
        bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        if (!letter && (c == '\0' || strchr(more, c) == NULL)) {
            return false;
        }
    }
    return len > 0;
}

/* No control character anywhere: a header that holds one is an attempt, not a request. */
static bool is_clean(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char) text[i];
        if ((c < 0x20 && c != '\t') || c == 0x7f) {
            return false;
        }
    }
    return true;
}

static bool copy(char *out, size_t size, const char *text, size_t len)
{
    if (len >= size) {
        return false;
    }
    memcpy(out, text, len);
    out[len] = '\0';
    return true;
}

static bool word_is(const char *text, size_t len, const char *word)
{
    return strlen(word) == len && strncasecmp(text, word, len) == 0;
}

static int take_method(const char *text, size_t len, struct http_request *out)
{
    static const char *const names[] = {"GET", "HEAD", "POST"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (strlen(names[i]) == len && memcmp(text, names[i], len) == 0) {
            out->method = (enum http_method) i;
            return 0;
        }
    }
    return is_token(text, len) ? 405 : 400;
}

static int take_target(const char *text, size_t len, struct http_request *out)
{
    const char *mark = memchr(text, '?', len);
    size_t path = mark == NULL ? len : (size_t) (mark - text);
    if (path == 0 || text[0] != '/' || !is_clean(text, len) || memchr(text, '#', len) != NULL) {
        return 400;
    }
    if (!copy(out->path, sizeof out->path, text, path) ||
        !copy(out->query, sizeof out->query, mark == NULL ? "" : mark + 1,
            mark == NULL ? 0 : len - path - 1)) {
        return 414;
    }
    return 0;
}

/* "GET /path?query HTTP/1.1" */
static int take_first(const char *line, size_t len, struct http_request *out)
{
    const char *one = memchr(line, ' ', len);
    const char *two = one == NULL ? NULL : memrchr(line, ' ', len);
    if (one == NULL || two == one) {
        return 400;
    }
    const char *version = two + 1;
    size_t left = len - (size_t) (version - line);
    if (left != 8 || memcmp(version, "HTTP/", 5) != 0) {
        return 400;
    }
    if (memcmp(version, "HTTP/1.1", 8) != 0 && memcmp(version, "HTTP/1.0", 8) != 0) {
        return 505;
    }
    out->close = version[7] == '0';
    const char *target = one + 1;
    size_t target_len = (size_t) (two - target);
    if (target_len == 0 || memchr(target, ' ', target_len) != NULL) {
        return 400;
    }
    int bad = take_method(line, (size_t) (one - line), out);
    return bad != 0 ? bad : take_target(target, target_len, out);
}

static int take_length(const char *value, size_t len, struct http_request *out)
{
    size_t n = 0;
    if (out->has_length || len == 0) {
        return 400;
    }
    for (size_t i = 0; i < len; i++) {
        if (value[i] < '0' || value[i] > '9') {
            return 400;
        }
        n = i < LENGTH_DIGITS ? n * 10 + (size_t) (value[i] - '0') : n;
    }
    out->has_length = true;
    out->length = n;
    return len > LENGTH_DIGITS ? 413 : 0;
}

/* Ours among "a=1; lugmark=...; b=2". Two of that name are none: one of them is not ours. */
static void take_cookie(const char *value, size_t len, struct http_request *out)
{
    const size_t name = sizeof HTTP_COOKIE - 1;
    unsigned found = out->cookie[0] != '\0' ? 1 : 0;
    for (size_t at = 0; at < len;) {
        const char *end = memchr(value + at, ';', len - at);
        size_t stop = end == NULL ? len : (size_t) (end - value);
        while (at < stop && value[at] == ' ') {
            at++;
        }
        if (stop - at > name && memcmp(value + at, HTTP_COOKIE "=", name + 1) == 0) {
            found++;
            if (!copy(
                    out->cookie, sizeof out->cookie, value + at + name + 1, stop - at - name - 1)) {
                found = 2;
            }
        }
        at = stop + 1;
    }
    if (found > 1) {
        out->cookie[0] = '\0';
    }
}

static void take_connection(const char *value, size_t len, struct http_request *out)
{
    if (memmem(value, len, "close", 5) != NULL || memmem(value, len, "Close", 5) != NULL) {
        out->close = true;
    }
}

struct kept {
    const char *name;
    char *out;
};

/* A header whose text is kept. Once only: of two, who knows which one the browser checked. */
static int take_text(const struct kept *kept, const char *value, size_t len)
{
    if (kept->out[0] != '\0' || len == 0) {
        return 400;
    }
    return copy(kept->out, HTTP_VALUE_MAX, value, len) ? 0 : 431;
}

static int take_value(
    const char *name, size_t name_len, const char *value, size_t len, struct http_request *out)
{
    const struct kept kept[] = {{"Host", out->host}, {"Origin", out->origin},
        {"Content-Type", out->type}, {"If-None-Match", out->etag}, {"Last-Event-ID", out->last_id},
        {"Sec-Fetch-Site", out->site}, {"Sec-Fetch-Mode", out->mode}};
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++) {
        if (word_is(name, name_len, kept[i].name)) {
            return take_text(&kept[i], value, len);
        }
    }
    if (word_is(name, name_len, "Content-Length")) {
        return take_length(value, len, out);
    }
    if (word_is(name, name_len, "Transfer-Encoding")) {
        return 411;
    }
    if (word_is(name, name_len, "Cookie")) {
        take_cookie(value, len, out);
    } else if (word_is(name, name_len, "Connection")) {
        take_connection(value, len, out);
    } else if (word_is(name, name_len, "Expect")) {
        out->expects = word_is(value, len, "100-continue");
    }
    return 0;
}

static int take_header(const char *line, size_t len, struct http_request *out)
{
    const char *colon = memchr(line, ':', len);
    size_t name = colon == NULL ? 0 : (size_t) (colon - line);
    if (!is_token(line, name) || !is_clean(line, len)) {
        return 400; /* a folded line begins with a blank, which is no token either */
    }
    const char *value = colon + 1;
    size_t n = len - name - 1;
    while (n > 0 && (value[0] == ' ' || value[0] == '\t')) {
        value++;
        n--;
    }
    while (n > 0 && (value[n - 1] == ' ' || value[n - 1] == '\t')) {
        n--;
    }
    return take_value(line, name, value, n, out);
}

/* What only the whole head tells. */
static int judge(const struct http_request *r)
{
    if (r->host[0] == '\0') {
        return 400;
    }
    if (r->method == HTTP_POST) {
        return r->has_length ? 0 : 411;
    }
    return r->length == 0 ? 0 : 400;
}

int http_parse(const char *head, size_t len, struct http_request *out)
{
    *out = (struct http_request){.method = HTTP_GET};
    size_t at = 0;
    int bad = 0;
    while (bad == 0 && at + 2 < len) {
        const char *end = memmem(head + at, len - at, "\r\n", 2);
        if (end == NULL) {
            return 400;
        }
        size_t n = (size_t) (end - head) - at;
        bad = at == 0 ? take_first(head, n, out) : take_header(head + at, n, out);
        at += n + 2;
    }
    return bad != 0 ? bad : judge(out);
}

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    if (c >= 'a' && c <= 'f') {
        return c - 'a' + 10;
    }
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

static bool decode(const char *text, size_t len, char *out, size_t size)
{
    size_t n = 0;
    for (size_t i = 0; i < len; i++) {
        char c = text[i] == '+' ? ' ' : text[i];
        if (c == '%') {
            int high = i + 2 <= len - 1 ? hex_digit(text[i + 1]) : -1;
            int low = i + 2 <= len - 1 ? hex_digit(text[i + 2]) : -1;
            if (high < 0 || low < 0) {
                return false;
            }
            c = (char) (high * 16 + low);
            i += 2;
        }
        if (c == '\0' || n + 1 >= size) {
            return false;
        }
        out[n++] = c;
    }
    out[n] = '\0';
    return true;
}

bool http_query(const char *query, const char *key, char *out, size_t size)
{
    size_t name = strlen(key);
    out[0] = '\0';
    for (const char *at = query; *at != '\0';) {
        size_t n = strcspn(at, "&");
        if (n > name && at[name] == '=' && memcmp(at, key, name) == 0) {
            return decode(at + name + 1, n - name - 1, out, size);
        }
        at += n + (at[n] == '&' ? 1 : 0);
    }
    return false;
}

const char *http_reason(int status)
{
    static const struct {
        int status;
        const char *text;
    } names[] = {{200, "OK"}, {303, "See Other"}, {304, "Not Modified"}, {400, "Bad Request"},
        {401, "Unauthorized"}, {403, "Forbidden"}, {404, "Not Found"}, {405, "Method Not Allowed"},
        {408, "Request Timeout"}, {411, "Length Required"}, {413, "Content Too Large"},
        {414, "URI Too Long"}, {415, "Unsupported Media Type"}, {421, "Misdirected Request"},
        {429, "Too Many Requests"}, {431, "Request Header Fields Too Large"},
        {500, "Internal Server Error"}, {503, "Service Unavailable"}, {504, "Gateway Timeout"},
        {505, "HTTP Version Not Supported"}};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (names[i].status == status) {
            return names[i].text;
        }
    }
    return "Error";
}
