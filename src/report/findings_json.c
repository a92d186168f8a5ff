/*
 * The lugmark.findings/1 object. Keys are only ever added.
 */
#include "lugmark/report.h"
#include "report/jsonout.h"

#include <string.h>

struct json_run {
    FILE *out;
    const struct lm_roll *roll;
    bool first;
};

static void comma(struct json_run *run, bool *first)
{
    if (!*first)
        putc(',', run->out);
    *first = false;
}

static void animal_codes(struct json_run *run, uint32_t animal, bool *first)
{
    struct lm_roll_animal a = lm_roll_animal(run->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(run->roll, animal, k);
        if (d.gone || !d.eid.known)
            continue;
        comma(run, first);
        lm_jsonout_eid(run->out, d.eid);
    }
}

static void animal_numbers(struct json_run *run, uint32_t animal, bool *first)
{
    struct lm_roll_animal a = lm_roll_animal(run->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(run->roll, animal, k);
        bool twice = false;
        for (uint32_t i = 0; i < k && !twice; i++) {
            struct lm_roll_device e = lm_roll_device(run->roll, animal, i);
            twice = !e.gone && strcmp(e.visual, d.visual) == 0;
        }
        if (d.gone || !d.visual[0] || twice)
            continue;
        comma(run, first);
        lm_jsonout_text(run->out, d.visual);
    }
}

/** A retired device is named by its own marks, never by those that the animal should wear. */
static void retired_number(struct json_run *run, const struct lm_finding *f)
{
    struct lm_roll_animal a = lm_roll_animal(run->roll, f->animal);
    if (f->text) {
        lm_jsonout_text(run->out, f->text);
        return;
    }
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(run->roll, f->animal, k);
        if (d.gone && d.visual[0] && f->eid.known && lm_eid_key(d.eid) == lm_eid_key(f->eid)) {
            lm_jsonout_text(run->out, d.visual);
            return;
        }
    }
}

static void write_codes(struct json_run *run, const struct lm_finding *f)
{
    bool first = true;
    fputs(",\"eid\":[", run->out);
    if (f->eid.known) {
        comma(run, &first);
        lm_jsonout_eid(run->out, f->eid);
        if (f->eid2.known) {
            comma(run, &first);
            lm_jsonout_eid(run->out, f->eid2);
        }
    } else if (f->reason == LM_OUT_OF_RANGE && f->text) {
        comma(run, &first);
        lm_jsonout_text(run->out, f->text);
    } else if (f->animal != LM_NO_ANIMAL && f->reason != LM_REMOVED_DEVICE) {
        animal_codes(run, f->animal, &first);
    }
    putc(']', run->out);
}

static void write_numbers(struct json_run *run, const struct lm_finding *f)
{
    bool first = true;
    fputs(",\"visual\":[", run->out);
    if (f->reason == LM_REMOVED_DEVICE) {
        retired_number(run, f);
    } else if (f->animal != LM_NO_ANIMAL) {
        animal_numbers(run, f->animal, &first);
    } else if (f->reason == LM_NOT_IN_REGISTER && f->text) {
        comma(run, &first);
        lm_jsonout_text(run->out, f->text);
    }
    putc(']', run->out);
}

static const char *key_of(const struct json_run *run, uint32_t animal)
{
    return animal == LM_NO_ANIMAL ? NULL : lm_roll_animal(run->roll, animal).key;
}

static void write_finding(const struct lm_finding *f, void *ctx)
{
    struct json_run *run = ctx;
    comma(run, &run->first);
    fprintf(run->out, "{\"kind\":\"%s\",\"reason\":\"%s\",\"attention\":\"%s\",\"animal\":",
        lm_kind_name(lm_reason_kind(f->reason)), lm_reason_name(f->reason),
        lm_attention_name(f->attention));
    lm_jsonout_text(run->out, key_of(run, f->animal));
    write_codes(run, f);
    write_numbers(run, f);
    fputs(",\"t\":", run->out);
    lm_jsonout_time(run->out, f->t_ms);
    if (f->other != LM_NO_ANIMAL) {
        fputs(",\"other\":", run->out);
        lm_jsonout_text(run->out, key_of(run, f->other));
    }
    if (f->text) {
        fputs(",\"text\":", run->out);
        lm_jsonout_text(run->out, f->text);
    }
    if (f->times > 1)
        fprintf(run->out, ",\"times\":%u", f->times);
    putc('}', run->out);
}

static void write_session(FILE *out, const struct lm_session *s)
{
    const struct lm_open *o = lm_session_open_of(s);
    fputs("\"session\":{\"id\":", out);
    lm_jsonout_text_or_null(out, o ? o->id : NULL);
    fprintf(out, ",\"kind\":\"%s\",\"mob\":", lm_session_kind_name(o ? o->kind : LM_WALK));
    lm_jsonout_text_or_null(out, o ? o->mob : NULL);
    fputs(",\"lot\":", out);
    lm_jsonout_text_or_null(out, o ? o->lot : NULL);
    fputs(",\"count\":", out);
    lm_jsonout_text_or_null(out, o ? o->count : NULL);
    fputs(",\"who\":", out);
    lm_jsonout_text_or_null(out, o ? o->who : NULL);
    fputs(",\"opened\":", out);
    lm_jsonout_time(out, lm_session_opened_ms(s));
    fputs(",\"closed\":", out);
    lm_jsonout_time(out, lm_session_closed_ms(s));
    putc('}', out);
}

static void write_figures(FILE *out, const struct lm_summary *sum)
{
    fprintf(out, ",\"expected\":%u,\"present\":%u,\"identified\":%u", sum->expected, sum->present,
        sum->identified);
    fprintf(out, ",\"readings\":%llu,\"passes\":%llu", (unsigned long long) sum->readings,
        (unsigned long long) sum->passes);
    if (sum->has_heads)
        fprintf(out, ",\"heads\":%u", sum->heads);
    else
        fputs(",\"heads\":null", out);
    fprintf(out, ",\"heads_below_identified\":%s", sum->heads_short ? "true" : "false");
    fprintf(
        out, ",\"bounds\":{\"absent_min\":%u,\"absent_max\":%u}", sum->absent_min, sum->absent_max);
    fputs(",\"counts\":{", out);
    for (unsigned k = 0; k < LM_KINDS; k++)
        fprintf(out, "%s\"%s\":%u", k ? "," : "", lm_kind_name((enum lm_kind) k), sum->counts[k]);
    putc('}', out);
}

enum lm_err lm_report_json(FILE *out, const struct lm_session *session)
{
    return lm_report_json_explained(out, session, NULL);
}

enum lm_err lm_report_json_explained(
    FILE *out, const struct lm_session *session, const struct lm_explain *x)
{
    struct lm_summary sum;
    enum lm_err err = lm_session_findings(session, &sum, NULL, NULL);
    if (err)
        return err;
    struct json_run run = {.out = out, .roll = lm_session_roll(session), .first = true};
    fputs("{\"schema\":\"lugmark.findings/1\",", out);
    write_session(out, session);
    write_figures(out, &sum);
    fputs(",\"findings\":[", out);
    err = lm_session_findings(session, NULL, write_finding, &run);
    fputs("],\"explanations\":", out);
    if (!err)
        err = lm_report_explain_json(out, session, x, NULL);
    fputs("}\n", out);
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}

bool lm_report_flagged(const struct lm_session *session)
{
    struct lm_summary sum;
    if (lm_session_findings(session, &sum, NULL, NULL))
        return true;
    for (unsigned k = 0; k < LM_KINDS; k++) {
        if (sum.counts[k])
            return true;
    }
    return sum.heads_short;
}
