/** @file page_events.c
 * Server-sent events: what the race says, as it happens, and what a page missed.
 */
#include "page.h"

#include "daemon.h"
#include "lugmark/control.h"
#include "lugmark/version.h"
#include "resume.h"
#include "verdict_json.h"
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <stdlib.h>
#include <string.h>

#define PIECE (LM_CONTROL_QUEUE_MAX / 4)
#define RETRY_MS 1000 /* a browser that lost us tries again so soon */

static size_t queued(const struct page_conn *c)
{
    return evbuffer_get_length(bufferevent_get_output(c->bev));
}

/* One line as one message. What the journal keeps bears its place, and comes once. */
static void tell(struct page_conn *c, const char *line, size_t len, int64_t seq)
{
    struct evbuffer *out = bufferevent_get_output(c->bev);
    if (c->gone || (seq != 0 && seq <= c->told)) {
        return;
    }
    if (queued(c) + len > LM_CONTROL_QUEUE_MAX) {
        conn_drop(c); /* it comes back, and gets what it missed */
        return;
    }
    bool good = true;
    if (seq != 0) {
        c->told = seq;
        good = evbuffer_add_printf(out, "id: %lld\n", (long long) seq) > 0;
    }
    good = good && evbuffer_add(out, "data: ", 6) == 0 && evbuffer_add(out, line, len) == 0 &&
           evbuffer_add(out, "\n", 1) == 0;
    if (!good) {
        conn_no_memory(c);
    }
}

static void on_line(const char *line, size_t len, int64_t seq, void *ctx)
{
    struct page_conn *c = ctx;
    if (line == NULL) {
        conn_drop(c); /* it comes back, and gets what it missed */
    } else if ((c->as.resume == NULL && !c->behind) || seq == 0) {
        tell(c, line, len, seq);
    }
}

static size_t is_behind(void *ctx)
{
    return queued(ctx);
}

static void way_line(struct client *as, const char *line, size_t len, int64_t seq)
{
    tell(as->owner, line, len, seq);
}

static size_t way_queued(const struct client *as)
{
    return queued(as->owner);
}

static void way_drop(struct client *as, const char *why)
{
    (void) why;
    conn_drop(as->owner);
}

static json_t *readers(const struct daemon *d)
{
    json_t *list = json_array();
    for (size_t i = 0; i < d->readers.n; i++) {
        json_array_append_new(list, reader_json(&d->readers.all[i], false));
    }
    return list;
}

static json_t *lanes(const struct config *config)
{
    const char *names[CONFIG_LANES + CONFIG_READERS];
    size_t n = config_lane_names(config, names);
    json_t *out = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(out, json_string(names[i]));
    }
    return out;
}

/* The first message. Its id is where the stream begins: who is cut off behind it resumes there. */
static void hello(struct page_conn *c)
{
    const struct daemon *d = c->page->d;
    const struct journal *j = &d->journal;
    json_t *out = json_pack("{s:s, s:s, s:s, s:s, s:o, s:o, s:I, s:o}", "event", "hello", "schema",
        LM_CONTROL_SCHEMA, "version", LM_VERSION, "may", door_may_name(c->may), "session",
        d->fold.session != NULL ? session_json(&d->fold.row) : json_null(), "tally",
        tally_json(d->fold.session), "last_seq", (json_int_t) d->fold.last_seq, "readers",
        readers(d));
    if (out != NULL) {
        json_object_set_new(out, "journal", json_string(j->failed ? "failed" : "well"));
        json_object_set_new(out, "problem", j->failed ? json_string(j->problem.what) : json_null());
        json_object_set_new(out, "holding",
            json_pack("{s:s, s:s, s:s}", "name", d->config->holding_name, "number",
                d->config->holding_number, "keeper", d->config->holding_keeper));
        json_object_set_new(out, "lanes", lanes(d->config));
    }
    size_t len = 0;
    char *line = out != NULL ? publish_line(out, &len) : NULL;
    json_decref(out);
    if (line == NULL || evbuffer_add_printf(bufferevent_get_output(c->bev), "retry: %d\nid: %lld\n",
                            RETRY_MS, (long long) c->told) < 0) {
        conn_no_memory(c);
    } else {
        tell(c, line, len, 0);
    }
    free(line);
}

/* Where it left off: the header that a browser sends by itself is newer than the address. -1: none
 */
static int64_t left_off(const struct page_conn *c)
{
    char text[24];
    const char *from = c->request.last_id;
    if (from[0] == '\0') {
        if (!http_query(c->request.query, "after", text, sizeof text)) {
            return -1;
        }
        from = text;
    }
    size_t n = strspn(from, "0123456789");
    return n == 0 || n > 18 || from[n] != '\0' ? -1 : strtoll(from, NULL, 10);
}

/* The first line of the ring behind a place. */
static size_t place_in(const struct page_ring *ring, int64_t told)
{
    size_t low = 0, high = ring->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (ring_at(ring, middle)->seq <= told) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/*
 * What it missed, as fast as it takes it: from memory where that goes back so far, else by folding
 * the session again. Until it has all of it nothing of the journal is sent to it live.
 */
static bool catch_up(struct page_conn *c)
{
    const struct page_ring *ring = &c->page->ring;
    const struct fold *f = &c->page->d->fold;
    if (c->told < ring->from && f->row.first_seq > ring->from) {
        c->told = f->row.first_seq - 1; /* of sessions before this one nothing is told again */
    }
    if (c->told < ring->from) {
        c->behind = false;
        return resume_begin(&c->as, c->told) == LM_OK;
    }
    size_t i = place_in(ring, c->told);
    for (; i < ring->n && !c->gone && queued(c) < PIECE; i++) {
        const struct ring_line *l = ring_at(ring, i);
        tell(c, l->text, l->len, l->seq);
    }
    c->behind = i < ring->n;
    return true;
}

static void follow(struct page_conn *c)
{
    static const struct client_way way = {.line = way_line, .queued = way_queued, .drop = way_drop};
    struct daemon *d = c->page->d;
    int64_t after = left_off(c);
    bool resumes = after >= 0 && after < d->fold.last_seq;
    c->told = resumes ? after : d->fold.last_seq;
    c->as = (struct client){.d = d, .way = &way, .owner = c};
    conn_stream_head(c);
    c->state = CONN_STREAM;
    hello(c);
    if (c->gone) {
        return;
    }
    c->following = publish_add(&d->publisher, on_line, is_behind, c);
    if (!c->following || (resumes && !catch_up(c))) {
        c->request.close = true; /* the browser tries again in a second */
        c->state = CONN_ANSWER;
        page_events_end(c);
    } else if (c->as.resume != NULL) {
        resume_step(&c->as);
    }
}

void page_events(struct page_conn *c)
{
    if (c->request.method == HTTP_HEAD) {
        conn_answer(c, 200, "text/event-stream; charset=utf-8", "", NULL);
        return;
    }
    follow(c);
}

void page_events_end(struct page_conn *c)
{
    if (c->following) {
        publish_remove(&c->page->d->publisher, on_line, c);
        c->following = false;
    }
    c->as.gone = true; /* what it was being told is let go when nobody is in the middle of it */
}

void page_events_written(struct page_conn *c)
{
    if (c->as.resume == NULL && c->behind && !catch_up(c)) {
        conn_drop(c); /* it was so slow that memory went on without it, and others are served */
    } else if (c->as.resume != NULL) {
        resume_step(&c->as);
    }
}

void page_wake(struct page *p)
{
    for (struct page_conn *c = p->conns; c != NULL; c = c->next) {
        if (!c->gone && c->as.resume != NULL) {
            bufferevent_trigger(
                c->bev, EV_WRITE, BEV_TRIG_IGNORE_WATERMARKS | BEV_TRIG_DEFER_CALLBACKS);
        }
    }
}

void page_beat(struct page *p)
{
    static const char beat[] = "{\"event\":\"beat\"}\n";
    for (struct page_conn *c = p->conns; c != NULL; c = c->next) {
        if (!c->gone && c->state == CONN_STREAM) {
            tell(c, beat, sizeof beat - 1, 0);
        }
    }
}
