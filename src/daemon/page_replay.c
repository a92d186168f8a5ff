/** @file page_replay.c
 * At the start the open session is told to the ring once: a page that was left open over the
 * restart then gets what it missed from memory, and the register need not be copied while animals
 * pass.
 */
#include "page.h"

#include "daemon.h"
#include "log.h"
#include "should.h"
#include "verdict_json.h"
#include <stdlib.h>

struct replay {
    struct page *page;
    struct scratch scratch;
};

static enum lm_err keep(const struct lm_event *ev, const struct lm_verdict *verdict, void *ctx)
{
    struct replay *r = ctx;
    size_t len = 0;
    json_t *object =
        should_add(event_json(r->scratch.session, &r->scratch.row, ev, verdict), &r->page->d->fold);
    char *line = object != NULL ? publish_line(object, &len) : NULL;
    json_decref(object);
    if (line == NULL) {
        return LM_ENOMEM;
    }
    ring_put(&r->page->ring, line, len, ev->seq);
    free(line);
    return LM_OK;
}

void page_replay(struct page *p)
{
    struct daemon *d = p->d;
    struct replay r = {.page = p};
    if (d->fold.session == NULL) {
        return;
    }
    p->ring.from = d->fold.row.first_seq - 1;
    enum lm_err err = scratch_begin(&r.scratch, d->store, &d->fold.row);
    if (err == LM_OK) {
        err = scratch_run(&r.scratch, d->store, keep, &r);
        scratch_end(&r.scratch);
    }
    if (err != LM_OK) {
        log_at(LOG_LEVEL_WARNING, "page", "the session so far is not in memory for pages: %s",
            lm_err_str(err));
        p->ring.from = d->fold.last_seq;
    }
}
