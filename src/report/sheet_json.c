/*
 * The lugmark.report/1 object. Keys are only ever added.
 */
#include "lugmark/version.h"
#include "report/jsonout.h"
#include "report/sheet_data.h"

#include <math.h>

static void share(FILE *out, const char *key, double value)
{
    if (isfinite(value))
        fprintf(out, ",\"%s\":%.6f", key, value);
    else
        fprintf(out, ",\"%s\":null", key);
}

static void json_three(FILE *out, const struct lm_summary *sum)
{
    fprintf(out, "\"three\":{\"book\":%u,\"heads\":", sum->expected);
    if (sum->has_heads)
        fprintf(out, "%u", sum->heads);
    else
        fputs("null", out);
    fprintf(out, ",\"identified\":%u,\"present\":%u,\"absent_min\":%u,\"absent_max\":%u}",
        sum->identified, sum->present, sum->absent_min, sum->absent_max);
}

static void json_race(FILE *out, const struct lm_race *r)
{
    fprintf(out, ",\"race\":{\"by\":\"%s\",\"start\":", r->by_time ? "time" : "order");
    lm_jsonout_time(out, r->by_time ? r->start_ms : LM_TIME_NONE);
    fprintf(out, ",\"width_ms\":%lld,\"width_animals\":%lld,\"past\":%u,\"called\":%u",
        r->by_time ? (long long) r->width : 0LL, r->by_time ? 0LL : (long long) r->width, r->past,
        r->called);
    fputs(",\"bins\":[", out);
    for (size_t i = 0; i < r->n_bins; i++) {
        const uint32_t *n = r->bins[i].by_attention;
        fprintf(out, "%s{\"go\":%u,\"look\":%u,\"hold\":%u}", i ? "," : "", n[LM_GO], n[LM_LOOK],
            n[LM_HOLD]);
    }
    fprintf(out, "]},\"readings_per_pass\":{\"passes\":%u,\"readings\":%llu,\"last_is_or_more\":%u",
        r->passes, (unsigned long long) r->in_passes, LM_PER_PASS_MAX);
    fputs(",\"passes_by_readings\":[", out);
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++)
        fprintf(out, "%s%u", k > 1 ? "," : "", r->per_pass[k]);
    fputs("]}", out);
}

static void json_read(FILE *out, const struct lm_printed *p)
{
    fputs(",\"readability\":[", out);
    for (size_t i = 0; i < p->n_read; i++) {
        const struct lm_readability *g = &p->read[i];
        struct lm_proportion s = lm_wilson(g->read, g->readable);
        fprintf(out, "%s{\"form\":", i ? "," : "");
        lm_jsonout_text_or_null(out, lm_device_form_name((enum lm_device_form) g->form));
        fputs(",\"place\":", out);
        lm_jsonout_text_or_null(out, lm_place_name((enum lm_place) g->place));
        fprintf(out, ",\"read\":%llu,\"readable\":%llu", (unsigned long long) g->read,
            (unsigned long long) g->readable);
        share(out, "share", s.value);
        share(out, "low", s.low);
        share(out, "high", s.high);
        putc('}', out);
    }
    putc(']', out);
}

static void json_curve(FILE *out, const struct lm_retention *g)
{
    fputs("{\"form\":", out);
    lm_jsonout_text_or_null(out, lm_device_form_name((enum lm_device_form) g->form));
    fputs(",\"place\":", out);
    lm_jsonout_text_or_null(out, lm_place_name((enum lm_place) g->place));
    fputs(",\"strip\":", out);
    lm_jsonout_text_or_null(out, g->strip);
    fprintf(out, ",\"devices\":%zu,\"ended\":%zu", g->devices, g->ended);
    share(out, "watched_from_days", g->from);
    share(out, "watched_until_days", g->until);
    fputs(",\"steps\":[", out);
    for (size_t i = 0; i < g->n; i++) {
        const struct lm_life_step *s = &g->steps[i];
        fprintf(out, "%s{\"at_risk\":%u,\"ended\":%u", i ? "," : "", s->at_risk, s->ended);
        share(out, "days", s->t);
        share(out, "stays", s->stays);
        share(out, "low", s->has_interval ? s->low : NAN);
        share(out, "high", s->has_interval ? s->high : NAN);
        putc('}', out);
    }
    fputs("]}", out);
}

static void json_pictures(FILE *out, const struct lm_printed *p)
{
    fputs(",\"pictures\":{", out);
    json_three(out, &p->sum);
    json_race(out, &p->race);
    json_read(out, p);
    fputs(",\"retention\":[", out);
    for (size_t i = 0; i < p->stays.n; i++) {
        if (i)
            putc(',', out);
        json_curve(out, &p->stays.groups[i]);
    }
    fputs("]}", out);
}

static void json_missing(FILE *out, const struct lm_printed *p)
{
    bool first = true;
    fputs(",\"not_found\":[", out);
    for (size_t i = 0; i < p->n; i++) {
        struct lm_sheet_marks m;
        if (p->findings[i].reason != LM_NOT_SEEN)
            continue;
        struct lm_roll_animal a = lm_roll_animal(p->roll, p->findings[i].animal);
        lm_sheet_marks(p->roll, p->findings[i].animal, &m);
        const char *const words[][2] = {{"animal", a.key}, {"number", m.number},
            {"colour", m.colour}, {"place", m.place}, {"sex", m.sex}, {"mob", a.mob}};
        fputs(first ? "{" : ",{", out);
        for (size_t k = 0; k < sizeof words / sizeof words[0]; k++) {
            fprintf(out, "%s\"%s\":", k ? "," : "", words[k][0]);
            lm_jsonout_text_or_null(out, words[k][1]);
        }
        putc('}', out);
        first = false;
    }
    putc(']', out);
}

enum lm_err lm_printed_json(FILE *out, const struct lm_printed *p)
{
    struct lm_explain_view view = {.skip = p->from.skip, .session = p->from.row->id};
    fprintf(
        out, "{\"schema\":\"lugmark.report/1\",\"program\":\"lugmark %s\",\"made\":", LM_VERSION);
    lm_jsonout_time(out, p->from.made_ms);
    fputs(",\"holding\":", out);
    lm_jsonout_text_or_null(out, p->holding);
    fprintf(out, ",\"session_row\":%lld,\"findings\":", (long long) p->from.row->id);
    enum lm_err err = lm_report_json(out, p->s);
    if (err)
        return err;
    fputs(",\"explanations\":", out);
    err = lm_report_explain_json(out, p->s, p->from.explain, &view);
    if (err)
        return err;
    json_missing(out, p);
    json_pictures(out, p);
    fputs("}\n", out);
    return ferror(out) ? LM_EIO : LM_OK;
}
