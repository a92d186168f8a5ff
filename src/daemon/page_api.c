/** @file page_api.c
 * Looking for animals in memory, in slices: a big register must not hold the race up.
 */
#include "page.h"

#include "daemon.h"
#include "page_match.h"
#include "should.h"
#include "verdict_json.h"
#include <stdlib.h>
#include <string.h>

#define SLICE 2048u
#define LIMIT_DEFAULT 20u
#define LIMIT_FIND 50u

struct page_scan {
    bool all;      /**< the whole register; else who is expected and not yet seen */
    uint32_t next; /**< animal to look at */
    unsigned total;
    struct match_best best;
};

void page_scan_end(struct page_conn *c)
{
    free(c->scan);
    c->scan = NULL;
}

static json_t *list_of(const struct page_conn *c)
{
    const struct fold *f = &c->page->d->fold;
    json_t *out = json_array();
    for (size_t i = 0; i < c->scan->best.n; i++) {
        json_array_append_new(
            out, should_add(animal_json(f->roll, c->scan->best.all[i].animal), f));
    }
    return out;
}

static void finish(struct page_conn *c)
{
    json_t *out = json_pack(
        "{s:b, s:I, s:o}", "ok", 1, "total", (json_int_t) c->scan->total, "animals", list_of(c));
    page_scan_end(c);
    conn_json(c, 200, out);
}

static void step(struct page_conn *c)
{
    struct page_scan *s = c->scan;
    const struct fold *f = &c->page->d->fold;
    uint32_t n = s->all || f->session != NULL ? lm_roll_animals(f->roll) : 0;
    uint32_t stop = n - s->next > SLICE ? s->next + SLICE : n;
    for (; s->next < stop; s->next++) {
        bool wanted = s->all || (lm_roll_animal(f->roll, s->next).expected &&
                                    !lm_session_seen(f->session, s->next));
        if (wanted && match_animal(&s->best, f->roll, s->next, s->all)) {
            s->total++;
        }
    }
    if (s->next < n) {
        conn_queue(c, step);
    } else {
        finish(c);
    }
}

static void begin(struct page_conn *c, bool all, unsigned limit)
{
    char q[LM_VISUAL_MAX + 1] = "";
    const char *query = c->request.query;
    if (!http_query(query, "q", q, sizeof q) &&
        (strncmp(query, "q=", 2) == 0 || strstr(query, "&q=") != NULL)) {
        conn_fail(c, 400, "shorten it", "q is longer than a number can be, or badly written");
        return;
    }
    c->scan = calloc(1, sizeof *c->scan);
    if (c->scan == NULL) {
        conn_no_memory(c);
        return;
    }
    c->scan->all = all;
    match_begin(&c->scan->best, q, limit);
    step(c);
}

void page_not_seen(struct page_conn *c)
{
    char text[8];
    unsigned limit = LIMIT_DEFAULT;
    if (http_query(c->request.query, "limit", text, sizeof text)) {
        size_t n = strspn(text, "0123456789");
        unsigned long given = strtoul(text, NULL, 10);
        if (n == 0 || text[n] != '\0' || given < 1) {
            conn_fail(c, 400, "write limit=20", "limit is no number");
            return;
        }
        limit = given < MATCH_MAX ? (unsigned) given : MATCH_MAX;
    }
    begin(c, false, limit);
}

void page_find(struct page_conn *c)
{
    begin(c, true, LIMIT_FIND);
}
