#include "race/session_plain.h"

#include "race/roll_priv.h"
#include "race/session_priv.h"

void lm_session_went_by(struct lm_session *s, uint32_t n)
{
    s->roll->n_expected += n;
    s->identified += n;
    s->present += n;
    s->readings += n;
    s->passes += n;
    s->shown[LM_GO] += n;
}
