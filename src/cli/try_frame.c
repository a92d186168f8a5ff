/* Frames of a capture, part by part, and what comes nearest where there is none. */
#include "try.h"

#include <inttypes.h>
#include <string.h>

struct finding {
    const struct lm_frame_hunt *hunt;
    size_t fed;
    struct lm_try_example *out;
    size_t n;
};

static void on_frame(const struct lm_frame_verdict *v, const uint8_t *frame, size_t len, void *ctx)
{
    struct finding *f = ctx;
    (void) frame;
    (void) len;
    if (v->what == LM_FRAME_GOOD && f->n < LM_TRY_EXAMPLES)
        f->out[f->n++] = (struct lm_try_example){.at = f->fed - f->hunt->len, .verdict = *v};
}

size_t lm_try_examples(
    const struct lm_try *t, const struct lm_frame_spec *spec, struct lm_try_example *out)
{
    struct lm_frame_hunt hunt = {.spec = spec};
    struct finding f = {.hunt = &hunt, .out = out};
    for (f.fed = 1; f.fed <= t->len && f.n < LM_TRY_EXAMPLES; f.fed++)
        lm_frame_feed(&hunt, t->bytes + f.fed - 1, 1, on_frame, &f);
    return f.n;
}

/* How far a frame got: the kind of failure first, then the part. */
static size_t rank(const struct lm_frame_verdict *v)
{
    return (size_t) v->what * 100 + v->part;
}

bool lm_try_nearest(
    const struct lm_try *t, const struct lm_frame_spec *spec, struct lm_try_example *out)
{
    bool any = false;
    for (size_t i = 0; i + spec->start_len <= t->len; i++) {
        struct lm_frame_verdict v;
        size_t have = t->len - i < LM_FRAME_MAX ? t->len - i : LM_FRAME_MAX;
        if (memcmp(t->bytes + i, spec->start, spec->start_len) != 0)
            continue;
        lm_frame_judge(spec, t->bytes + i, have, &v);
        if (v.what == LM_FRAME_GOOD || (any && rank(&v) <= rank(&out->verdict)))
            continue;
        *out = (struct lm_try_example){.at = i, .verdict = v};
        any = true;
    }
    return any;
}

static void value_of(const struct lm_frame_field *f, const uint8_t *bytes, char *out, size_t size)
{
    uint64_t value = 0;
    bool number = f->kind != LM_FRAME_SKIP && f->kind != LM_FRAME_REST &&
                  f->kind != LM_FRAME_LITERAL && f->kind != LM_FRAME_TELEGRAM;
    out[0] = '\0';
    if (!number || !lm_frame_number(f, bytes, &value))
        return;
    if (f->kind == LM_FRAME_NATIONAL)
        snprintf(out, size, "%012" PRIu64, value);
    else if (f->kind == LM_FRAME_COUNTRY)
        snprintf(out, size, "%03" PRIu64, value);
    else if (f->kind == LM_FRAME_BLOCK)
        snprintf(out, size, "%016" PRIX64, value);
    else if (f->kind == LM_FRAME_CRC)
        snprintf(out, size, "%04" PRIX64, value);
    else
        snprintf(out, size, "%" PRIu64, value);
}

static void hex(const uint8_t *bytes, size_t len, char *out, size_t size)
{
    size_t at = strlen(out);
    for (size_t i = 0; i < len && at + 4 < size; i++)
        at += (size_t) snprintf(out + at, size - at, " %02X", bytes[i]);
}

static void wanted_end(const struct lm_frame_spec *spec, char *out, size_t size)
{
    snprintf(out, size, "wanted");
    for (size_t i = 0; i < spec->n_ends; i++) {
        if (i > 0)
            snprintf(out + strlen(out), size - strlen(out), " or");
        hex(spec->ends[i], spec->end_len, out, size);
    }
}

/* Where the bytes of the check begin: the field that it says, or behind or at the start. */
static void wanted_check(const struct lm_frame_spec *spec, const uint8_t *frame, size_t frame_len,
    size_t check_at, char *out, size_t size)
{
    struct lm_frame_part from = {.at = 0};
    uint8_t want[8];
    if (spec->check_from != LM_FRAME_START)
        lm_frame_part(spec, frame_len,
            spec->check_from == LM_FRAME_AT_FIELD ? spec->check_field + 1 : 1, &from);
    lm_frame_check_make(&spec->check, frame + from.at, check_at - from.at, want);
    snprintf(out, size, "wanted");
    hex(want, lm_frame_check_bytes(&spec->check), out, size);
}

/* What is wrong with the part at which the judging ended. */
static void note_of(const struct lm_frame_spec *spec, const uint8_t *frame, size_t i,
    const struct lm_frame_verdict *v, const struct lm_frame_part *part, struct lm_try_part *out)
{
    const struct lm_frame_field *f = part->field;
    size_t size = sizeof out->note;
    switch (v->what) {
    case LM_FRAME_NOT:
        if (f == NULL) {
            wanted_end(spec, out->note, size);
        } else if (f->kind == LM_FRAME_LITERAL) {
            snprintf(out->note, size, "wanted");
            hex(f->literal, f->width, out->note, size);
        } else {
            snprintf(out->note, size, "no length of such a frame: see length_counts");
        }
        break;
    case LM_FRAME_BAD_CHECK:
        if (i == spec->n_fields + 1)
            wanted_check(spec, frame, v->len, part->at, out->note, size);
        else
            snprintf(out->note, size, "the code's own CRC or its control bits are wrong");
        break;
    case LM_FRAME_NO_CODE:
        snprintf(out->note, size, "a byte that is no digit or flag of this kind");
        break;
    case LM_FRAME_BAD_VALUE:
        snprintf(out->note, size, "no chip can hold such a code, or it is all zero");
        break;
    case LM_FRAME_MORE:
        snprintf(out->note, size, "the capture ends before it does");
        break;
    case LM_FRAME_GOOD:
        break;
    }
}

bool lm_try_part(const struct lm_try *t, const struct lm_frame_spec *spec,
    const struct lm_try_example *example, size_t i, struct lm_try_part *part)
{
    const struct lm_frame_verdict *v = &example->verdict;
    struct lm_frame_part p;
    /* Behind a length that does not fit nothing is known to lie where it would. */
    if ((v->len == 0 && i > v->part) || !lm_frame_part(spec, v->len, i, &p))
        return false;
    const uint8_t *frame = t->bytes + example->at;
    size_t there = t->len - example->at;
    *part = (struct lm_try_part){.name = p.name, .at = example->at + p.at, .len = p.len};
    if (p.at >= there)
        part->len = 0;
    else if (p.len > there - p.at)
        part->len = there - p.at;
    if (p.field != NULL && part->len == p.len && p.len > 0)
        value_of(p.field, frame + p.at, part->value, sizeof part->value);
    if (i == v->part && v->what != LM_FRAME_GOOD)
        note_of(spec, frame, i, v, &p, part);
    return true;
}
