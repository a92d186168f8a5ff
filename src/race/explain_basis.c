/* What the answer rests on, in words and as counts for the next one. */
#include "race/explain_priv.h"

#include <stdio.h>
#include <string.h>

void lm_explain_tally(const struct lm_explain *x, struct lm_explain_history *sum)
{
    const struct lm_explain_history *t = &x->tally;
    sum->sessions += t->sessions;
    sum->expected += t->expected;
    sum->absent += t->absent;
    sum->dead += t->dead;
    sum->fresh += t->fresh;
    sum->stranger += t->stranger;
    sum->calls += t->calls;
    sum->misread += t->misread;
}

static double per_hundred(double n, double of)
{
    return of > 0.0 ? 100.0 * n / of : 0.0;
}

const char *lm_explain_basis(const struct lm_explain *x, char out[LM_EXPLAIN_BASIS_MAX])
{
    const struct lm_explain_history *h = &x->history;
    size_t n = 0;
    const struct lm_speech *in = x->speech;
    if (h->sessions)
        snprintf(out, LM_EXPLAIN_BASIS_MAX,
            in->counted(
                "Rates rest on this session and %u earlier one: of 100 expected, %.1f absent, %.1f "
                "with a dead code, %.1f with a new device, %.1f strangers; of 100 calls %.1f "
                "misread.",
                "Rates rest on this session and %u earlier ones: of 100 expected, %.1f absent, "
                "%.1f with a dead code, %.1f with a new device, %.1f strangers; of 100 calls %.1f "
                "misread.",
                h->sessions),
            h->sessions, per_hundred(h->absent, h->expected), per_hundred(h->dead, h->expected),
            per_hundred(h->fresh, h->expected), per_hundred(h->stranger, h->expected),
            per_hundred(h->misread, h->calls));
    else
        snprintf(out, LM_EXPLAIN_BASIS_MAX, "%s",
            in->text(N_("Rates rest on this session alone and on usual ones; no earlier session "
                        "was used.")));
    n = strlen(out);
    if (!x->aged)
        return out;
    if (x->devices)
        snprintf(out + n, LM_EXPLAIN_BASIS_MAX - n,
            in->counted(" Ages of devices: on %u watched here, of which %u ended.",
                " Ages of devices: on %u watched here, of which %u ended.", x->devices),
            x->devices, x->ended);
    else
        snprintf(out + n, LM_EXPLAIN_BASIS_MAX - n, "%s",
            in->text(N_(" Ages of devices: on a usual curve.")));
    return out;
}
