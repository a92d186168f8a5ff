/*
 * A sighting: a number that a person called, for the animal just read or for one that gave no
 * reading. In a conflict the call makes nobody present: it may be a misread number.
 */
#include "race/findings_priv.h"

#include <string.h>

/** Whom a called number names. */
struct named {
    uint32_t animal; /**< LM_NO_ANIMAL: nobody */
    bool removed;    /**< only a removed device carries the number */
};

/** Prefer worn to removed, living to gone, expected and unseen to the others; then the first. */
static int rank(const struct lm_session *s, const struct lm_roll_device *d)
{
    struct lm_roll_animal a = lm_roll_animal(s->roll, d->animal);
    uint32_t seen = lm_session_find_animal(s, d->animal);
    bool unseen = seen == LM_NO_SEEN || !lm_seen_stands(&s->seen[seen]);
    return (d->gone ? 0 : 8) + (a.status == LM_ON_FARM ? 4 : 0) + (a.expected ? 2 : 0) + unseen;
}

static struct named name_of(const struct lm_session *s, const char *visual)
{
    struct named who = {.animal = LM_NO_ANIMAL};
    struct lm_roll_hits it;
    struct lm_roll_device d;
    int best = -1;
    unsigned n = 0;
    for (bool ok = lm_roll_visual_first(s->roll, visual, &it, &d); ok && n++ < LM_NUMBER_HITS;
         ok = lm_roll_visual_next(s->roll, &it, &d)) {
        int mine = rank(s, &d);
        if (mine > best) {
            best = mine;
            who = (struct named){d.animal, d.gone};
        }
    }
    return who;
}

/** How a number stands to the devices of one animal. */
enum match { MATCH_NONE, MATCH_NO_NUMBERS, MATCH_REMOVED, MATCH_WORN };

static bool same_number(const char *a, const char *b)
{
    char fa[LM_VISUAL_MAX + 1], fb[LM_VISUAL_MAX + 1];
    lm_visual_fold_loose(a, fa);
    lm_visual_fold_loose(b, fb);
    return strcmp(fa, fb) == 0;
}

static enum match match_of(const struct lm_session *s, uint32_t animal, const char *visual)
{
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    enum match best = MATCH_NO_NUMBERS;
    bool any_worn = false, removed = false;
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(s->roll, animal, k);
        if (!d.visual[0])
            continue;
        any_worn |= !d.gone;
        if (!same_number(d.visual, visual))
            continue;
        if (!d.gone)
            return MATCH_WORN;
        removed = true;
    }
    if (removed)
        best = MATCH_REMOVED;
    else if (any_worn)
        best = MATCH_NONE;
    return best;
}

bool lm_session_move_pass(struct lm_session *s, uint32_t from, uint32_t to)
{
    uint32_t index = lm_session_find_animal(s, from);
    if (from == to || index == LM_NO_SEEN || lm_session_find_animal(s, to) != LM_NO_SEEN)
        return false;
    struct seen *e = &s->seen[index];
    if (e->passes != 1 || e->sightings || to >= s->cap_animals)
        return false;
    lm_session_recount(s, e, true, false);
    e->animal = to;
    s->of_animal[from] = 0;
    s->of_animal[to] = index + 1;
    lm_session_recount(s, e, false, true);
    return true;
}

/** Of those who carry the code of a pass: who was read, and who has the called number. */
struct carriers {
    uint32_t read, named, any;
};

static struct carriers carriers_of(
    const struct lm_session *s, struct lm_eid with, const char *visual)
{
    struct carriers c = {LM_NO_ANIMAL, LM_NO_ANIMAL, LM_NO_ANIMAL};
    struct lm_roll_hits it;
    struct lm_roll_device d;
    unsigned n = 0;
    for (bool ok = lm_roll_code_first(s->roll, with, &it, &d); ok && n++ < LM_NUMBER_HITS;
         ok = lm_roll_code_next(s->roll, &it, &d)) {
        uint32_t seen = lm_session_find_animal(s, d.animal);
        if (!d.gone && seen != LM_NO_SEEN && s->seen[seen].readings)
            c.read = d.animal;
        if (!d.gone && c.named == LM_NO_ANIMAL && match_of(s, d.animal, visual) == MATCH_WORN)
            c.named = d.animal;
        if (!d.gone || c.any == LM_NO_ANIMAL)
            c.any = d.animal;
    }
    return c;
}

/** The animal that a pass belongs to, or LM_NO_ANIMAL for a stranger's. */
static uint32_t animal_of_pass(
    struct lm_session *s, struct lm_eid with, const char *visual, struct sighting *call)
{
    struct carriers c = carriers_of(s, with, visual);
    if (c.named != LM_NO_ANIMAL) {
        if (c.read != LM_NO_ANIMAL && lm_session_move_pass(s, c.read, c.named))
            call->from = c.read;
        return c.named;
    }
    return c.read != LM_NO_ANIMAL ? c.read : c.any;
}

static enum lm_err make_present(struct lm_session *s, uint32_t animal, const struct lm_event *ev,
    struct sighting *call, struct lm_verdict *v)
{
    uint32_t index;
    enum lm_err err = lm_session_seen_animal(s, animal, &index);
    if (err)
        return err;
    struct seen *e = &s->seen[index];
    bool stood = lm_seen_stands(e);
    if (e->first_t == LM_TIME_NONE)
        e->first_t = ev->t_ms;
    /* called long after it was last here: it came past a second time, or another was misheard */
    if (!call->with && lm_seen_stands(e) && ev->clock_ms != LM_TIME_NONE &&
        e->clock != LM_TIME_NONE && ev->clock_ms - e->clock > s->options.rearm_ms)
        call->again = true;
    if (e->sightings < UINT16_MAX)
        e->sightings++;
    if (call->again && e->again < UINT8_MAX)
        e->again++;
    if (!e->readings && ev->clock_ms != LM_TIME_NONE)
        e->clock = ev->clock_ms;
    lm_session_recount(s, e, stood, true);
    if (call->again && !(e->facts & SAW_AGAIN)) {
        e->facts |= SAW_AGAIN;
        lm_verdict_add(s, v, LM_SAME_ANIMAL_AGAIN);
        err = lm_session_mark(s, LM_SAME_ANIMAL_AGAIN, index, 0, ev);
    }
    return err;
}

static enum lm_err called_alone(
    struct lm_session *s, const struct lm_event *ev, struct sighting *call, struct lm_verdict *v)
{
    struct named who = name_of(s, ev->text);
    call->animal = who.animal;
    v->animal = who.animal;
    if (who.animal == LM_NO_ANIMAL) {
        call->unknown = !call->with; /* with a stranger's code it is that stranger's number */
        lm_verdict_add(s, v, LM_NOT_IN_REGISTER);
        return LM_OK;
    }
    enum lm_err err = make_present(s, who.animal, ev, call, v);
    if (err)
        return err;
    const struct seen *e = &s->seen[lm_session_find_animal(s, who.animal)];
    call->removed = who.removed;
    if (who.removed)
        lm_verdict_add(s, v, LM_REMOVED_DEVICE);
    if (!e->readings && lm_findings_wears_code(s, who.animal))
        lm_verdict_add(s, v, LM_NO_READING);
    lm_session_judge_animal(s, who.animal, v);
    return err;
}

static enum lm_err called_for(struct lm_session *s, uint32_t animal, const struct lm_event *ev,
    struct sighting *call, struct lm_verdict *v)
{
    v->animal = animal;
    v->eid = ev->eid;
    enum match m = match_of(s, animal, ev->text);
    if (m == MATCH_NONE) {
        call->conflict = true;
        call->by = animal;
        call->other = name_of(s, ev->text).animal;
        lm_verdict_add(s, v, LM_NUMBER_DIFFERS);
        return LM_OK;
    }
    call->animal = animal;
    enum lm_err err = make_present(s, animal, ev, call, v);
    call->removed = m == MATCH_REMOVED;
    if (call->removed)
        lm_verdict_add(s, v, LM_REMOVED_DEVICE);
    return err;
}

enum lm_err lm_session_sighting(
    struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v)
{
    char fold[LM_VISUAL_MAX + 1];
    if (!lm_visual_fold(ev->text, fold))
        return LM_EARG;
    void *rows = s->sightings;
    enum lm_err err =
        lm_session_grow(&rows, &s->cap_sightings, s->n_sightings, sizeof *s->sightings);
    s->sightings = rows;
    if (!err) {
        rows = s->acts;
        err = lm_session_grow(&rows, &s->cap_acts, s->n_acts, sizeof *s->acts);
        s->acts = rows;
    }
    struct sighting call = {.animal = LM_NO_ANIMAL,
        .other = LM_NO_ANIMAL,
        .from = LM_NO_ANIMAL,
        .t = ev->t_ms,
        .with = ev->eid.known ? lm_eid_key(ev->eid) : 0,
        .cut = ev->cut};
    if (!err)
        err = lm_arena_add(&s->arena, ev->text, &call.text);
    if (err)
        return err;
    uint32_t animal = call.with ? animal_of_pass(s, ev->eid, ev->text, &call) : LM_NO_ANIMAL;
    err = animal != LM_NO_ANIMAL ? called_for(s, animal, ev, &call, v)
                                 : called_alone(s, ev, &call, v);
    if (call.cut)
        lm_verdict_add(s, v, LM_DAMAGED_TEXT);
    s->acts[s->n_acts++] = s->n_sightings * 2;
    s->sightings[s->n_sightings++] = call;
    return err;
}
