/*
 * Which devices were read and which could have been; who was on which of two lists.
 */
#include "lugmark/inventory.h"

#include <stdlib.h>
#include <string.h>

#define READERS_MAX 16u

/** A growing list of numbers. */
struct keys {
    uint64_t *at;
    size_t n, cap;
};

struct reader {
    char name[2 * LM_NAME_MAX + 16];
    struct keys seen; /**< session and animal, sorted and each once when asked */
};

struct lm_estimates {
    struct lm_readability groups[LM_READABILITY_MAX];
    size_t n_groups;
    uint32_t read, called, both;
    struct reader readers[READERS_MAX];
    size_t n_readers;
    uint32_t sessions;
};

static enum lm_err push(struct keys *k, uint64_t key)
{
    if (k->n == k->cap) {
        size_t cap = k->cap ? k->cap * 2 : 256;
        void *more = realloc(k->at, cap * sizeof *k->at);
        if (!more)
            return LM_ENOMEM;
        k->at = more;
        k->cap = cap;
    }
    k->at[k->n++] = key;
    return LM_OK;
}

static int by_key(const void *a, const void *b)
{
    const uint64_t *x = a, *y = b;
    return *x < *y ? -1 : *x > *y;
}

static void each_once(struct keys *k)
{
    size_t n = 0;
    if (k->n > 0)
        qsort(k->at, k->n, sizeof *k->at, by_key);
    for (size_t i = 0; i < k->n; i++) {
        if (i == 0 || k->at[i] != k->at[n - 1])
            k->at[n++] = k->at[i];
    }
    k->n = n;
}

struct lm_estimates *lm_estimates_new(void)
{
    return calloc(1, sizeof(struct lm_estimates));
}

void lm_estimates_free(struct lm_estimates *e)
{
    if (!e)
        return;
    for (size_t i = 0; i < e->n_readers; i++)
        free(e->readers[i].seen.at);
    free(e);
}

/** One session being taken in. */
struct taking {
    struct lm_estimates *e;
    const struct lm_roll *roll;
    struct keys codes; /**< read in this session */
    enum lm_err err;
};

static struct reader *reader_of(struct lm_estimates *e, const struct lm_event *ev)
{
    char name[sizeof e->readers[0].name];
    snprintf(name, sizeof name, "%s%s%s%s", ev->lane[0] ? "lane " : "", ev->lane,
        ev->lane[0] && ev->reader[0] ? ", " : "", ev->reader);
    for (size_t i = 0; i < e->n_readers; i++) {
        if (strcmp(e->readers[i].name, name) == 0)
            return &e->readers[i];
    }
    if (e->n_readers == READERS_MAX)
        return NULL;
    struct reader *r = &e->readers[e->n_readers++];
    snprintf(r->name, sizeof r->name, "%s", name);
    return r;
}

static enum lm_err take_event(const struct lm_event *ev, void *ctx)
{
    struct taking *t = ctx;
    struct lm_roll_hits it;
    struct lm_roll_device d;
    if (ev->kind != LM_EVENT_READING || ev->doubt != LM_DOUBT_NONE || !ev->eid.known)
        return LM_OK;
    enum lm_err err = push(&t->codes, lm_eid_key(ev->eid));
    struct reader *r = reader_of(t->e, ev);
    if (err == LM_OK && r != NULL && lm_roll_code_first(t->roll, ev->eid, &it, &d))
        err = push(&r->seen, (uint64_t) t->e->sessions << 32 | d.animal);
    return err;
}

static struct lm_readability *group_of(struct lm_estimates *e, const struct lm_roll_device *d)
{
    for (size_t i = 0; i < e->n_groups; i++) {
        if (e->groups[i].form == d->form && e->groups[i].place == d->place)
            return &e->groups[i];
    }
    if (e->n_groups == LM_READABILITY_MAX)
        return &e->groups[LM_READABILITY_MAX - 1]; /* 8 forms at 6 places fit */
    e->groups[e->n_groups] = (struct lm_readability){.form = d->form, .place = d->place};
    return &e->groups[e->n_groups++];
}

static void take_animal(const struct lm_seen_how *how, void *ctx)
{
    struct taking *t = ctx;
    struct lm_roll_animal a = lm_roll_animal(t->roll, how->animal);
    bool readable = false;
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(t->roll, how->animal, k);
        if (d.gone || !d.eid.known)
            continue;
        uint64_t key = lm_eid_key(d.eid);
        struct lm_readability *g = group_of(t->e, &d);
        bool hit =
            t->codes.n > 0 && bsearch(&key, t->codes.at, t->codes.n, sizeof key, by_key) != NULL;
        readable = true;
        g->readable++;
        g->read += hit;
    }
    if (!readable)
        return; /* it can be on one list only */
    t->e->read += how->read;
    t->e->called += how->called;
    t->e->both += how->read && how->called;
}

enum lm_err lm_estimates_session(struct lm_estimates *e, struct lm_store *store,
    const struct lm_store_session *row, const struct lm_session *s)
{
    struct taking t = {.e = e, .roll = lm_session_roll(s)};
    enum lm_err err = lm_store_events(store, row->id, 0, take_event, &t);
    if (err == LM_OK) {
        each_once(&t.codes);
        lm_seen_each(s, take_animal, &t);
        e->sessions++;
    }
    free(t.codes.at);
    return err;
}

size_t lm_estimates_readability(
    const struct lm_estimates *e, struct lm_readability out[LM_READABILITY_MAX])
{
    size_t n = 0;
    for (unsigned form = 0; form <= LM_TATTOO; form++) {
        for (unsigned place = 0; place <= LM_TAIL_WEB; place++) {
            for (size_t i = 0; i < e->n_groups; i++) {
                if (e->groups[i].form == form && e->groups[i].place == place)
                    out[n++] = e->groups[i];
            }
        }
    }
    return n;
}

bool lm_estimates_called(const struct lm_estimates *e, struct lm_two_lists *out)
{
    return e->read > 0 && e->called > 0 && lm_two_lists(e->read, e->called, e->both, out) == LM_OK;
}

bool lm_estimates_readers(struct lm_estimates *e, const char *names[2], struct lm_two_lists *out)
{
    struct reader *a = NULL, *b = NULL;
    uint32_t both = 0;
    for (size_t i = 0; i < e->n_readers; i++) {
        struct reader *r = &e->readers[i];
        each_once(&r->seen);
        if (a == NULL || r->seen.n > a->seen.n) {
            b = a;
            a = r;
        } else if (b == NULL || r->seen.n > b->seen.n) {
            b = r;
        }
    }
    if (b == NULL || b->seen.n == 0)
        return false;
    for (size_t i = 0; i < b->seen.n; i++)
        both += bsearch(&b->seen.at[i], a->seen.at, a->seen.n, sizeof(uint64_t), by_key) != NULL;
    names[0] = a->name[0] ? a->name : "a reader without a name";
    names[1] = b->name[0] ? b->name : "a reader without a name";
    return lm_two_lists((uint32_t) a->seen.n, (uint32_t) b->seen.n, both, out) == LM_OK;
}
