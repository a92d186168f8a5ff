/* Explanations of numbers that contradict a code, and of two codes in one pass. */
#include "race/explain_priv.h"

#include <math.h>
#include <stdlib.h>

static double least(const struct ex *x)
{
    return x->options->least > 0.0 ? x->options->least : 0.05;
}

static struct lm_eid code_of(const struct ex *x, uint32_t animal)
{
    uint32_t n = lm_roll_animal(x->roll, animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(x->roll, animal, k);
        if (!d.gone && d.eid.known)
            return d.eid;
    }
    return (struct lm_eid){0};
}

static void out_misread(const struct ex *x, const struct ex_clash *c, struct lm_explain *out)
{
    struct ex_draft d;
    ex_draft(&d, out, LM_EX_MISREAD, c->misread);
    ex_draft_animal(&d, c->animal);
    ex_draft_code(&d, c->eid);
    d.e.sighting = c->text;
    d.e.as = ex_number_of(x->roll, c->animal);
    d.e.best = c->misread >= c->swap && (c->group == EX_NONE || x->runs[c->group].p < c->misread);
    ex_say_clash(x, c, &d);
    ex_keep(out, &d);
}

static void out_swap(const struct ex *x, const struct ex_clash *c, struct lm_explain *out)
{
    struct ex_draft d;
    ex_draft(&d, out, LM_EX_SWAPPED, c->swap);
    ex_draft_animal(&d, c->animal);
    ex_draft_animal(&d, c->other);
    ex_draft_code(&d, c->eid);
    ex_draft_code(&d, code_of(x, c->other));
    d.e.sighting = c->text;
    d.e.best = c->swap > c->misread && (c->group == EX_NONE || x->runs[c->group].p < c->swap);
    ex_say_clash(x, c, &d);
    ex_keep(out, &d);
}

/** The run as a list of animals and codes in strip order. */
static void out_run(
    const struct ex *x, const struct ex_run *r, const char *sighting, struct lm_explain *out)
{
    struct ex_draft d;
    uint32_t n = r->last - r->first + 1;
    uint32_t *animals = calloc(n, sizeof *animals);
    struct lm_eid *codes = calloc(n, sizeof *codes);
    ex_draft(&d, out, LM_EX_SHIFTED_RUN, r->p * r->ends);
    if (!animals || !codes) {
        out->err = LM_ENOMEM;
    } else {
        for (uint32_t i = 0; i < n; i++) {
            animals[i] = x->places[r->first + i].animal;
            codes[i] = lm_eid_from_key(x->places[r->first + i].key);
        }
        d.e.animals = animals;
        d.e.eid = codes;
        d.e.n_animals = d.e.n_eid = n;
        d.e.offset = r->offset;
        d.e.sighting = sighting;
        d.e.best = r->p > 0.5;
        ex_say_run(x, r, &d);
        ex_keep(out, &d);
    }
    free(animals);
    free(codes);
}

/** A run of which one call only was made: the two places are what is known of it. */
static void out_short_run(const struct ex *x, const struct ex_clash *c, struct lm_explain *out)
{
    struct ex_run r = {.first = c->place < c->other_place ? c->place : c->other_place,
        .last = c->place < c->other_place ? c->other_place : c->place,
        .offset = (int) (x->places[c->other_place].position - x->places[c->place].position),
        .calls = 1,
        .ends = c->ends,
        .p = c->run};
    out_run(x, &r, c->text, out);
}

static void out_clash(const struct ex *x, const struct ex_clash *c, struct lm_explain *out)
{
    bool in_run = c->group != EX_NONE && x->runs[c->group].p >= least(x);
    bool second = c->partner != EX_NONE && x->clashes[c->partner].sighting < c->sighting;
    double top = fmax(c->misread, fmax(c->swap, c->run));
    if (c->misread >= least(x) || (!in_run && c->misread == top))
        out_misread(x, c, out);
    if (c->swap >= least(x) && !second)
        out_swap(x, c, out);
    if (c->run >= least(x))
        out_short_run(x, c, out);
}

/** Two animals' codes in one pass: they walked as one, or one of them wears both. */
static void out_two_codes(const struct lm_finding *f, void *ctx)
{
    struct ex_draft d;
    if (f->reason != LM_CODES_DIFFER)
        return;
    ex_draft(&d, ctx, LM_EX_SWAPPED, 0.1);
    ex_draft_animal(&d, f->animal);
    ex_draft_animal(&d, f->other);
    ex_draft_code(&d, f->eid);
    ex_draft_code(&d, f->eid2);
    ex_because(&d, "codes of two animals came in one pass");
    ex_against(&d, "two animals pressed together look the same to a reader");
    ex_keep(ctx, &d);
}

void ex_out_clashes(const struct ex *x, struct lm_explain *out)
{
    for (uint32_t g = 0; g < x->n_runs; g++) {
        if (x->runs[g].p >= least(x)) /* however little of its ends is known, it covers its calls */
            out_run(x, &x->runs[g], NULL, out);
    }
    for (uint32_t i = 0; i < x->n_clashes; i++)
        out_clash(x, &x->clashes[i], out);
    enum lm_err err = lm_session_findings(x->s, NULL, out_two_codes, out);
    out->err = out->err ? out->err : err;
}
