/* Any bytes as the head of a request to the page: it is understood or refused, within its bounds.
 */
#include "fuzz_help.h"

#include "daemon/page_door.h"
#include "daemon/page_http.h"

static void texts_end(const struct http_request *r)
{
    const char *const texts[] = {
        r->host, r->origin, r->type, r->etag, r->last_id, r->cookie, r->site, r->mode, r->path};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        MUST(memchr(texts[i], '\0', HTTP_VALUE_MAX) != NULL && strpbrk(texts[i], "\r\n") == NULL);
    MUST(memchr(r->query, '\0', HTTP_QUERY_MAX) != NULL);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct http_request r;
    char value[64];
    const char *bytes = (const char *) data;
    size_t head = size > 0 ? http_head_length(bytes, size) : 0;
    MUST(head <= size);
    if (head == 0)
        return 0;
    int status = http_parse(bytes, head, &r);
    MUST(status == 0 || (status >= 400 && status <= 505));
    texts_end(&r);
    if (status != 0)
        return 0;
    MUST(r.path[0] == '/' && r.host[0] != '\0');
    MUST(r.method == HTTP_POST ? r.has_length : r.length == 0);
    if (http_query(r.query, "q", value, sizeof value))
        MUST(strlen(value) < sizeof value);
    door_host(r.host, "127.0.0.1", 8480, true);
    door_origin(r.origin, r.host);
    door_json(r.type);
    return 0;
}
