/** @file page_do.c
 * POST /do: what a page asks for is a request of the control socket, and gets the same answer.
 */
#include "page.h"

#include "daemon.h"
#include "json_memory.h"
#include "lugmark/control.h"
#include "request.h"
#include <event2/buffer.h>
#include <string.h>

struct verb {
    const char *name;
    bool look;                                            /**< changes nothing */
    bool inside;                                          /**< only from this machine itself */
    void (*run)(struct page_conn *c, const json_t *body); /**< NULL: as the control socket does */
};

static const struct verb verbs[] = {{"open", false, false, NULL}, {"saw", false, false, NULL},
    {"head", false, false, NULL}, {"undo", false, false, NULL}, {"close", false, false, NULL},
    {"findings", true, false, NULL}, {"status", true, false, NULL}, {"readers", true, false, NULL},
    {"pair", false, true, NULL}, {"paired", false, true, NULL}, {"unpair", false, true, NULL},
    {"accept", false, false, page_change}, {"reject", false, false, page_change},
    {"undo-register", false, false, page_change}};

/* The exit status of a command says what kind of failure it was; so does this. */
static int status_of(const json_t *answer)
{
    if (json_is_true(json_object_get(answer, "ok"))) {
        return 200;
    }
    return json_integer_value(json_object_get(answer, "exit")) == 4 ? 503 : 400;
}

static void way_answer(struct client *as, json_t *object)
{
    conn_json(as->owner, status_of(object), object);
}

static void way_drop(struct client *as, const char *why)
{
    (void) why;
    conn_drop(as->owner);
}

static void as_client(struct page_conn *c, json_t *body, size_t len)
{
    static const struct client_way way = {.answer = way_answer, .drop = way_drop};
    struct client as = {.d = c->page->d, .way = &way, .owner = c, .looks = c->may != DOOR_ACT};
    if (!request_take(&as, body, len)) {
        conn_refuse(c, 413, "send less", "the request is too long");
    }
}

static void act(struct page_conn *c, json_t *body, size_t len)
{
    const char *name = json_string_value(json_object_get(body, "do"));
    const struct verb *verb = NULL;
    for (size_t i = 0; name != NULL && i < sizeof verbs / sizeof verbs[0]; i++) {
        verb = strcmp(verbs[i].name, name) == 0 ? &verbs[i] : verb;
    }
    if (verb == NULL) {
        conn_fail(c, 400,
            "choose from open saw head undo close findings status readers accept reject "
            "undo-register",
            "no request is called so");
    } else if (verb->inside && !c->inside) {
        conn_fail(c, 403, "do it on the machine at the race", "only that machine itself may do it");
    } else if (!verb->look && c->may != DOOR_ACT) {
        conn_fail(c, 403, "pair this device with lugmarkd --pair",
            "this device may look and change nothing");
    } else if (verb->run != NULL) {
        verb->run(c, body);
    } else {
        as_client(c, body, len);
    }
}

void page_do(struct page_conn *c)
{
    size_t len = evbuffer_get_length(c->body);
    const char *text = len > 0 ? (const char *) evbuffer_pullup(c->body, -1) : "";
    json_t *body = text != NULL ? json_loadb(text, len, JSON_REJECT_DUPLICATES, NULL) : NULL;
    if (text == NULL || (body == NULL && json_memory_ran_out())) {
        conn_no_memory(c);
    } else if (json_is_object(body)) {
        act(c, body, len);
    } else {
        conn_fail(c, 400, "send one JSON object, each key once", "the body is no JSON object");
    }
    json_decref(body);
    evbuffer_drain(c->body, len);
}
