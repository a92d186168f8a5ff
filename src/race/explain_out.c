/* From probabilities of pairs to explanations of missing animals, strange codes and numbers. */
#include "race/explain_priv.h"

#include <math.h>

static double least(const struct ex *x)
{
    return x->options->least > 0.0 ? x->options->least : 0.05;
}

/** Pairs are made item after item: look an edge's pair up. */
const struct ex_pair *ex_pair_of(const struct ex *x, uint32_t animal, uint32_t item)
{
    uint32_t lo = 0, hi = x->n_pairs;
    while (lo < hi) {
        uint32_t mid = (lo + hi) / 2;
        if (x->pairs[mid].item < item)
            lo = mid + 1;
        else
            hi = mid;
    }
    while (x->pairs[lo].animal != animal)
        lo++;
    return &x->pairs[lo];
}

static void out_code(
    const struct ex *x, const struct ex_pair *pair, double p, struct lm_explain *out)
{
    const struct ex_item *item = &x->items[pair->item];
    const struct ex_animal *a = &x->animals[pair->animal];
    struct ex_draft d;
    ex_draft(&d, out, LM_EX_NEW_DEVICE, p);
    ex_draft_animal(&d, a->animal);
    ex_draft_code(&d, item->eid);
    d.e.sighting = item->text;
    if (item->text && pair->evidence & EV_CONFUSED)
        d.e.as = a->number;
    if (item->stock != EX_NONE)
        d.e.printed = x->options->stock[item->stock].visual;
    d.e.best = x->best[pair->animal] == pair->item;
    ex_say_pair(x, pair, &d);
    ex_keep(out, &d);
}

static void out_call(
    const struct ex *x, const struct ex_pair *pair, double p, struct lm_explain *out)
{
    const struct ex_item *item = &x->items[pair->item];
    const struct ex_animal *a = &x->animals[pair->animal];
    struct ex_draft d;
    ex_draft(&d, out, LM_EX_MISREAD, p);
    ex_draft_animal(&d, a->animal);
    d.e.sighting = item->text;
    d.e.as = a->number;
    d.e.best = x->best[pair->animal] == pair->item;
    ex_say_pair(x, pair, &d);
    ex_keep(out, &d);
}

static void out_stranger(const struct ex *x, const struct ex_item *item, struct lm_explain *out)
{
    struct ex_draft d;
    ex_draft(&d, out, LM_EX_STRANGER, item->p_alone);
    ex_draft_code(&d, item->eid);
    d.e.sighting = item->text;
    ex_say_stranger(x, item, &d);
    ex_keep(out, &d);
}

/** What speaks for an animal's own fate, apart from any strange code. */
static void out_fate(const struct ex *x, uint32_t node, enum lm_explain_kind kind, double p,
    bool best, struct lm_explain *out)
{
    const struct ex_animal *a = &x->animals[node];
    struct ex_draft d;
    ex_draft(&d, out, kind, p);
    ex_draft_animal(&d, a->animal);
    if (kind == LM_EX_FAILED_EID && a->lone)
        d.e.sighting = a->number[0] ? a->number : NULL;
    d.e.best = best;
    ex_say_animal(x, a, &d);
    ex_keep(out, &d);
}

static void out_animal(
    const struct ex *x, uint32_t node, double own, double other, struct lm_explain *out)
{
    const struct ex_animal *a = &x->animals[node];
    double here = 1.0 - x->swapped[a->animal];
    double absent = a->p_alone * x->rates.absent / a->alone * here;
    double failed =
        a->coded ? (own + a->p_alone - a->p_alone * x->rates.absent / a->alone) * here : 0.0;
    uint32_t best = x->best[node];
    bool alone = best == LM_MATCH_NONE || x->items[best].owner == node;
    if (!a->coded)
        absent = a->p_alone * here;
    bool gone = absent >= failed;
    double top = fmax(absent, failed);
    bool uncovered = other < least(x);
    if (absent >= least(x) || (uncovered && gone))
        out_fate(x, node, LM_EX_ABSENT, absent, alone && gone, out);
    if (failed >= least(x) || (uncovered && !gone && top > 0.0))
        out_fate(x, node, LM_EX_FAILED_EID, failed, alone && !gone, out);
}

void ex_out_matches(const struct ex *x, struct lm_explain *out)
{
    uint32_t e = 0;
    for (uint32_t i = 0; i < x->n_animals; i++) {
        double own = 0.0, other = 0.0;
        for (; e < x->n_pairs && x->edges[e].left == i; e++) {
            const struct ex_item *item = &x->items[x->edges[e].right];
            double p = x->edges[e].p;
            if (item->owner == i && item->type == EX_CALL) {
                own = p;
                continue;
            }
            other = fmax(other, p);
            if (p < least(x))
                continue;
            const struct ex_pair *pair = ex_pair_of(x, i, x->edges[e].right);
            if (item->type == EX_CODE)
                out_code(x, pair, p, out);
            else
                out_call(x, pair, p, out);
        }
        out_animal(x, i, own, other, out);
    }
    for (uint32_t i = 0; i < x->n_items; i++) {
        const struct ex_item *item = &x->items[i];
        bool covered = 1.0 - item->p_alone - item->p_fresh >= least(x);
        if (item->type != EX_CALL && (item->p_alone >= least(x) || !covered))
            out_stranger(x, item, out);
    }
}
