/** @file page_pair.c
 * Pairing: POST /pair on the page's side, the requests pair, paired and unpair on the keeper's.
 */
#include "page.h"

#include "clock.h"
#include "daemon.h"
#include "json_memory.h"
#include "log.h"
#include "page_qr.h"
#include "request.h"
#include "verdict_json.h"
#include <event2/buffer.h>
#include <stdlib.h>
#include <string.h>

#define COOKIE_AGE_S 31536000 /* a year: the telephone of last year's count still knows the way */

static void paired(struct page_conn *c, const struct door_device *d, const char *cookie)
{
    char more[256];
    size_t len = 0;
    snprintf(more, sizeof more,
        "Set-Cookie: " HTTP_COOKIE "=%s; HttpOnly; SameSite=Strict; Path=/; Max-Age=%d\r\n", cookie,
        COOKIE_AGE_S);
    log_at(LOG_LEVEL_NOTICE, "page", "%s was paired from %s; it may %s", d->name, d->from,
        door_may_name(d->may));
    json_t *out =
        json_pack("{s:b, s:s, s:s}", "ok", 1, "may", door_may_name(d->may), "name", d->name);
    char *line = out != NULL ? publish_line(out, &len) : NULL;
    struct evbuffer *body = evbuffer_new();
    json_decref(out);
    if (line == NULL || body == NULL || evbuffer_add(body, line, len) != 0) {
        conn_no_memory(c);
    } else {
        conn_answer(c, 200, "application/json; charset=utf-8", more, body);
    }
    if (body != NULL) {
        evbuffer_free(body);
    }
    free(line);
}

static void guess(struct page_conn *c, const char *secret, const char *name)
{
    char cookie[DOOR_COOKIE_HEX + 1];
    static const char again[] = "on the machine at the race run: lugmarkd --pair";
    const struct door_device *device = NULL;
    struct doors *s = &c->page->doors;
    switch (doors_pair(s, secret, name, c->peer, clock_steady_ms(), cookie, &device)) {
    case GUESS_RIGHT:
        paired(c, device, cookie);
        break;
    case GUESS_WRONG:
        conn_fail(c, 403, s->offer == DOOR_NOTHING ? again : "look at it again",
            "this is not the secret");
        break;
    case GUESS_NONE:
        conn_fail(c, 403, again, "no secret waits: it was used, or it is too old");
        break;
    case GUESS_TOO_MANY:
        conn_fail(c, 429, "wait a minute", "too many wrong secrets came from this device");
        break;
    case GUESS_FULL:
        conn_fail(c, 503, "forget one with lugmarkd --unpair NAME", "too many devices are paired");
        break;
    case GUESS_FAILED:
        conn_fail(c, 503, "free space on the disk and try again", "the pairing could not be kept");
        break;
    }
}

void page_pair(struct page_conn *c)
{
    size_t len = evbuffer_get_length(c->body);
    const char *text = len > 0 ? (const char *) evbuffer_pullup(c->body, -1) : "";
    json_t *body = text != NULL ? json_loadb(text, len, JSON_REJECT_DUPLICATES, NULL) : NULL;
    const char *secret = json_string_value(json_object_get(body, "secret"));
    const char *name = json_string_value(json_object_get(body, "name"));
    if (text == NULL || (body == NULL && json_memory_ran_out())) {
        conn_no_memory(c);
    } else if (secret == NULL) {
        conn_fail(c, 400, "send {\"secret\":\"...\"}", "there is no secret in it");
    } else {
        guess(c, secret, name != NULL ? name : "");
    }
    json_decref(body);
    evbuffer_drain(c->body, len);
}

/* --- the keeper's side --- */

static void fail(struct request *r, const char *mend, const char *what)
{
    struct lm_problem p = {.err = LM_OK};
    lm_problem_set(&p, LM_EIO, mend, "%s", what);
    request_fail(r, &p);
}

static enum door_may wanted(struct request *r)
{
    char word[16];
    struct lm_problem p = {.err = LM_OK};
    if (!request_text(r, "may", word, sizeof word)) {
        return DOOR_NOTHING;
    }
    if (word[0] == '\0' || strcmp(word, "act") == 0) {
        return DOOR_ACT;
    }
    if (strcmp(word, "look") == 0) {
        return DOOR_LOOK;
    }
    lm_problem_set(&p, LM_EARG, "choose from act, look", "a device may act or look");
    request_fail(r, &p);
    return DOOR_NOTHING;
}

static void offer(struct request *r, struct page *p, enum door_may may)
{
    char secret[DOOR_SECRET_MAX], at[PAGE_URL_MAX], url[2 * PAGE_URL_MAX];
    if (doors_offer(&p->doors, may, clock_steady_ms(), secret) != LM_OK) {
        fail(r, "try again", "the system gives no random bytes");
        return;
    }
    page_listen(p);
    if (page_lan_address(p, at)[0] == '\0') {
        fail(r, "join a network, or name an address: [page] lan = 192.168.1.5",
            "no address is there that another device could use");
        return;
    }
    snprintf(url, sizeof url, "http://%s/pair#%s", at, secret);
    log_at(LOG_LEVEL_NOTICE, "page", "a device may be paired for the next ten minutes, to %s",
        door_may_name(may));
    request_ok(r, json_pack("{s:s, s:s, s:o, s:s, s:o}", "url", url, "secret", secret, "until",
                      time_json(clock_wall_ms() + DOOR_SECRET_MS), "may", door_may_name(may), "qr",
                      qr_json(url)));
}

void request_pair(struct request *r)
{
    struct page *p = &r->d->page;
    char url[PAGE_URL_MAX];
    if (p->d == NULL || page_url(p, url)[0] == '\0') {
        fail(r, p->problem.err != LM_OK ? p->problem.mend : "[page] listen = 127.0.0.1:8480",
            p->problem.err != LM_OK ? p->problem.what : "the configuration says: no page");
        return;
    }
    if (strcmp(r->d->config->page_lan, "off") == 0) {
        fail(r, "take the line [page] lan = off out of it",
            "the configuration keeps other devices out");
        return;
    }
    enum door_may may = wanted(r);
    if (may != DOOR_NOTHING) {
        offer(r, p, may);
    }
}

void request_paired(struct request *r)
{
    json_t *list = json_array();
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        const struct door_device *d = &r->d->page.doors.devices[i];
        if (d->number != 0) {
            json_array_append_new(list,
                json_pack("{s:s, s:s, s:s, s:o}", "name", d->name, "may", door_may_name(d->may),
                    "from", d->from, "paired", time_json(d->paired_ms)));
        }
    }
    request_ok(r, json_pack("{s:o}", "paired", list));
}

/* Who is paired no longer is shown out at once. */
static void show_out(struct page *p)
{
    for (struct page_conn *c = p->conns; c != NULL; c = c->next) {
        bool known = c->device == 0;
        for (size_t i = 0; i < DOOR_DEVICES; i++) {
            known = known || p->doors.devices[i].number == c->device;
        }
        if (!known) {
            conn_drop(c);
        }
    }
}

void request_unpair(struct request *r)
{
    char name[LM_NAME_MAX + 1];
    struct lm_problem p = {.err = LM_OK};
    struct page *page = &r->d->page;
    if (!request_text(r, "name", name, sizeof name)) {
        return;
    }
    int n = name[0] != '\0' ? doors_forget(&page->doors, name) : 0;
    if (n < 0) {
        fail(r, "free space on the disk and try again", "it could not be written down");
        return;
    }
    if (n == 0 && strcmp(name, "all") != 0) {
        lm_problem_set(&p, LM_EARG, "see lugmarkd --paired", "no paired device is called so");
        request_fail(r, &p);
        return;
    }
    if (page->d != NULL) {
        if (strcmp(name, "all") == 0) {
            page->doors.offer = DOOR_NOTHING;
        }
        show_out(page);
        page_listen(page);
    }
    request_ok(r, json_pack("{s:i}", "forgotten", n));
}
