/*
 * What a count comes to: derived from what its sessions said, nothing is stored.
 */
#include "race/count_priv.h"

#include <stdlib.h>
#include <string.h>

const char *lm_count_kind_name(enum lm_count_kind kind)
{
    static const char *const names[LM_COUNT_KINDS] = {[LM_COUNT_NOT_FOUND] = "not-found",
        [LM_COUNT_STRANGER] = "stranger",
        [LM_COUNT_CONTRADICTS] = "contradiction",
        [LM_COUNT_GONE] = "seen-though-gone",
        [LM_COUNT_TAKEN_BACK] = "entry-taken-back",
        [LM_COUNT_DOUBLE] = "double",
        [LM_COUNT_UNREAD] = "unread",
        [LM_COUNT_NOT_COVERED] = "not-covered",
        [LM_COUNT_NOT_DUE] = "not-due",
        [LM_COUNT_LEFT_SINCE] = "left-since",
        [LM_COUNT_CAME_AFTER] = "came-after",
        [LM_COUNT_LEFT_UNSEEN] = "left-before",
        [LM_COUNT_ENTERED] = "entered-since"};
    return kind < LM_COUNT_KINDS ? names[kind] : "";
}

bool lm_count_kind_flags(enum lm_count_kind kind)
{
    return kind <= LM_COUNT_NOT_COVERED;
}

/** Here since the first session, and on no roll. */
static bool never_run(const struct lm_count *c, uint32_t i)
{
    return !c->seats[i].expected && lm_stays_surely(&c->stays[i], c->first_day);
}

/** What of an animal is to be listed, besides being there. */
static bool is_kind(const struct lm_count *c, uint32_t i, enum lm_count_kind kind)
{
    const struct seat *seat = &c->seats[i];
    const struct lm_stays *stays = &c->stays[i];
    bool here = lm_stays_here(stays, c->day), seen = seat->times > 0;
    switch (kind) {
    case LM_COUNT_NOT_FOUND:
        return here && !seen && seat->due;
    case LM_COUNT_NOT_DUE:
        return here && !seen && !seat->due && !never_run(c, i);
    case LM_COUNT_NOT_COVERED:
        return here && !seen && never_run(c, i);
    case LM_COUNT_LEFT_UNSEEN:
        return !here && !seen && seat->expected;
    case LM_COUNT_DOUBLE:
        return seat->times > 1;
    case LM_COUNT_UNREAD:
        return seat->unread && !seat->read;
    case LM_COUNT_GONE:
        return seat->gone;
    case LM_COUNT_LEFT_SINCE:
        return seen && !here && !seat->gone && seat->day <= c->day;
    case LM_COUNT_CAME_AFTER:
        return seen && !here && !seat->gone && seat->day > c->day;
    case LM_COUNT_STRANGER:
    case LM_COUNT_CONTRADICTS:
    case LM_COUNT_TAKEN_BACK:
    case LM_COUNT_ENTERED:
    case LM_COUNT_KINDS:
        break;
    }
    return false;
}

static int by_animal(const void *a, const void *b)
{
    const struct seen_in *x = a, *y = b;
    if (x->animal != y->animal)
        return x->animal < y->animal ? -1 : 1;
    return x->session < y->session ? -1 : x->session > y->session;
}

/** Notes of the same thing stand together, in the order they came. */
static int same_thing(const struct note *x, const struct note *y)
{
    uint64_t a[] = {x->kind, x->reason, x->key, x->other, x->fold, lm_eid_key(x->eid)};
    uint64_t b[] = {y->kind, y->reason, y->key, y->other, y->fold, lm_eid_key(y->eid)};
    for (size_t i = 0; i < sizeof a / sizeof a[0]; i++) {
        if (a[i] != b[i])
            return a[i] < b[i] ? -1 : 1;
    }
    return 0;
}

static int by_thing(const void *a, const void *b)
{
    const struct note *x = a, *y = b;
    int d = same_thing(x, y);
    return d ? d : x->order < y->order ? -1 : x->order > y->order;
}

/** Notes of one thing: a stretch of the sorted notes. */
struct group {
    uint32_t first, n;
};

struct result {
    struct lm_count *c;
    struct lm_count_figures *f;
    lm_count_fn *fn;
    void *ctx;
    struct note *notes; /**< sorted copy */
    struct group *groups;
    uint32_t n_groups;
    uint32_t *sessions; /**< room for one entry's */
    uint32_t *first;    /**< of each animal: where its sightings begin in the sorted list */
};

static int by_order(const void *a, const void *b, void *ctx)
{
    const struct group *x = a, *y = b;
    const struct note *notes = ctx;
    uint32_t i = notes[x->first].order, k = notes[y->first].order;
    return i < k ? -1 : i > k;
}

static void group_notes(struct result *r)
{
    uint32_t n = r->c->n_notes;
    if (n > 0)
        memcpy(r->notes, r->c->notes, n * sizeof *r->notes);
    qsort(r->notes, n, sizeof *r->notes, by_thing);
    for (uint32_t i = 0; i < n;) {
        uint32_t end = i + 1;
        while (end < n && same_thing(&r->notes[i], &r->notes[end]) == 0)
            end++;
        r->groups[r->n_groups++] = (struct group){i, end - i};
        i = end;
    }
    qsort_r(r->groups, r->n_groups, sizeof *r->groups, by_order, r->notes);
}

static void give_animal(struct result *r, enum lm_count_kind kind, uint32_t i)
{
    size_t n = 0;
    r->f->counts[kind]++;
    if (!r->fn)
        return;
    for (uint32_t k = r->first[i]; k < r->c->n_seen && r->c->seen[k].animal == i; k++)
        r->sessions[n++] = r->c->seen[k].session;
    struct lm_count_entry e = {.kind = kind,
        .animal = i,
        .key = lm_roll_animal(r->c->book, i).key,
        .other = "",
        .reason = LM_REASONS,
        .text = "",
        .sessions = r->sessions,
        .n_sessions = n};
    r->fn(&e, r->ctx);
}

static void give_note(struct result *r, enum lm_count_kind kind, const struct group *g)
{
    const struct note *n = &r->notes[g->first];
    const struct lm_arena *a = &r->c->arena;
    size_t used = 0;
    r->f->counts[kind]++;
    if (!r->fn)
        return;
    for (uint32_t k = 0; k < g->n; k++) {
        if (used == 0 || r->sessions[used - 1] != n[k].session)
            r->sessions[used++] = n[k].session;
    }
    struct lm_count_entry e = {.kind = kind,
        .animal = lm_roll_by_key(r->c->book, lm_arena_at(a, n->key)),
        .key = lm_arena_at(a, n->key),
        .other = lm_arena_at(a, n->other),
        .reason = n->reason,
        .eid = n->eid,
        .text = lm_arena_at(a, n->text),
        .sessions = r->sessions,
        .n_sessions = used};
    r->fn(&e, r->ctx);
}

static void give_kind(struct result *r, enum lm_count_kind kind)
{
    for (uint32_t i = 0; i < r->c->n_animals; i++) {
        if (is_kind(r->c, i, kind))
            give_animal(r, kind, i);
    }
    for (uint32_t i = 0; i < r->n_groups; i++) {
        if (r->notes[r->groups[i].first].kind == kind)
            give_note(r, kind, &r->groups[i]);
    }
}

static void index_seen(struct result *r)
{
    struct lm_count *c = r->c;
    if (c->n_seen > 0)
        qsort(c->seen, c->n_seen, sizeof *c->seen, by_animal);
    for (uint32_t k = c->n_seen; k-- > 0;)
        r->first[c->seen[k].animal] = k;
}

static void figures(struct result *r)
{
    const struct lm_count *c = r->c;
    struct lm_count_figures *f = r->f;
    uint32_t missing = f->counts[LM_COUNT_NOT_FOUND];
    f->sessions = c->n_sessions;
    f->without_heads = c->without_heads;
    f->has_heads = c->n_sessions > 0 && c->without_heads == 0;
    f->heads = c->heads;
    f->sightings = c->sightings;
    f->unidentified = c->unidentified;
    f->heads_short = c->heads_short;
    for (uint32_t i = 0; i < c->n_animals; i++) {
        bool here = lm_stays_here(&c->stays[i], c->day), seen = c->seats[i].times > 0;
        f->book += here;
        f->identified += seen;
        f->present += here && seen;
        f->vague += lm_stays_vague(&c->stays[i], c->day);
    }
    f->identified += f->counts[LM_COUNT_TAKEN_BACK];
    f->repeats = f->sightings - f->identified;
    f->absent_max = missing;
    if (f->has_heads && missing > c->nobody_known)
        f->absent_min = missing - (uint32_t) c->nobody_known;
}

enum lm_err lm_count_result(
    struct lm_count *c, struct lm_count_figures *out, lm_count_fn *fn, void *ctx)
{
    struct result r = {.c = c, .f = out, .fn = fn, .ctx = ctx};
    enum lm_err err = LM_ENOMEM;
    memset(out, 0, sizeof *out);
    r.notes = calloc((size_t) c->n_notes + 1, sizeof *r.notes);
    r.groups = calloc((size_t) c->n_notes + 1, sizeof *r.groups);
    r.sessions = calloc((size_t) c->n_sessions + 1, sizeof *r.sessions);
    r.first = malloc(((size_t) c->n_animals + 1) * sizeof *r.first);
    if (r.notes && r.groups && r.sessions && r.first) {
        for (uint32_t i = 0; i < c->n_animals; i++)
            r.first[i] = UINT32_MAX;
        group_notes(&r);
        index_seen(&r);
        for (unsigned kind = 0; kind < LM_COUNT_KINDS; kind++)
            give_kind(&r, (enum lm_count_kind) kind);
        figures(&r);
        err = LM_OK;
    }
    free(r.notes);
    free(r.groups);
    free(r.sessions);
    free(r.first);
    return err;
}

bool lm_count_flagged(const struct lm_count_figures *f)
{
    for (unsigned kind = 0; kind < LM_COUNT_KINDS; kind++) {
        if (f->counts[kind] && lm_count_kind_flags((enum lm_count_kind) kind))
            return true;
    }
    return f->heads_short || (f->has_heads && f->unidentified != 0);
}
