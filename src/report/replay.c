#include "lugmark/report.h"

#include <string.h>

static enum lm_err put_record(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static enum lm_err fold_event(const struct lm_event *ev, void *ctx)
{
    struct lm_replay *r = ctx;
    enum lm_err err = lm_session_apply(r->session, ev, NULL);
    if (ev->seq > r->last_seq)
        r->last_seq = ev->seq;
    if (ev->clock_ms != LM_TIME_NONE)
        r->last_clock_ms = ev->clock_ms;
    /* what could not be applied live was never journaled; be as lenient as the first time */
    return err == LM_EARG ? LM_OK : err;
}

enum lm_err lm_replay_session(struct lm_store *store, const struct lm_store_session *s,
    const struct lm_session_options *options, struct lm_replay *out)
{
    memset(out, 0, sizeof *out);
    out->last_clock_ms = LM_TIME_NONE;
    out->roll = lm_roll_new();
    if (!out->roll)
        return LM_ENOMEM;
    enum lm_err err = lm_store_each_at(store, s->first_seq, put_record, out->roll);
    if (!err) {
        out->session = lm_session_new(out->roll, options);
        err = out->session ? lm_store_events(store, s->id, 0, fold_event, out) : LM_ENOMEM;
    }
    if (err)
        lm_replay_free(out);
    return err;
}

void lm_replay_free(struct lm_replay *replay)
{
    lm_session_free(replay->session);
    lm_roll_free(replay->roll);
    memset(replay, 0, sizeof *replay);
}
