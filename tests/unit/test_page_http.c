/* The head of an HTTP request. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/page_http.h"

#define H "Host: 127.0.0.1:8480\r\n"

/* In memory of its own size, so that a byte too far is seen. */
static int parse(const char *text, struct http_request *r)
{
    size_t len = strlen(text);
    char *copy = malloc(len);
    assert_non_null(copy);
    memcpy(copy, text, len);
    size_t head = http_head_length(copy, len);
    assert_int_equal(head, len);
    int status = http_parse(copy, head, r);
    free(copy);
    return status;
}

static void test_good(void **state)
{
    struct http_request r;
    (void) state;
    assert_int_equal(parse("GET /api/find?q=a%20b&x=1 HTTP/1.1\r\n" H "\r\n", &r), 0);
    assert_int_equal(r.method, HTTP_GET);
    assert_string_equal(r.path, "/api/find");
    assert_string_equal(r.query, "q=a%20b&x=1");
    assert_string_equal(r.host, "127.0.0.1:8480");
    assert_false(r.close);
    assert_int_equal(parse("HEAD / HTTP/1.0\r\nhOST:\t x \t\r\nCONNECTION: Close\r\n\r\n", &r), 0);
    assert_int_equal(r.method, HTTP_HEAD);
    assert_string_equal(r.host, "x");
    assert_true(r.close);
    assert_int_equal(parse("POST /do HTTP/1.1\r\n" H "Content-Length: 12\r\n"
                           "Content-Type: application/json\r\nOrigin: http://a\r\n"
                           "If-None-Match: \"x\"\r\nLast-Event-ID: 77\r\nExpect: 100-Continue\r\n"
                           "Sec-Fetch-Site: same-origin\r\nSec-Fetch-Mode: cors\r\n"
                           "Cookie: a=1; lugmark=abc; b=2\r\nX-Else: ; :\r\n\r\n",
                         &r),
        0);
    assert_int_equal(r.length, 12);
    assert_string_equal(r.type, "application/json");
    assert_string_equal(r.origin, "http://a");
    assert_string_equal(r.etag, "\"x\"");
    assert_string_equal(r.last_id, "77");
    assert_string_equal(r.cookie, "abc");
    assert_string_equal(r.site, "same-origin");
    assert_string_equal(r.mode, "cors");
    assert_true(r.expects);
}

static void test_bad(void **state)
{
    static const struct {
        int status;
        const char *text;
    } bad[] = {
        {400, "GET / HTTP/1.1\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\nHost:\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H H "\r\n"},
        {400, "GET / HTTP/1.1\r\n" H " folded: x\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "\tfolded\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "Name : x\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H ": x\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "x\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "X: a\nEvil: b\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "X: a\rb\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "X: \x7f\r\n\r\n"},
        {400, "GET /a b HTTP/1.1\r\n" H "\r\n"},
        {400, "GET /#a HTTP/1.1\r\n" H "\r\n"},
        {400, "GET a HTTP/1.1\r\n" H "\r\n"},
        {400, "GET ?a HTTP/1.1\r\n" H "\r\n"},
        {400, "GET * HTTP/1.1\r\n" H "\r\n"},
        {400, "GET http://a/ HTTP/1.1\r\n" H "\r\n"},
        {400, "GET /\r\n" H "\r\n"},
        {400, " GET / HTTP/1.1\r\n" H "\r\n"},
        {400, "GET / http/1.1\r\n" H "\r\n"},
        {400, "GET / HTTP/1.10\r\n" H "\r\n"},
        {400, "G(T / HTTP/1.1\r\n" H "\r\n"},
        {400, "\r\n\r\n"},
        {400, "GET / HTTP/1.1\r\n" H "Content-Length: 1\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length: 1\r\nContent-Length: 1\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length: 1, 1\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length: +1\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length: 0x10\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length:\r\n\r\n"},
        {400, "POST / HTTP/1.1\r\n" H "Content-Length: 1\r\nOrigin: a\r\nOrigin: b\r\n\r\n"},
        {405, "PUT / HTTP/1.1\r\n" H "\r\n"},
        {405, "get / HTTP/1.1\r\n" H "\r\n"},
        {411, "POST / HTTP/1.1\r\n" H "\r\n"},
        {411, "POST / HTTP/1.1\r\n" H "Transfer-Encoding: chunked\r\n\r\n"},
        {411, "GET / HTTP/1.1\r\n" H "Transfer-Encoding: identity\r\n\r\n"},
        {413, "POST / HTTP/1.1\r\n" H "Content-Length: 18446744073709551617\r\n\r\n"},
        {505, "GET / HTTP/2.0\r\n" H "\r\n"},
        {505, "GET / HTTP/0.9\r\n" H "\r\n"},
    };
    (void) state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct http_request r;
        if (parse(bad[i].text, &r) != bad[i].status) {
            fail_msg("not %d: %s", bad[i].status, bad[i].text);
        }
    }
}

static void test_long(void **state)
{
    char text[8000], many[4000];
    struct http_request r;
    (void) state;
    memset(many, 'a', sizeof many);
    many[sizeof many - 1] = '\0';
    snprintf(text, sizeof text, "GET /%s HTTP/1.1\r\n" H "\r\n", many);
    assert_int_equal(parse(text, &r), 414);
    snprintf(text, sizeof text, "GET /?%s HTTP/1.1\r\n" H "\r\n", many);
    assert_int_equal(parse(text, &r), 414);
    snprintf(text, sizeof text, "GET / HTTP/1.1\r\nHost: %s\r\n\r\n", many);
    assert_int_equal(parse(text, &r), 431);
    snprintf(text, sizeof text, "GET / HTTP/1.1\r\n" H "Cookie: lugmark=%s\r\n\r\n", many);
    assert_int_equal(parse(text, &r), 0);
    assert_string_equal(r.cookie, "");
    snprintf(text, sizeof text, "GET / HTTP/1.1\r\n" H "Other: %s\r\n\r\n", many);
    assert_int_equal(parse(text, &r), 0);
}

/* Of two cookies of our name one was put there by somebody else: neither counts. */
static void test_cookies(void **state)
{
    static const char *const cases[][2] = {{"lugmark=a", "a"}, {"lugmark=", ""}, {"xlugmark=a", ""},
        {"lugmarkx=a", ""}, {"a=lugmark=b", ""}, {"lugmark=a; lugmark=b", ""},
        {"lugmark=a;lugmark=a", ""}, {" ;; lugmark=a;", "a"}, {"LUGMARK=a", ""}, {";", ""},
        {"lugmark=a\r\nCookie: lugmark=b", ""}, {"b=1\r\nCookie: lugmark=a", "a"}};
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[400];
        struct http_request r;
        snprintf(text, sizeof text, "GET / HTTP/1.1\r\n" H "Cookie: %s\r\n\r\n", cases[i][0]);
        assert_int_equal(parse(text, &r), 0);
        assert_string_equal(r.cookie, cases[i][1]);
    }
}

static void test_query(void **state)
{
    static const struct {
        const char *query, *key;
        int there;
        const char *value;
    } cases[] = {{"q=04", "q", 1, "04"}, {"a=1&q=x+y%21", "q", 1, "x y!"}, {"q=", "q", 1, ""},
        {"aq=1", "q", 0, ""}, {"", "q", 0, ""}, {"q", "q", 0, ""}, {"q=%", "q", 0, ""},
        {"q=%4", "q", 0, ""}, {"q=%zz", "q", 0, ""}, {"q=%00", "q", 0, ""},
        {"q=1&q=2", "q", 1, "1"}, {"&&q=1", "q", 1, "1"}, {"q=%e2%80%a6", "q", 1, "\u2026"},
        {"q=%3Cb%3E", "q", 1, "<b>"}, {"q=12345678", "q", 0, ""}, {"q=1234567", "q", 1, "1234567"}};
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[8];
        assert_int_equal(http_query(cases[i].query, cases[i].key, out, sizeof out), cases[i].there);
        if (cases[i].there) {
            assert_string_equal(out, cases[i].value);
        }
    }
}

static void test_head_length(void **state)
{
    (void) state;
    assert_int_equal(http_head_length("", 0), 0);
    assert_int_equal(http_head_length("GET / HTTP/1.1\r\n\r", 17), 0);
    assert_int_equal(http_head_length("a\r\n\r\nrest", 9), 5);
    assert_int_equal(http_head_length("a\n\nrest", 7), 0);
}

/* Whatever the bytes are, it says yes or no and writes nowhere else. */
static void test_any_bytes(void **state)
{
    static const char seed[] =
        "POST /do?q=1 HTTP/1.1\r\n" H "Content-Length: 12\r\nCookie: lugmark=a; "
        "b=1\r\nOrigin: http://a\r\nExpect: 100-continue\r\n\r\n";
    uint32_t random = 12345;
    (void) state;
    for (int i = 0; i < 20000; i++) {
        struct http_request r;
        size_t len = sizeof seed - 1;
        char *copy = malloc(len);
        assert_non_null(copy);
        memcpy(copy, seed, len);
        for (int k = 0; k < 3; k++) {
            random = random * 1664525u + 1013904223u;
            copy[(random >> 8) % len] = (char) (random >> 24);
        }
        size_t head = http_head_length(copy, len);
        int status = head > 0 ? http_parse(copy, head, &r) : 400;
        assert_true(status == 0 || (status >= 400 && status <= 505));
        free(copy);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good),
        cmocka_unit_test(test_bad),
        cmocka_unit_test(test_long),
        cmocka_unit_test(test_cookies),
        cmocka_unit_test(test_query),
        cmocka_unit_test(test_head_length),
        cmocka_unit_test(test_any_bytes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
