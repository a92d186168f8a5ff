/*
 * Who came past when, and how often each was read in one pass: the session folded once more, with
 * its verdicts this time.
 */
#include "report/sheet_data.h"

#include <stdlib.h>
#include <string.h>

/** One reading or call that told who it was. */
struct sign {
    uint64_t who; /**< the animal, or a stranger's code */
    uint32_t order;
    uint8_t attention;
    bool new_pass, reading, undone;
    int64_t t;
};

/** One animal coming past. */
struct past {
    uint32_t order, readings;
    uint8_t attention;
    int64_t t;
};

struct folding {
    struct lm_roll *roll;
    struct lm_session *session;
    struct sign *signs;
    size_t n, cap;
    uint32_t *acts; /**< what undo takes back: place of the sign + 1, or 0 for a head count */
    size_t n_acts, cap_acts;
};

#define NOBODY (UINT64_C(3) << 62) /* a called number that nobody has: each by itself */
#define STRANGER (UINT64_C(1) << 62)

static enum lm_err room(void **rows, size_t *cap, size_t n, size_t size)
{
    if (n < *cap)
        return LM_OK;
    size_t want = *cap ? *cap * 2 : 256;
    void *more = realloc(*rows, want * size);
    if (!more)
        return LM_ENOMEM;
    *rows = more;
    *cap = want;
    return LM_OK;
}

static enum lm_err keep_act(struct folding *f, size_t place)
{
    void *rows = f->acts;
    enum lm_err err = room(&rows, &f->cap_acts, f->n_acts, sizeof *f->acts);
    f->acts = rows;
    if (!err)
        f->acts[f->n_acts++] = (uint32_t) place;
    return err;
}

static void take_back(struct folding *f)
{
    if (f->n_acts == 0)
        return;
    uint32_t place = f->acts[--f->n_acts];
    if (place > 0)
        f->signs[place - 1].undone = true;
}

static enum lm_err keep_sign(
    struct folding *f, const struct lm_event *ev, const struct lm_verdict *v)
{
    bool reading = ev->kind == LM_EVENT_READING;
    if (reading && v->animal == LM_NO_ANIMAL && (ev->doubt != LM_DOUBT_NONE || !ev->eid.known))
        return LM_OK; /* it says of nobody that he was here */
    void *rows = f->signs;
    enum lm_err err = room(&rows, &f->cap, f->n, sizeof *f->signs);
    f->signs = rows;
    if (err)
        return err;
    struct sign *s = &f->signs[f->n];
    *s = (struct sign){.order = (uint32_t) f->n,
        .attention = (uint8_t) v->attention,
        .new_pass = v->new_pass,
        .reading = reading,
        .t = ev->t_ms};
    if (v->animal != LM_NO_ANIMAL)
        s->who = v->animal;
    else
        s->who = ev->eid.known ? (lm_eid_key(ev->eid) & ~NOBODY) | STRANGER : NOBODY | f->n;
    f->n++;
    return reading ? LM_OK : keep_act(f, f->n);
}

static enum lm_err fold(const struct lm_event *ev, void *ctx)
{
    struct folding *f = ctx;
    struct lm_verdict v;
    enum lm_err err = lm_session_apply(f->session, ev, &v);
    if (err != LM_OK)
        return err == LM_EARG ? LM_OK : err; /* as lm_replay_session() does */
    if (ev->kind == LM_EVENT_READING || ev->kind == LM_EVENT_SIGHTING)
        return keep_sign(f, ev, &v);
    if (ev->kind == LM_EVENT_HEADS)
        return keep_act(f, 0);
    if (ev->kind == LM_EVENT_UNDO)
        take_back(f);
    return LM_OK;
}

static enum lm_err put_record(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static int by_who(const void *a, const void *b)
{
    const struct sign *x = a, *y = b;
    if (x->who != y->who)
        return x->who < y->who ? -1 : 1;
    return x->order < y->order ? -1 : x->order > y->order;
}

static int by_order(const void *a, const void *b)
{
    const struct past *x = a, *y = b;
    return x->order < y->order ? -1 : x->order > y->order;
}

/** Join the signs of one animal into its passes. @return How many @p out got. */
static size_t make_passes(struct folding *f, struct past *out)
{
    size_t n = 0;
    bool fresh = true;
    uint64_t who = 0;
    if (f->n > 0)
        qsort(f->signs, f->n, sizeof *f->signs, by_who);
    for (size_t i = 0; i < f->n; i++) {
        const struct sign *s = &f->signs[i];
        if (s->undone)
            continue;
        fresh = fresh || s->who != who;
        who = s->who;
        /* a call before the reading is the same animal standing there */
        if (fresh || (s->new_pass && out[n - 1].readings > 0))
            out[n++] = (struct past){.order = s->order, .t = s->t};
        fresh = false;
        struct past *p = &out[n - 1];
        p->readings += s->reading;
        p->attention = s->attention > p->attention ? s->attention : p->attention;
        p->t = p->t == LM_TIME_NONE ? s->t : p->t;
    }
    if (n > 0)
        qsort(out, n, sizeof *out, by_order);
    return n;
}

static void count_passes(struct lm_race *r, const struct past *past, size_t n)
{
    r->past = (uint32_t) n;
    for (size_t i = 0; i < n; i++) {
        uint32_t k = past[i].readings;
        r->by_attention[past[i].attention % 3]++;
        r->untimed += past[i].t == LM_TIME_NONE;
        r->called += k == 0;
        r->passes += k > 0;
        r->in_passes += k;
        if (k > 0)
            r->per_pass[k < LM_PER_PASS_MAX ? k : LM_PER_PASS_MAX]++;
    }
}

/** The narrowest stretch of time that a person would choose, so that all fit. */
static int64_t time_width(int64_t first, int64_t last)
{
    static const int64_t seconds[] = {
        1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400};
    for (size_t i = 0; i < sizeof seconds / sizeof seconds[0]; i++) {
        int64_t w = seconds[i] * 1000;
        if (last / w - first / w < LM_BINS_MAX)
            return w;
    }
    return 0; /* longer than anybody stands at a race: the clock is not to be believed */
}

static int64_t order_width(size_t n)
{
    int64_t w = 1;
    for (unsigned i = 0; (int64_t) n > w * (int64_t) LM_BINS_MAX; i++)
        w = i % 3 == 1 ? w / 2 * 5 : w * 2;
    return w;
}

static void make_bins(struct lm_race *r, const struct past *past, size_t n)
{
    int64_t first = INT64_MAX, last = INT64_MIN;
    for (size_t i = 0; i < n; i++) {
        if (past[i].t == LM_TIME_NONE)
            continue;
        first = past[i].t < first ? past[i].t : first;
        last = past[i].t > last ? past[i].t : last;
    }
    r->by_time = r->untimed == 0 && n > 0 && first >= 0;
    r->width = r->by_time ? time_width(first, last) : 0;
    r->by_time = r->width > 0;
    r->width = r->by_time ? r->width : order_width(n);
    r->start_ms = r->by_time ? first / r->width * r->width : 0;
    for (size_t i = 0; i < n; i++) {
        int64_t at = r->by_time ? (past[i].t - r->start_ms) / r->width : (int64_t) i / r->width;
        if (at < 0 || at > (int64_t) LM_BINS_MAX)
            continue; /* cannot be: the width was chosen so */
        r->bins[at].by_attention[past[i].attention % 3]++;
        r->n_bins = (size_t) at + 1 > r->n_bins ? (size_t) at + 1 : r->n_bins;
    }
}

static enum lm_err fold_all(struct lm_printed *p, struct folding *f)
{
    f->roll = lm_roll_new();
    if (!f->roll)
        return LM_ENOMEM;
    enum lm_err err = lm_store_each_at(p->from.store, p->from.row->first_seq, put_record, f->roll);
    if (err)
        return err;
    f->session = lm_session_new(f->roll, NULL);
    return f->session ? lm_store_events(p->from.store, p->from.row->id, 0, fold, f) : LM_ENOMEM;
}

enum lm_err lm_sheet_race(struct lm_printed *p)
{
    struct folding f = {0};
    struct past *past = NULL;
    enum lm_err err = fold_all(p, &f);
    if (!err) {
        past = calloc(f.n + 1, sizeof *past);
        err = past ? LM_OK : LM_ENOMEM;
    }
    if (!err) {
        size_t n = make_passes(&f, past);
        count_passes(&p->race, past, n);
        make_bins(&p->race, past, n);
    }
    lm_session_free(f.session);
    lm_roll_free(f.roll);
    free(f.signs);
    free(f.acts);
    free(past);
    return err;
}
