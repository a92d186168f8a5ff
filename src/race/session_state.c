#include "race/session_priv.h"

#include <stdlib.h>
#include <string.h>

enum lm_err lm_session_grow(void **rows, uint32_t *cap, uint32_t used, size_t row_size)
{
    if (used < *cap)
        return LM_OK;
    uint64_t want = *cap ? *cap + (uint64_t) *cap / 2 : 64;
    if (want >= UINT32_MAX / 2 || want > SIZE_MAX / row_size)
        return LM_ENOMEM;
    void *bigger = realloc(*rows, (size_t) want * row_size);
    if (!bigger)
        return LM_ENOMEM;
    *rows = bigger;
    *cap = (uint32_t) want;
    return LM_OK;
}

unsigned lm_session_lane(struct lm_session *s, const char *name)
{
    if (s->n_lanes > 0 && strcmp(s->lanes[s->last_lane].name, name) == 0)
        return s->last_lane; /* mostly the next reading comes from where the last one came */
    for (unsigned i = 0; i < s->n_lanes; i++) {
        if (strcmp(s->lanes[i].name, name) == 0)
            return i;
    }
    if (s->n_lanes == LM_LANES_MAX)
        return LM_LANES_MAX - 1;
    struct lane *l = &s->lanes[s->n_lanes];
    lm_text_copy(l->name, sizeof l->name, name, strlen(name));
    l->rearm_ms = s->options.rearm_ms;
    for (unsigned i = 0; i < LM_RECENT; i++)
        l->recent[i].seen = LM_NO_SEEN;
    return s->n_lanes++;
}

static enum lm_err new_seen(struct lm_session *s, uint32_t animal, uint32_t *index)
{
    void *rows = s->seen;
    enum lm_err err = lm_session_grow(&rows, &s->cap_seen, s->n_seen, sizeof *s->seen);
    s->seen = rows;
    if (err)
        return err;
    s->seen[s->n_seen] =
        (struct seen){.animal = animal, .first_t = LM_TIME_NONE, .clock = LM_TIME_NONE};
    *index = s->n_seen++;
    return LM_OK;
}

/** The roll may have grown since: animals tagged while the mob walks. */
static enum lm_err fit_animals(struct lm_session *s)
{
    uint32_t n = lm_roll_animals(s->roll);
    if (n <= s->cap_animals)
        return LM_OK;
    uint32_t want = n + n / 8 + 16;
    uint32_t *bigger = realloc(s->of_animal, want * sizeof *bigger);
    if (!bigger)
        return LM_ENOMEM;
    memset(bigger + s->cap_animals, 0, (want - s->cap_animals) * sizeof *bigger);
    s->of_animal = bigger;
    s->cap_animals = want;
    return LM_OK;
}

uint32_t lm_session_find_animal(const struct lm_session *s, uint32_t animal)
{
    return animal < s->cap_animals ? s->of_animal[animal] - 1 : LM_NO_SEEN;
}

enum lm_err lm_session_seen_animal(struct lm_session *s, uint32_t animal, uint32_t *seen)
{
    enum lm_err err = fit_animals(s);
    if (err)
        return err;
    *seen = s->of_animal[animal] - 1;
    if (*seen != LM_NO_SEEN)
        return LM_OK;
    err = new_seen(s, animal, seen);
    if (!err)
        s->of_animal[animal] = *seen + 1;
    return err;
}

static uint32_t stranger_hash(struct lm_eid eid)
{
    return (uint32_t) lm_hash_u64(lm_eid_key(eid));
}

static bool is_stranger(const struct lm_session *s, uint32_t index, struct lm_eid eid)
{
    const struct seen *e = &s->seen[index];
    return lm_eid_key((struct lm_eid){.bits = e->bits, .known = e->known}) == lm_eid_key(eid);
}

/** Its place, or the free one where it belongs. */
static uint32_t stranger_slot(const struct lm_session *s, struct lm_eid eid)
{
    uint32_t mask = s->cap_strangers - 1, hash = stranger_hash(eid), at = hash & mask;
    for (; s->strangers[at].seen; at = (at + 1) & mask) {
        if (s->strangers[at].hash == hash && is_stranger(s, s->strangers[at].seen - 1, eid))
            break;
    }
    return at;
}

static enum lm_err grow_strangers(struct lm_session *s)
{
    if (s->n_strangers < s->cap_strangers / 2)
        return LM_OK;
    struct stranger *old = s->strangers;
    uint32_t old_cap = s->cap_strangers, cap = old_cap ? old_cap * 2 : 64;
    struct stranger *bigger = calloc(cap, sizeof *bigger);
    if (!bigger)
        return LM_ENOMEM;
    s->strangers = bigger;
    s->cap_strangers = cap;
    for (uint32_t i = 0; i < old_cap; i++) {
        uint32_t at = old[i].hash & (cap - 1);
        while (old[i].seen && bigger[at].seen)
            at = (at + 1) & (cap - 1);
        if (old[i].seen)
            bigger[at] = old[i];
    }
    free(old);
    return LM_OK;
}

void lm_session_soon(const struct lm_session *s, struct lm_eid eid)
{
    if (s->cap_strangers)
        __builtin_prefetch(&s->strangers[stranger_hash(eid) & (s->cap_strangers - 1)]);
}

uint32_t lm_session_find_stranger(const struct lm_session *s, struct lm_eid eid)
{
    return s->cap_strangers ? s->strangers[stranger_slot(s, eid)].seen - 1 : LM_NO_SEEN;
}

enum lm_err lm_session_seen_stranger(struct lm_session *s, struct lm_eid eid, uint32_t *seen)
{
    enum lm_err err = grow_strangers(s);
    if (err)
        return err;
    uint32_t slot = stranger_slot(s, eid);
    *seen = s->strangers[slot].seen - 1;
    if (*seen != LM_NO_SEEN)
        return LM_OK;
    err = new_seen(s, LM_NO_ANIMAL, seen);
    if (err)
        return err;
    s->seen[*seen].bits = eid.bits;
    s->seen[*seen].known = eid.known;
    s->strangers[slot] = (struct stranger){*seen + 1, stranger_hash(eid)};
    s->n_strangers++;
    return LM_OK;
}

enum lm_err lm_session_mark(struct lm_session *s, enum lm_reason reason, uint32_t seen,
    uint32_t text, const struct lm_event *ev)
{
    void *rows = s->marks;
    enum lm_err err = lm_session_grow(&rows, &s->cap_marks, s->n_marks, sizeof *s->marks);
    s->marks = rows;
    if (err)
        return err;
    s->marks[s->n_marks++] = (struct mark){.reason = reason,
        .seen = seen,
        .other = LM_NO_ANIMAL,
        .text = text,
        .t = ev->t_ms,
        .eid = ev->eid,
        .times = 1};
    return LM_OK;
}

void lm_session_recount(struct lm_session *s, const struct seen *e, bool stood, bool stands)
{
    if (e->animal == LM_NO_ANIMAL || stood == stands)
        return;
    uint32_t expected = lm_roll_animal(s->roll, e->animal).expected;
    if (stands) {
        s->identified++;
        s->present += expected;
    } else {
        s->identified--;
        s->present -= expected;
    }
}

enum lm_attention lm_session_attention(const struct lm_session *s, enum lm_reason reason)
{
    if (s->opened && s->open.kind == LM_SALE)
        return LM_HOLD;
    return (enum lm_attention) s->options.attention[reason];
}

void lm_verdict_add(const struct lm_session *s, struct lm_verdict *v, enum lm_reason reason)
{
    enum lm_attention att = lm_session_attention(s, reason);
    v->reasons |= 1u << reason;
    if (att > v->attention)
        v->attention = att;
}
