/*
 * Gather what a printed report says: findings, who came past, how devices read and stay.
 */
#include "report/sheet_data.h"

#include <stdlib.h>
#include <string.h>

static void keep(const struct lm_finding *f, void *ctx)
{
    struct lm_printed *p = ctx;
    if (p->n == p->cap) {
        size_t cap = p->cap ? p->cap * 2 : 64;
        void *more = realloc(p->findings, cap * sizeof *p->findings);
        if (!more) {
            p->no_room = true;
            return;
        }
        p->findings = more;
        p->cap = cap;
    }
    p->findings[p->n++] = *f;
    p->reasons[f->reason]++;
    p->asked[lm_reason_kind(f->reason)][f->attention % 3]++;
}

static enum lm_err read_devices(struct lm_printed *p)
{
    struct lm_estimates *e = lm_estimates_new();
    enum lm_err err = e ? lm_estimates_session(e, p->from.store, p->from.row, p->s) : LM_ENOMEM;
    if (!err)
        p->n_read = lm_estimates_readability(e, p->read);
    lm_estimates_free(e);
    return err;
}

static enum lm_err gather(struct lm_printed *p)
{
    enum lm_err err = lm_session_findings(p->s, &p->sum, keep, p);
    if (!err && p->no_room)
        err = LM_ENOMEM;
    if (!err)
        err = lm_store_setting(p->from.store, "holding", p->holding, sizeof p->holding);
    if (!err)
        err = lm_sheet_race(p);
    if (!err)
        err = read_devices(p);
    if (!err && p->from.devices)
        err = lm_retentions_make(
            p->from.store, lm_day_of(p->from.made_ms, 0), p->from.whole, &p->stays);
    return err;
}

enum lm_err lm_printed_make(const struct lm_printed_source *source, struct lm_printed **out)
{
    struct lm_printed *p = calloc(1, sizeof *p);
    *out = NULL;
    if (!p)
        return LM_ENOMEM;
    p->from = *source;
    p->s = source->session;
    p->roll = lm_session_roll(p->s);
    enum lm_err err = gather(p);
    if (err) {
        lm_printed_free(p);
        return err;
    }
    *out = p;
    return LM_OK;
}

void lm_printed_free(struct lm_printed *p)
{
    if (!p)
        return;
    lm_retentions_free(&p->stays);
    free(p->findings);
    free(p);
}
