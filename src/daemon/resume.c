#include "resume.h"

#include "daemon.h"
#include "lugmark/control.h"
#include "should.h"
#include "verdict_json.h"
#include <stdlib.h>

#define PIECE (LM_CONTROL_QUEUE_MAX / 4)

struct resume {
    struct scratch scratch;
    int64_t after; /**< the client has everything up to here */
};

/* The session to tell of: the open one, or the last one when it has something new. */
static enum lm_err find_session(struct daemon *d, int64_t after, struct lm_store_session *row)
{
    if (d->fold.session != NULL) {
        *row = d->fold.row;
        return d->fold.last_seq > after ? LM_OK : LM_ENOTFOUND;
    }
    enum lm_err err = lm_store_session(d->store, 0, row);
    if (err == LM_OK && row->last_seq <= after) {
        return LM_ENOTFOUND;
    }
    return err;
}

enum lm_err resume_begin(struct client *c, int64_t after)
{
    struct daemon *d = c->d;
    struct lm_store_session row;
    enum lm_err err = find_session(d, after, &row);
    if (err != LM_OK) {
        return err == LM_ENOTFOUND ? LM_OK : err;
    }
    if (d->resumes >= RESUMES) {
        return LM_EBUSY;
    }
    struct resume *r = calloc(1, sizeof *r);
    err = r == NULL ? LM_ENOMEM : scratch_begin(&r->scratch, d->store, &row);
    if (err != LM_OK) {
        free(r);
        return err;
    }
    r->after = after;
    c->resume = r;
    d->resumes++;
    return LM_OK;
}

void resume_end(struct client *c)
{
    if (c->resume != NULL) {
        scratch_end(&c->resume->scratch);
        free(c->resume);
        c->resume = NULL;
        c->d->resumes--;
    }
}

static enum lm_err tell(const struct lm_event *ev, const struct lm_verdict *verdict, void *ctx)
{
    struct client *c = ctx;
    struct resume *r = c->resume;
    if (ev->seq > r->after) {
        json_t *object =
            should_add(event_json(r->scratch.session, &r->scratch.row, ev, verdict), &c->d->fold);
        size_t len = 0;
        char *line = object != NULL ? publish_line(object, &len) : NULL;
        json_decref(object);
        if (line != NULL) {
            client_write(c, line, len, ev->seq);
        }
        free(line);
        r->after = ev->seq;
    }
    return c->gone || client_queued(c) > PIECE ? LM_EAGAIN : LM_OK;
}

void resume_step(struct client *c)
{
    struct daemon *d = c->d;
    struct resume *r = c->resume;
    if (c->gone || client_queued(c) > PIECE || !journal_calm(&d->journal)) {
        return;
    }
    /* Up to date first, so that the end of the journal is where the live stream stands. */
    journal_flush(&d->journal);
    journal_catch_up(&d->journal);
    enum lm_err err = scratch_run(&r->scratch, d->store, tell, c);
    if (err == LM_EAGAIN) {
        return; /* on_written() comes back */
    }
    int64_t told = r->scratch.pos;
    int64_t session = r->scratch.row.id;
    int64_t after = r->after > told ? r->after : told;
    resume_end(c);
    if (err == LM_OK && d->fold.session != NULL && d->fold.row.id != session) {
        err = resume_begin(c, after); /* another one began while this one was told */
        if (err == LM_OK && c->resume != NULL) {
            resume_step(c);
        }
    }
    if (err != LM_OK) {
        client_drop(c, "it could not be told what it missed");
    }
}
