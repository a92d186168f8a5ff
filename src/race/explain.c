/* Explaining a session: gather, pair, solve, and hand out. See explain.h for the model. */
#include "race/explain_priv.h"

#include <stdlib.h>

const char *lm_explain_kind_name(enum lm_explain_kind kind)
{
    static const char *const names[LM_EX_KINDS] = {"new-device", "misread-number", "swapped",
        "shifted-run", "stranger", "failed-eid", "absent"};
    return kind < LM_EX_KINDS ? names[kind] : "";
}

static void release(struct ex *x)
{
    free(x->animals);
    free(x->items);
    free(x->pairs);
    free(x->edges);
    free(x->clashes);
    free(x->places);
    free(x->runs);
    free(x->node_of);
    free(x->calls_of);
    free(x->stock_sorted);
    free(x->swapped);
    free(x->numbers.slots);
    free(x->numbers.links);
    free(x->best);
}

static void keep_basis(const struct ex *x, struct lm_explain *out)
{
    const struct lm_explain_options *o = x->options;
    out->tally = x->tally;
    out->history = o->history;
    out->aged = x->aged;
    for (uint32_t i = 0; i < o->n_lives; i++) {
        /* the widest curve holds the devices of all the others */
        if (o->lives[i].devices > out->devices) {
            out->devices = o->lives[i].devices;
            out->ended = o->lives[i].ended;
        }
    }
}

enum lm_err lm_explain(const struct lm_session *session, const struct lm_explain_options *options,
    struct lm_explain **out)
{
    static const struct lm_explain_options plain = {0};
    struct ex x = {.s = session,
        .roll = lm_session_roll(session),
        .options = options ? options : &plain,
        .unknown_heads = -1.0};
    *out = calloc(1, sizeof **out);
    enum lm_err err = *out ? LM_OK : LM_ENOMEM;
    if (!err)
        (*out)->speech = x.options->speech ? x.options->speech : &ex_english;
    lm_session_tally(session, &x.sum);
    if (!err)
        err = ex_gather(&x);
    if (!err)
        err = ex_runs(&x);
    if (!err)
        err = ex_pairs(&x);
    if (!err)
        err = ex_solve(&x);
    if (!err)
        err = ex_clash_weigh(&x);
    if (!err) {
        ex_out_clashes(&x, *out);
        ex_out_matches(&x, *out);
        keep_basis(&x, *out);
        err = (*out)->err;
    }
    if (!err)
        ex_order(*out);
    release(&x);
    if (err) {
        lm_explain_free(*out);
        *out = NULL;
    }
    return err;
}
