#include "lugmark/estimate.h"
#include "race/session_priv.h"

void lm_seen_each(const struct lm_session *s, lm_seen_fn *fn, void *ctx)
{
    for (uint32_t i = 0; i < s->n_seen; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal == LM_NO_ANIMAL || !lm_seen_stands(e))
            continue;
        fn(&(struct lm_seen_how){e->animal, e->readings > 0, e->sightings > 0}, ctx);
    }
}
