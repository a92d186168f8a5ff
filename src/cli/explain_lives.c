/* How long the devices of a flock stayed on, by strip, by form and place, and all together. */
#include "explain_lives.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DEVICES_LEAST 30u   /* a curve of fewer says nothing */
#define ENDED_LEAST 3u      /* ... or of fewer that ended */
#define STRIPS_MOST 48u     /* the rest of the groups are for form and place */
#define DEVICES_MOST 100000 /* of larger flocks every second, third, ... device is taken */

/* The middle of the days that a date can mean; NAN for no date. */
static double middle(struct lm_date d)
{
    return d.year != 0 ? (lm_date_days(d, 0) + lm_date_days(d, 1)) / 2.0 : NAN;
}

/* Written on the wrong animal: that is no end of a device. */
static bool moved(const struct lm_device *d)
{
    return strcmp(d->why, "swapped") == 0 || strcmp(d->why, "wrong animal") == 0;
}

enum lm_err lm_lives_add(struct lm_lives *l, const struct lm_record *rec)
{
    for (unsigned k = 0; k < rec->n_devices; k++) {
        const struct lm_device *d = &rec->devices[k];
        if (!d->eid.known || d->applied.year == 0 || (d->gone && d->removed.year == 0) || moved(d))
            continue;
        if (l->n == l->room) {
            size_t room = l->room > 0 ? l->room * 2 : 256;
            struct lm_lives_piece *more = realloc(l->pieces, room * sizeof *more);
            if (more == NULL)
                return LM_ENOMEM;
            l->pieces = more;
            l->room = room;
        }
        l->pieces[l->n++] = (struct lm_lives_piece){.key = lm_eid_key(d->eid),
            .on = middle(d->applied),
            .off = d->gone ? middle(d->removed) : NAN,
            .left = rec->status != LM_ON_FARM ? middle(rec->status_date) : NAN,
            .strip = UINT32_MAX,
            .form = d->form,
            .place = d->place};
    }
    return LM_OK;
}

/* --- strips --- */

struct code {
    uint64_t key;
    uint32_t strip;
};

static int by_key(const void *a, const void *b)
{
    const struct code *x = a, *y = b;
    return x->key < y->key ? -1 : x->key > y->key;
}

static enum lm_err name_strips(struct lm_lives *l, const struct lm_stock_item *items, size_t n)
{
    struct code *codes = calloc(n + 1, sizeof *codes);
    if (codes == NULL)
        return LM_ENOMEM;
    for (size_t i = 0; i < n; i++) {
        bool same = i > 0 && strcmp(items[i].strip, items[i - 1].strip) == 0;
        codes[i].key = lm_eid_key(items[i].eid);
        codes[i].strip = same ? codes[i - 1].strip : (uint32_t) i;
    }
    if (n > 0)
        qsort(codes, n, sizeof *codes, by_key);
    for (size_t i = 0; i < l->n && n > 0; i++) {
        struct code want = {.key = l->pieces[i].key};
        const struct code *hit = bsearch(&want, codes, n, sizeof *codes, by_key);
        l->pieces[i].strip = hit != NULL && hit->key != 0 ? hit->strip : UINT32_MAX;
    }
    free(codes);
    return LM_OK;
}

/* --- curves --- */

static bool life_of(const struct lm_lives_piece *p, double begun, double today, struct lm_life *out)
{
    double end = isnan(p->left) ? today : fmin(today, p->left);
    bool off = !isnan(p->off) && p->off <= today;
    *out = (struct lm_life){.from = fmax(0.0, begun - p->on), .until = end - p->on};
    if (off && p->off < begun)
        return false; /* of those before, only the ones that stayed are known */
    if (off && p->off < end) {
        out->until = p->off - p->on;
        out->ended = true;
    }
    if (out->until == out->from && out->until >= 0)
        out->until += 0.5; /* within one day */
    return out->until > out->from;
}

struct making {
    struct lm_lives *l;
    const struct lm_stock_item *items;
    double begun, today;
    struct lm_life *lives;
    struct lm_life_step *steps;
};

static bool in_group(const struct lm_lives_piece *p, uint32_t strip, unsigned form, unsigned place)
{
    return (strip == UINT32_MAX || p->strip == strip) &&
           (form == LM_EXPLAIN_ANY || p->form == form) &&
           (place == LM_EXPLAIN_ANY || p->place == place);
}

/* One curve, of the pieces from @p first on that are alike; kept where enough ended. */
static enum lm_err make_curve(
    struct making *m, size_t first, size_t end, uint32_t strip, unsigned form, unsigned place)
{
    struct lm_lives *l = m->l;
    struct lm_explain_life g = {.strip = strip == UINT32_MAX ? "" : m->items[strip].strip,
        .form = (uint8_t) form,
        .place = (uint8_t) place};
    size_t n = 0;
    for (size_t i = first; i < end; i++) {
        if (!in_group(&l->pieces[i], strip, form, place) ||
            !life_of(&l->pieces[i], m->begun, m->today, &m->lives[n]))
            continue;
        g.ended += m->lives[n].ended;
        g.until = fmax(g.until, m->lives[n++].until);
    }
    g.devices = (uint32_t) n;
    if (n < DEVICES_LEAST || g.ended < ENDED_LEAST || l->n_groups == LM_LIVES_GROUPS_MAX)
        return LM_OK;
    g.n = lm_life_table(m->lives, n, m->steps, n);
    struct lm_life_step *steps = calloc(g.n + 1, sizeof *steps);
    if (steps == NULL)
        return LM_ENOMEM;
    memcpy(steps, m->steps, g.n * sizeof *steps);
    g.steps = l->steps[l->n_groups] = steps;
    l->groups[l->n_groups++] = g;
    return LM_OK;
}

static int by_group(const void *a, const void *b)
{
    const struct lm_lives_piece *x = a, *y = b;
    if (x->form != y->form || x->place != y->place)
        return x->form != y->form ? x->form - y->form : x->place - y->place;
    return x->strip < y->strip ? -1 : x->strip > y->strip;
}

static bool alike(const struct lm_lives_piece *a, const struct lm_lives_piece *b, bool strips)
{
    return a->form == b->form && a->place == b->place && (!strips || a->strip == b->strip);
}

/* Sorted pieces: a curve for each stretch that is alike. */
static enum lm_err make_stretches(struct making *m, bool strips)
{
    const struct lm_lives_piece *p = m->l->pieces;
    enum lm_err err = LM_OK;
    for (size_t i = 0, end = 0; i < m->l->n && err == LM_OK; i = end) {
        for (end = i + 1; end < m->l->n && alike(&p[i], &p[end], strips);)
            end++;
        if (!strips || (p[i].strip != UINT32_MAX && m->l->n_groups < STRIPS_MOST))
            err = make_curve(m, i, end, strips ? p[i].strip : UINT32_MAX, p[i].form, p[i].place);
    }
    return err;
}

static void thin_out(struct lm_lives *l)
{
    size_t every = l->n / DEVICES_MOST + 1, kept = 0;
    for (size_t i = 0; i < l->n; i += every)
        l->pieces[kept++] = l->pieces[i];
    l->n = kept;
}

enum lm_err lm_lives_make(struct lm_lives *l, const struct lm_stock_item *items, size_t n_items,
    double begun, double today)
{
    struct making m = {.l = l, .items = items, .begun = begun, .today = today};
    thin_out(l);
    m.lives = calloc(l->n + 1, sizeof *m.lives);
    m.steps = calloc(l->n + 1, sizeof *m.steps);
    enum lm_err err = m.lives && m.steps ? name_strips(l, items, n_items) : LM_ENOMEM;
    if (l->n > 0)
        qsort(l->pieces, l->n, sizeof *l->pieces, by_group);
    /* the narrowest first: the first that fits a device is taken */
    err = err ? err : make_stretches(&m, true);
    err = err ? err : make_stretches(&m, false);
    err = err ? err : make_curve(&m, 0, l->n, UINT32_MAX, LM_EXPLAIN_ANY, LM_EXPLAIN_ANY);
    free(m.lives);
    free(m.steps);
    return err;
}

void lm_lives_free(struct lm_lives *l)
{
    for (uint32_t i = 0; i < l->n_groups; i++)
        free(l->steps[i]);
    free(l->pieces);
    *l = (struct lm_lives){0};
}
