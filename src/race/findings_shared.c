/*
 * What the register itself has twice: one code or one number on two living animals.
 */
#include "race/findings_priv.h"

#include <string.h>

bool lm_findings_wears_code(const struct lm_session *s, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(s->roll, animal, k);
        if (!d.gone && d.eid.known)
            return true;
    }
    return false;
}

struct lm_eid lm_findings_conflict_code(const struct sighting *call, uint32_t *animal)
{
    *animal = call->by; /* not who wears the code now: two may, and the register may have changed */
    return lm_eid_from_key(call->with);
}

struct lm_eid lm_findings_removed_code(const struct lm_session *s, const struct sighting *call)
{
    char called[LM_VISUAL_MAX + 1], mine[LM_VISUAL_MAX + 1];
    struct lm_roll_animal a = lm_roll_animal(s->roll, call->animal);
    lm_visual_fold_loose(lm_arena_at(&s->arena, call->text), called);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(s->roll, call->animal, k);
        lm_visual_fold_loose(d.visual, mine);
        if (d.gone && strcmp(mine, called) == 0)
            return d.eid;
    }
    return (struct lm_eid){0};
}

uint32_t lm_findings_number_times(const struct lm_session *s, uint32_t i)
{
    char mine[LM_VISUAL_MAX + 1], other[LM_VISUAL_MAX + 1];
    uint32_t times = 0;
    uint32_t from =
        i > 1024 ? i - 1024 : 0; /* bounded: a list of junk is no reason to stand still */
    uint32_t to = s->n_sightings - i > 1024 ? i + 1024 : s->n_sightings;
    lm_visual_fold(lm_arena_at(&s->arena, s->sightings[i].text), mine);
    for (uint32_t k = from; k < to; k++) {
        const struct sighting *call = &s->sightings[k];
        if (!call->unknown || call->undone)
            continue;
        lm_visual_fold(lm_arena_at(&s->arena, call->text), other);
        if (strcmp(mine, other) != 0)
            continue;
        if (k < i)
            return 0;
        times++;
    }
    return times;
}

static bool living(const struct lm_session *s, const struct lm_roll_device *d)
{
    return !d->gone && lm_roll_animal(s->roll, d->animal).status == LM_ON_FARM;
}

/** Two or more living animals of one code or number, found from its first device. */
struct shared {
    uint32_t first, second, n;
    bool matters; /**< one of them is expected or was seen here */
};

static void take(struct shared *g, const struct lm_session *s, const struct lm_roll_device *d)
{
    if (!living(s, d))
        return;
    if ((g->n > 0 && d->animal == g->first) || (g->n > 1 && d->animal == g->second))
        return;
    if (g->n == 0)
        g->first = d->animal;
    else if (g->n == 1)
        g->second = d->animal;
    g->n++;
    if (lm_roll_animal(s->roll, d->animal).expected || lm_session_seen(s, d->animal))
        g->matters = true;
}

static struct shared group_of_code(const struct lm_session *s, struct lm_eid eid)
{
    struct shared g = {LM_NO_ANIMAL, LM_NO_ANIMAL, 0, false};
    struct lm_roll_hits it;
    struct lm_roll_device d;
    for (bool ok = lm_roll_code_first(s->roll, eid, &it, &d); ok;
         ok = lm_roll_code_next(s->roll, &it, &d))
        take(&g, s, &d);
    return g;
}

static struct shared group_of_number(const struct lm_session *s, const char *visual)
{
    struct shared g = {LM_NO_ANIMAL, LM_NO_ANIMAL, 0, false};
    struct lm_roll_hits it;
    struct lm_roll_device d;
    for (bool ok = lm_roll_visual_first(s->roll, visual, &it, &d); ok;
         ok = lm_roll_visual_next(s->roll, &it, &d))
        take(&g, s, &d);
    return g;
}

/** Whether a device is the first living one of its code; only that one reports the group. */
static bool leads_code(const struct lm_session *s, const struct lm_roll_device *mine, uint32_t k)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    bool ok = lm_roll_code_first(s->roll, mine->eid, &it, &d);
    while (ok && !living(s, &d))
        ok = lm_roll_code_next(s->roll, &it, &d);
    if (!ok || d.animal != mine->animal)
        return false;
    for (uint32_t i = 0; i < k; i++) {
        d = lm_roll_device(s->roll, mine->animal, i);
        if (!d.gone && d.eid.known && lm_eid_key(d.eid) == lm_eid_key(mine->eid))
            return false;
    }
    return true;
}

static bool leads_number(const struct lm_session *s, const struct lm_roll_device *mine, uint32_t k)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    char fold[LM_VISUAL_MAX + 1], other[LM_VISUAL_MAX + 1];
    bool ok = lm_roll_visual_first(s->roll, mine->visual, &it, &d);
    while (ok && !living(s, &d))
        ok = lm_roll_visual_next(s->roll, &it, &d);
    if (!ok || d.animal != mine->animal)
        return false;
    lm_visual_fold(mine->visual, fold);
    for (uint32_t i = 0; i < k; i++) {
        d = lm_roll_device(s->roll, mine->animal, i);
        lm_visual_fold(d.visual, other);
        if (!d.gone && strcmp(fold, other) == 0)
            return false;
    }
    return true;
}

static void emit_shared(struct lm_findings_run *run, enum lm_reason reason, struct shared g,
    const struct lm_roll_device *d)
{
    if (g.n < 2 || !g.matters)
        return;
    lm_findings_emit(
        run, (struct lm_finding){.reason = reason,
                 .animal = g.first,
                 .other = g.second,
                 .eid = reason == LM_TWO_ANIMALS_ONE_CODE ? d->eid : (struct lm_eid){0},
                 .text = reason == LM_TWO_ANIMALS_ONE_NUMBER ? d->visual : NULL,
                 .t_ms = LM_TIME_NONE,
                 .times = g.n});
}

static void shared_of(struct lm_findings_run *run, uint32_t animal, enum lm_reason reason)
{
    const struct lm_session *s = run->s;
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        bool alone = reason == LM_TWO_ANIMALS_ONE_CODE ? lm_roll_code_alone(s->roll, animal, k)
                                                       : lm_roll_visual_alone(s->roll, animal, k);
        if (alone)
            continue;
        struct lm_roll_device d = lm_roll_device(s->roll, animal, k);
        if (!living(s, &d))
            continue;
        if (reason == LM_TWO_ANIMALS_ONE_CODE) {
            if (d.eid.known && leads_code(s, &d, k))
                emit_shared(run, reason, group_of_code(s, d.eid), &d);
        } else if (d.visual[0] && leads_number(s, &d, k)) {
            emit_shared(run, reason, group_of_number(s, d.visual), &d);
        }
    }
}

void lm_findings_shared(struct lm_findings_run *run)
{
    for (uint32_t i = 0, n = lm_roll_animals(run->s->roll); i < n; i++)
        shared_of(run, i, LM_TWO_ANIMALS_ONE_CODE);
    for (uint32_t i = 0, n = lm_roll_animals(run->s->roll); i < n; i++)
        shared_of(run, i, LM_TWO_ANIMALS_ONE_NUMBER);
}
