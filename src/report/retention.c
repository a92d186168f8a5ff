/*
 * How long devices stay on, from the register and its history.
 */
#include "lugmark/inventory.h"
#include "lugmark/stock.h"

#include <stdlib.h>
#include <string.h>

/** The strip of a code. */
struct strip_of {
    uint64_t key;
    char strip[LM_NAME_MAX + 1];
};

/** One device's life, with what it is grouped by. */
struct piece {
    char strip[LM_NAME_MAX + 1];
    uint8_t form, place;
    struct lm_life life;
};

struct making {
    struct lm_store *store;
    struct lm_retentions *out;
    int32_t today, begun;
    bool whole;
    struct strip_of *strips;
    size_t n_strips, cap_strips;
    struct piece *pieces;
    size_t n_pieces, cap_pieces;
    char (*keys)[LM_NAME_MAX + 1];
    size_t n_keys, cap_keys;
    struct lm_record *rec;         /**< the animal looked at, as it stands */
    int32_t first[LM_DEVICES_MAX]; /**< day each of its devices was written down */
    bool first_gone[LM_DEVICES_MAX];
    uint8_t known; /**< devices met in its history so far */
    bool found;
};

static enum lm_err room(void *rows, size_t *cap, size_t n, size_t size)
{
    void **at = rows, *more;
    if (n < *cap)
        return LM_OK;
    size_t want = *cap ? *cap * 2 : 64;
    more = realloc(*at, want * size);
    if (!more)
        return LM_ENOMEM;
    *at = more;
    *cap = want;
    return LM_OK;
}

static enum lm_err take_strip(const struct lm_stock_item *item, long line, void *ctx)
{
    struct making *m = ctx;
    (void) line;
    if (!item->eid.known)
        return LM_OK;
    enum lm_err err = room(&m->strips, &m->cap_strips, m->n_strips, sizeof *m->strips);
    if (err != LM_OK)
        return err;
    struct strip_of *s = &m->strips[m->n_strips++];
    s->key = lm_eid_key(item->eid);
    snprintf(s->strip, sizeof s->strip, "%s", item->strip);
    return LM_OK;
}

static int by_code(const void *a, const void *b)
{
    const struct strip_of *x = a, *y = b;
    return x->key < y->key ? -1 : x->key > y->key;
}

static enum lm_err take_key(const struct lm_record *rec, long line, void *ctx)
{
    struct making *m = ctx;
    (void) line;
    enum lm_err err = room(&m->keys, &m->cap_keys, m->n_keys, sizeof *m->keys);
    if (err == LM_OK)
        snprintf(m->keys[m->n_keys++], sizeof *m->keys, "%s", rec->key);
    return err;
}

/** When each device of the animal was first written down, and whether it was gone by then. */
static enum lm_err take_change(const struct lm_event *ev, const char *why, void *ctx)
{
    struct making *m = ctx;
    (void) why;
    for (uint8_t k = m->known; k < ev->record->n_devices; k++) {
        m->first[k] = lm_day_of(ev->t_ms, m->today);
        m->first_gone[k] = ev->record->devices[k].gone;
    }
    if (ev->record->n_devices > m->known)
        m->known = ev->record->n_devices;
    return LM_OK;
}

/** The middle of the days that a date can mean. */
static double middle(struct lm_date d)
{
    return (lm_date_days(d, 0) + lm_date_days(d, 1)) / 2.0;
}

static bool rough(struct lm_date d)
{
    return d.year != 0 && d.day == 0;
}

/** Day the watching of the animal's devices ends: when it left, else today. */
static double watched_until(const struct making *m)
{
    const struct lm_record *rec = m->rec;
    if (rec->status == LM_ON_FARM)
        return m->today;
    return rec->status_date.year != 0 ? middle(rec->status_date) : -1;
}

/** Work out one device's life. @return false for one that tells nothing. */
static bool life_of(struct making *m, unsigned k, struct lm_life *life)
{
    const struct lm_device *d = &m->rec->devices[k];
    double end = watched_until(m);
    bool lost = d->gone;
    if (d->applied.year == 0 || (d->gone && d->removed.year == 0) || end < 0) {
        m->out->no_date++;
        return false;
    }
    double on = middle(d->applied);
    if (d->gone && m->rec->status != LM_ON_FARM && middle(d->removed) >= end)
        lost = false; /* taken off as the animal left */
    if (!m->whole && m->first_gone[k]) {
        m->out->gone_before++;
        return false;
    }
    life->ended = lost;
    life->until = (lost ? middle(d->removed) : end) - on;
    life->from = m->whole || m->first[k] <= on ? 0 : m->first[k] - on;
    if (life->until == life->from && life->until >= 0)
        life->until += 0.5; /* within one day */
    m->out->rough += rough(d->applied) || (d->gone && rough(d->removed));
    return life->until > life->from;
}

static void name_strip(const struct making *m, const struct lm_device *d, char *out, size_t size)
{
    struct strip_of wanted = {.key = lm_eid_key(d->eid)};
    const struct strip_of *hit = NULL;
    if (d->eid.known && m->n_strips > 0)
        hit = bsearch(&wanted, m->strips, m->n_strips, sizeof wanted, by_code);
    snprintf(out, size, "%s", hit ? hit->strip : "");
}

/** Of animals on the farm that began with just two devices on one day: how many are left. */
static void take_pair(struct making *m)
{
    const struct lm_record *rec = m->rec;
    unsigned began = 0, worn = 0;
    for (unsigned k = 0; k < rec->n_devices; k++) {
        const struct lm_device *d = &rec->devices[k];
        bool same = memcmp(&d->applied, &rec->devices[0].applied, sizeof d->applied) == 0;
        if (d->replaces != 0 || !same)
            continue;
        began++;
        worn += !d->gone;
    }
    if (rec->status != LM_ON_FARM || rec->n_devices == 0 || rec->devices[0].applied.year == 0 ||
        began != 2)
        return;
    struct lm_two_devices *p = &m->out->pairs;
    *(worn == 2 ? &p->both : worn == 1 ? &p->one : &p->none) += 1;
}

static enum lm_err take_devices(struct making *m)
{
    enum lm_err err = LM_OK;
    for (unsigned k = 0; k < m->rec->n_devices && err == LM_OK; k++) {
        const struct lm_device *d = &m->rec->devices[k];
        struct piece piece = {.form = d->form, .place = d->place};
        if (!life_of(m, k, &piece.life))
            continue;
        name_strip(m, d, piece.strip, sizeof piece.strip);
        err = room(&m->pieces, &m->cap_pieces, m->n_pieces, sizeof *m->pieces);
        if (err == LM_OK)
            m->pieces[m->n_pieces++] = piece;
    }
    take_pair(m);
    return err;
}

static enum lm_err take_animals(struct making *m)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < m->n_keys && err == LM_OK; i++) {
        m->known = 0;
        err = lm_store_get(m->store, m->keys[i], m->rec);
        if (err == LM_ENOTFOUND) { /* taken back just now by somebody else */
            err = LM_OK;
            continue;
        }
        if (err == LM_OK)
            err = lm_store_history(m->store, m->keys[i], take_change, m);
        if (err == LM_OK)
            err = take_devices(m);
    }
    return err;
}

static int by_group(const void *a, const void *b)
{
    const struct piece *x = a, *y = b;
    int d = strcmp(x->strip, y->strip);
    d = d ? d : (int) x->form - (int) y->form;
    return d ? d : (int) x->place - (int) y->place;
}

static enum lm_err make_group(
    struct making *m, size_t first, size_t n, struct lm_life *lives, struct lm_life_step *steps)
{
    struct lm_retention *g = &m->out->groups[m->out->n];
    const struct piece *p = &m->pieces[first];
    memset(g, 0, sizeof *g);
    snprintf(g->strip, sizeof g->strip, "%s", p->strip);
    g->form = p->form;
    g->place = p->place;
    g->devices = n;
    g->from = p->life.from;
    for (size_t i = 0; i < n; i++) {
        lives[i] = p[i].life;
        g->ended += p[i].life.ended;
        g->from = p[i].life.from < g->from ? p[i].life.from : g->from;
        g->until = p[i].life.until > g->until ? p[i].life.until : g->until;
    }
    g->n = lm_life_table(lives, n, steps, n);
    g->steps = calloc(g->n + 1, sizeof *g->steps);
    if (!g->steps)
        return LM_ENOMEM;
    memcpy(g->steps, steps, g->n * sizeof *steps);
    m->out->n++;
    return LM_OK;
}

static enum lm_err make_groups(struct making *m)
{
    enum lm_err err = LM_OK;
    size_t n = m->n_pieces;
    struct lm_life *lives = calloc(n + 1, sizeof *lives);
    struct lm_life_step *steps = calloc(n + 1, sizeof *steps);
    m->out->groups = calloc(n + 1, sizeof *m->out->groups);
    if (n > 0)
        qsort(m->pieces, n, sizeof *m->pieces, by_group);
    if (!lives || !steps || !m->out->groups)
        err = LM_ENOMEM;
    for (size_t i = 0; i < n && err == LM_OK;) {
        size_t end = i + 1;
        while (end < n && by_group(&m->pieces[i], &m->pieces[end]) == 0)
            end++;
        err = make_group(m, i, end - i, lives, steps);
        i = end;
    }
    free(lives);
    free(steps);
    return err;
}

enum lm_err lm_retentions_make(
    struct lm_store *store, int32_t today, bool whole, struct lm_retentions *out)
{
    struct making m = {.store = store, .out = out, .today = today, .whole = whole};
    memset(out, 0, sizeof *out);
    m.rec = calloc(1, sizeof *m.rec);
    enum lm_err err = m.rec ? lm_store_stock_each(store, NULL, take_strip, &m) : LM_ENOMEM;
    if (m.n_strips > 0)
        qsort(m.strips, m.n_strips, sizeof *m.strips, by_code);
    err = err ? err : lm_store_each(store, take_key, &m);
    err = err ? err : take_animals(&m);
    err = err ? err : make_groups(&m);
    out->pairs = lm_two_devices(out->pairs.both, out->pairs.one, out->pairs.none);
    free(m.rec);
    free(m.strips);
    free(m.pieces);
    free(m.keys);
    if (err != LM_OK)
        lm_retentions_free(out);
    return err;
}

void lm_retentions_free(struct lm_retentions *r)
{
    for (size_t i = 0; i < r->n; i++)
        free(r->groups[i].steps);
    free(r->groups);
    memset(r, 0, sizeof *r);
}
