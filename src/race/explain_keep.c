/* The explanations handed out: their arrays and texts live in blocks that never move. */
#include "race/explain_priv.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 65536u

struct ex_block {
    struct ex_block *next;
    size_t used, size;
    max_align_t room[];
};

static void *keep(struct lm_explain *out, const void *from, size_t size)
{
    size_t whole = (size + sizeof(max_align_t) - 1) / sizeof(max_align_t) * sizeof(max_align_t);
    struct ex_block *b = out->blocks;
    if (!b || b->size - b->used < whole) {
        size_t room = whole > BLOCK ? whole : BLOCK;
        b = malloc(sizeof *b + room);
        if (!b) {
            out->err = LM_ENOMEM;
            return NULL;
        }
        *b = (struct ex_block){.next = out->blocks, .size = room};
        out->blocks = b;
    }
    char *at = (char *) b->room + b->used;
    b->used += whole;
    if (size)
        memcpy(at, from, size);
    return at;
}

static const char *keep_text(struct lm_explain *out, const char *text)
{
    return text ? keep(out, text, strlen(text) + 1) : NULL;
}

static const char *as_it_is(const char *english)
{
    return english;
}

static const char *counted(const char *one, const char *many, unsigned long n)
{
    return n == 1 ? one : many;
}

const struct lm_speech ex_english = {as_it_is, counted};

void ex_draft(
    struct ex_draft *d, const struct lm_explain *for_list, enum lm_explain_kind kind, double p)
{
    d->speech = for_list->speech ? for_list->speech : &ex_english;
    memset(&d->e, 0, sizeof d->e);
    d->e.kind = kind;
    d->e.probability = p < 0.001 ? 0.001 : p > 0.999 ? 0.999 : p;
    d->e.animals = d->one;
    d->e.eid = d->codes;
    d->e.because = d->because;
}

void ex_draft_animal(struct ex_draft *d, uint32_t animal)
{
    if (animal != LM_NO_ANIMAL && d->e.n_animals < 2)
        d->one[d->e.n_animals++] = animal;
}

void ex_draft_code(struct ex_draft *d, struct lm_eid eid)
{
    if (eid.known && d->e.n_eid < 2)
        d->codes[d->e.n_eid++] = eid;
}

static void add_line(struct ex_draft *d, bool against, const char *said)
{
    if (d->e.n_because == EX_BECAUSE_MAX)
        return;
    char *line = d->lines[d->e.n_because];
    char whole[600];
    if (against)
        snprintf(whole, sizeof whole, d->speech->text(N_("speaks against it: %s")), said);
    else
        snprintf(whole, sizeof whole, "%s", said);
    lm_text_copy(line, sizeof d->lines[0], whole, strlen(whole)); /* cut at a character */
    d->against[d->e.n_because] = against;
    d->because[d->e.n_because++] = line;
}

#define SAY(d, is_against, fmt, last)                                                              \
    do {                                                                                           \
        va_list ap;                                                                                \
        char said[500];                                                                            \
        va_start(ap, last);                                                                        \
        vsnprintf(said, sizeof said, fmt, ap);                                                     \
        va_end(ap);                                                                                \
        add_line(d, is_against, said);                                                             \
    } while (0)

void ex_because(struct ex_draft *d, const char *fmt, ...)
{
    SAY(d, false, d->speech->text(fmt), fmt);
}

void ex_against(struct ex_draft *d, const char *fmt, ...)
{
    SAY(d, true, d->speech->text(fmt), fmt);
}

void ex_say(struct ex_draft *d, bool against, const char *fmt, ...)
{
    SAY(d, against, d->speech->text(fmt), fmt);
}

void ex_say_n(
    struct ex_draft *d, bool against, unsigned long n, const char *one, const char *many, ...)
{
    SAY(d, against, d->speech->counted(one, many, n), many);
}

void ex_keep(struct lm_explain *out, const struct ex_draft *d)
{
    struct lm_explanation e = d->e;
    const char *lines[EX_BECAUSE_MAX];
    if (out->err)
        return;
    out->err = ex_grow(&out->all, &out->cap, out->n, sizeof *out->all);
    if (out->err)
        return;
    uint32_t n = 0;
    for (int against = 0; against < 2; against++) { /* what speaks for it comes first */
        for (uint32_t i = 0; i < e.n_because; i++) {
            if (against == (int) d->against[i])
                lines[n++] = keep_text(out, e.because[i]);
        }
    }
    e.because = keep(out, lines, e.n_because * sizeof *lines);
    e.animals = keep(out, e.animals, e.n_animals * sizeof *e.animals);
    e.eid = keep(out, e.eid, e.n_eid * sizeof *e.eid);
    e.sighting = keep_text(out, e.sighting);
    e.as = keep_text(out, e.as && e.as[0] ? e.as : NULL);
    e.printed = keep_text(out, e.printed && e.printed[0] ? e.printed : NULL);
    if (!out->err)
        out->all[out->n++] = e;
}

static int by_probability(const void *a, const void *b)
{
    const struct lm_explanation *x = a, *y = b;
    if (x->probability != y->probability)
        return x->probability > y->probability ? -1 : 1;
    if (x->kind != y->kind)
        return x->kind < y->kind ? -1 : 1;
    uint32_t i = x->n_animals ? x->animals[0] : EX_NONE, k = y->n_animals ? y->animals[0] : EX_NONE;
    if (i != k)
        return i < k ? -1 : 1;
    uint64_t p = x->n_eid ? lm_eid_key(x->eid[0]) : 0, q = y->n_eid ? lm_eid_key(y->eid[0]) : 0;
    if (p != q)
        return p < q ? -1 : 1;
    return strcmp(x->sighting ? x->sighting : "", y->sighting ? y->sighting : "");
}

void ex_order(struct lm_explain *out)
{
    for (uint32_t i = 0; i < out->n; i++) /* as it is shown: what looks equal is ordered by name */
        out->all[i].probability = (double) (long) (out->all[i].probability * 1000.0 + 0.5) / 1000.0;
    if (out->n)
        qsort(out->all, out->n, sizeof *out->all, by_probability);
}

uint32_t lm_explain_count(const struct lm_explain *x)
{
    return x->n;
}

const struct lm_explanation *lm_explain_at(const struct lm_explain *x, uint32_t i)
{
    return &x->all[i];
}

void lm_explain_free(struct lm_explain *x)
{
    if (!x)
        return;
    while (x->blocks) {
        struct ex_block *next = x->blocks->next;
        free(x->blocks);
        x->blocks = next;
    }
    free(x->all);
    free(x);
}
