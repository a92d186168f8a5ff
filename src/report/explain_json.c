/* Explanations as JSON, written as it goes like the findings. */
#include "lugmark/report.h"
#include "report/jsonout.h"

static void write_animals(FILE *out, const struct lm_roll *roll, const struct lm_explanation *e)
{
    fputs(",\"animals\":[", out);
    for (uint32_t i = 0; i < e->n_animals; i++) {
        if (i)
            putc(',', out);
        lm_jsonout_text(out, lm_roll_animal(roll, e->animals[i]).key);
    }
    fputs("],\"eid\":[", out);
    for (uint32_t i = 0; i < e->n_eid; i++) {
        if (i)
            putc(',', out);
        lm_jsonout_eid(out, e->eid[i]);
    }
    putc(']', out);
}

static void write_one(FILE *out, const struct lm_session *session, const struct lm_explanation *e,
    uint32_t id, long long row)
{
    char fix[LM_FIX_MAX];
    fprintf(out, "{\"id\":\"X%u\",\"kind\":\"%s\"", id, lm_explain_kind_name(e->kind));
    write_animals(out, lm_session_roll(session), e);
    fputs(",\"sighting\":", out);
    lm_jsonout_text(out, e->sighting);
    fputs(",\"as\":", out);
    lm_jsonout_text(out, e->as);
    if (e->kind == LM_EX_SHIFTED_RUN)
        fprintf(out, ",\"offset\":%d", e->offset);
    else
        fputs(",\"offset\":null", out);
    fprintf(out, ",\"probability\":%.3f,\"best\":%s,\"because\":[", e->probability,
        e->best ? "true" : "false");
    for (uint32_t i = 0; i < e->n_because; i++) {
        if (i)
            putc(',', out);
        lm_jsonout_text(out, e->because[i]);
    }
    fputs("],\"fix\":", out);
    lm_jsonout_text_or_null(out, lm_explain_fix(session, e, id, row, fix));
    putc('}', out);
}

enum lm_err lm_report_explain_json(FILE *out, const struct lm_session *session,
    const struct lm_explain *x, const struct lm_explain_view *view)
{
    bool first = true;
    uint32_t n = x ? lm_explain_count(x) : 0;
    putc('[', out);
    for (uint32_t i = 0; i < n; i++) {
        if (view && view->skip && view->skip[i])
            continue;
        if (!first)
            putc(',', out);
        first = false;
        write_one(out, session, lm_explain_at(x, i), i + 1, view ? view->session : 0);
    }
    putc(']', out);
    return ferror(out) ? LM_EIO : LM_OK;
}
