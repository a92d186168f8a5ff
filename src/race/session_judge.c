/*
 * What the register itself says about an animal that passes: its status, its mob, and codes or
 * numbers that it shares with another living animal.
 */
#include "race/session_priv.h"

enum lm_reason lm_session_unexpected(const struct lm_session *s, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    switch ((enum lm_status) a.status) {
    case LM_SOLD:
        return LM_WAS_SOLD;
    case LM_DEAD:
        return LM_WAS_DEAD;
    case LM_SLAUGHTERED:
        return LM_WAS_SLAUGHTERED;
    case LM_LOST:
        return LM_WAS_LOST;
    case LM_ON_FARM:
        break;
    }
    if (a.expected)
        return LM_REASONS;
    return s->opened && (s->open.kind == LM_SALE || s->open.lot[0]) ? LM_OTHER_LOT : LM_OTHER_MOB;
}

static bool lives_elsewhere(const struct lm_session *s, const struct lm_roll_device *d, uint32_t me)
{
    return d->animal != me && !d->gone && lm_roll_animal(s->roll, d->animal).status == LM_ON_FARM;
}

static bool shares_code(const struct lm_session *s, uint32_t me, struct lm_eid eid)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    unsigned n = 0;
    for (bool ok = lm_roll_code_first(s->roll, eid, &it, &d); ok && n++ < LM_NUMBER_HITS;
         ok = lm_roll_code_next(s->roll, &it, &d)) {
        if (lives_elsewhere(s, &d, me))
            return true;
    }
    return false;
}

static bool shares_number(const struct lm_session *s, uint32_t me, const char *visual)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    unsigned n = 0;
    for (bool ok = lm_roll_visual_first(s->roll, visual, &it, &d); ok && n++ < LM_NUMBER_HITS;
         ok = lm_roll_visual_next(s->roll, &it, &d)) {
        if (lives_elsewhere(s, &d, me))
            return true;
    }
    return false;
}

void lm_session_judge_animal(const struct lm_session *s, uint32_t animal, struct lm_verdict *v)
{
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    enum lm_reason unexpected = lm_session_unexpected(s, animal);
    if (unexpected != LM_REASONS)
        lm_verdict_add(s, v, unexpected);
    if (a.status != LM_ON_FARM)
        return;
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(s->roll, animal, k);
        if (d.gone)
            continue;
        if (d.eid.known && !lm_roll_code_alone(s->roll, animal, k) && shares_code(s, animal, d.eid))
            lm_verdict_add(s, v, LM_TWO_ANIMALS_ONE_CODE);
        if (d.visual[0] && !lm_roll_visual_alone(s->roll, animal, k) &&
            shares_number(s, animal, d.visual))
            lm_verdict_add(s, v, LM_TWO_ANIMALS_ONE_NUMBER);
    }
}
