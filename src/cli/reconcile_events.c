/* reconcile: event lines, as programs write them and `export --format events` does. */
#include "reconcile.h"

#include <stdlib.h>

#include "lines.h"

struct lm_reconcile_events {
    FILE *in;
    struct lm_lines lines;
    struct lm_eventline *store;
    struct lm_event ev;
    bool ahead; /* `ev` was read and not yet applied */
};

/* The next event; bad lines are counted and passed over. LM_EAGAIN at the end. */
static enum lm_err next(struct lm_reconcile *r, struct lm_reconcile_events *e)
{
    const char *line;
    size_t len;
    for (;;) {
        struct lm_problem p = {0};
        enum lm_err err = lm_lines_next(&e->lines, &line, &len, &p);
        if (err == LM_OK && lm_line_is_blank(line, len))
            continue;
        if (err == LM_OK && (err = lm_eventline_parse(e->store, line, len, &e->ev, &p)) != LM_OK)
            lm_lines_place(&e->lines, p.column, &p);
        if (err == LM_OK || err == LM_EAGAIN || err == LM_ENOMEM)
            return err;
        lm_problems_add(&p, &r->problems);
    }
}

int lm_reconcile_events_begin(struct lm_reconcile *r, struct lm_reconcile_events **events)
{
    const char *path = lm_arg(r->args, "events"), *name;
    *events = NULL;
    if (path == NULL)
        return LM_EXIT_OK;
    FILE *in = lm_reconcile_file(path, &name);
    if (in == NULL)
        return LM_EXIT_INPUT;
    struct lm_reconcile_events *e = calloc(1, sizeof *e);
    *events = e;
    if (e != NULL) {
        e->in = in;
        e->store = lm_eventline_new();
    }
    if (e == NULL || e->store == NULL ||
        lm_lines_open(&e->lines, in, name, LM_EVENTLINE_MAX) != LM_OK) {
        if (e == NULL)
            lm_reconcile_file_close(in);
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    }
    enum lm_err err = next(r, e);
    e->ahead = err == LM_OK;
    return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory") : LM_EXIT_OK;
}

const struct lm_event *lm_reconcile_events_open(struct lm_reconcile_events *events)
{
    if (events == NULL || !events->ahead || events->ev.kind != LM_EVENT_OPEN)
        return NULL;
    events->ahead = false;
    return &events->ev;
}

int lm_reconcile_events_rest(struct lm_reconcile *r, struct lm_reconcile_events *events)
{
    enum lm_err err = LM_OK;
    if (events == NULL)
        return LM_EXIT_OK;
    if (!events->ahead)
        err = next(r, events);
    for (; err == LM_OK; err = next(r, events)) {
        /* The count was made before the close, wherever it was written down. */
        if (events->ev.kind == LM_EVENT_CLOSE)
            err = lm_reconcile_heads(r);
        if (err == LM_OK)
            err = lm_reconcile_apply(&events->ev, events->lines.name, events->lines.line, r);
        if (err != LM_OK)
            break;
    }
    events->ahead = false;
    return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory") : LM_EXIT_OK;
}

void lm_reconcile_events_end(struct lm_reconcile_events *events)
{
    if (events == NULL)
        return;
    lm_lines_close(&events->lines);
    lm_eventline_free(events->store);
    lm_reconcile_file_close(events->in);
    free(events);
}
