#include "race/session_priv.h"

#include <stdlib.h>
#include <string.h>

struct lm_session *lm_session_new(struct lm_roll *roll, const struct lm_session_options *options)
{
    struct lm_session *s = calloc(1, sizeof *s);
    if (!s)
        return NULL;
    if (lm_arena_init(&s->arena)) {
        free(s);
        return NULL;
    }
    s->roll = roll;
    s->opened_ms = s->closed_ms = LM_TIME_NONE;
    if (options)
        s->options = *options;
    else
        lm_session_defaults(&s->options);
    return s;
}

void lm_session_free(struct lm_session *s)
{
    if (!s)
        return;
    lm_arena_free(&s->arena);
    free(s->of_animal);
    free(s->seen);
    free(s->strangers);
    free(s->marks);
    free(s->sightings);
    free(s->heads);
    free(s->acts);
    free(s);
}

enum lm_err lm_session_lane_rearm(struct lm_session *s, const char *lane, int64_t rearm_ms)
{
    s->lanes[lm_session_lane(s, lane)].rearm_ms = rearm_ms;
    return LM_OK;
}

static enum lm_err open_session(struct lm_session *s, const struct lm_event *ev)
{
    if (s->opened || !ev->open)
        return LM_EARG;
    s->open = *ev->open;
    s->open.keys = NULL;
    s->open.n_keys = 0;
    s->opened = true;
    s->opened_ms = ev->t_ms;
    lm_session_settings(s, ev->open->settings);
    if (ev->open->keys)
        lm_roll_expect_keys(s->roll, ev->open->keys, ev->open->n_keys);
    else
        lm_roll_expect_mob(s->roll, ev->open->mob);
    return LM_OK;
}

static enum lm_err count_heads(struct lm_session *s, const struct lm_event *ev)
{
    void *rows = s->heads;
    enum lm_err err = lm_session_grow(&rows, &s->cap_heads, s->n_heads, sizeof *s->heads);
    s->heads = rows;
    if (err)
        return err;
    rows = s->acts;
    err = lm_session_grow(&rows, &s->cap_acts, s->n_acts, sizeof *s->acts);
    s->acts = rows;
    if (err)
        return err;
    s->acts[s->n_acts++] = s->n_heads * 2 + 1;
    s->heads[s->n_heads++] = (struct heads){
        .t = ev->t_ms, .n = ev->heads, .lane = (uint8_t) lm_session_lane(s, ev->lane)};
    return LM_OK;
}

static enum lm_err undo(struct lm_session *s)
{
    if (!s->n_acts)
        return LM_EARG;
    uint32_t act = s->acts[--s->n_acts];
    if (act & 1) {
        s->heads[act / 2].undone = true;
        return LM_OK;
    }
    struct sighting *call = &s->sightings[act / 2];
    call->undone = true;
    uint32_t index =
        call->animal == LM_NO_ANIMAL ? LM_NO_SEEN : lm_session_find_animal(s, call->animal);
    if (index != LM_NO_SEEN) {
        struct seen *e = &s->seen[index];
        bool stood = lm_seen_stands(e);
        if (e->sightings)
            e->sightings--;
        if (call->again && e->again)
            e->again--;
        lm_session_recount(s, e, stood, lm_seen_stands(e));
    }
    if (call->from != LM_NO_ANIMAL)
        lm_session_move_pass(s, call->animal, call->from);
    return LM_OK;
}

/** The entry of an animal changes: it leaves the tallies as it was and joins them as it is. */
static enum lm_err change_register(struct lm_session *s, const struct lm_event *ev)
{
    if (!ev->record)
        return LM_EARG;
    uint32_t animal = lm_roll_by_key(s->roll, ev->record->key);
    uint32_t index = animal == LM_NO_ANIMAL ? LM_NO_SEEN : lm_session_find_animal(s, animal);
    bool stands = index != LM_NO_SEEN && lm_seen_stands(&s->seen[index]);
    if (stands)
        lm_session_recount(s, &s->seen[index], true, false);
    enum lm_err err = lm_roll_put(s->roll, ev->record, NULL);
    if (stands)
        lm_session_recount(s, &s->seen[index], false, true);
    return err;
}

static enum lm_err apply(struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v)
{
    switch (ev->kind) {
    case LM_EVENT_READING:
        return lm_session_reading(s, ev, v);
    case LM_EVENT_SIGHTING:
        return lm_session_sighting(s, ev, v);
    case LM_EVENT_HEADS:
        return count_heads(s, ev);
    case LM_EVENT_UNDO:
        return undo(s);
    case LM_EVENT_OPEN:
        return open_session(s, ev);
    case LM_EVENT_CLOSE:
        s->closed = true;
        s->closed_ms = ev->t_ms;
        return LM_OK;
    case LM_EVENT_REGISTER:
        return change_register(s, ev);
    }
    return LM_EARG;
}

enum lm_err lm_session_apply(
    struct lm_session *s, const struct lm_event *ev, struct lm_verdict *verdict)
{
    struct lm_verdict v = {.animal = LM_NO_ANIMAL};
    if (s->closed)
        return ev->kind == LM_EVENT_REGISTER ? LM_OK : LM_EARG;
    enum lm_err err = apply(s, ev, &v);
    bool shows = ev->kind == LM_EVENT_SIGHTING || (ev->kind == LM_EVENT_READING && !v.repeat);
    if (!err && shows)
        s->shown[v.attention]++;
    if (verdict)
        *verdict = v;
    return err;
}

const struct lm_open *lm_session_open_of(const struct lm_session *s)
{
    return s->opened ? &s->open : NULL;
}

int64_t lm_session_opened_ms(const struct lm_session *s)
{
    return s->opened_ms;
}

int64_t lm_session_closed_ms(const struct lm_session *s)
{
    return s->closed_ms;
}

bool lm_session_is_closed(const struct lm_session *s)
{
    return s->closed;
}

const struct lm_roll *lm_session_roll(const struct lm_session *s)
{
    return s->roll;
}

struct lm_eid lm_session_last_pass(const struct lm_session *s, const char *lane)
{
    unsigned i = s->last_lane;
    if (lane[0]) {
        for (i = 0; i < s->n_lanes && strcmp(s->lanes[i].name, lane) != 0; i++)
            ;
    }
    if (i >= s->n_lanes || s->lanes[i].recent[0].seen == LM_NO_SEEN)
        return (struct lm_eid){0};
    const struct seen *e = &s->seen[s->lanes[i].recent[0].seen];
    return (struct lm_eid){.bits = e->bits, .known = e->known};
}

bool lm_session_seen(const struct lm_session *s, uint32_t animal)
{
    uint32_t index = lm_session_find_animal(s, animal);
    return index != LM_NO_SEEN && lm_seen_stands(&s->seen[index]);
}
