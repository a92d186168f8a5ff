/*
 * The lugmark.count/1 object. Keys are only ever added.
 */
#include "lugmark/inventory.h"
#include "report/jsonout.h"

#include <string.h>

struct json_run {
    FILE *out;
    const struct lm_inventory *inv;
    bool first;
};

static void write_session(FILE *out, const struct lm_inventory_session *s)
{
    const struct lm_open *o = &s->row.open;
    fputs("{\"id\":", out);
    lm_jsonout_text(out, o->id);
    fprintf(out, ",\"kind\":\"%s\",\"mob\":", lm_session_kind_name(o->kind));
    lm_jsonout_text_or_null(out, o->mob);
    fputs(",\"lot\":", out);
    lm_jsonout_text_or_null(out, o->lot);
    fputs(",\"who\":", out);
    lm_jsonout_text_or_null(out, o->who);
    fputs(",\"opened\":", out);
    lm_jsonout_time(out, s->row.opened_ms);
    fputs(",\"closed\":", out);
    lm_jsonout_time(out, s->row.closed_ms);
    if (s->sum.has_heads)
        fprintf(out, ",\"heads\":%u", s->sum.heads);
    else
        fputs(",\"heads\":null", out);
    fprintf(out, ",\"expected\":%u,\"identified\":%u}", s->sum.expected, s->sum.identified);
}

static void write_who(FILE *out, const struct lm_inventory *inv)
{
    bool first = true;
    fputs(",\"who\":[", out);
    for (size_t i = 0; i < inv->n_sessions; i++) {
        const char *who = inv->sessions[i].row.open.who;
        bool known = who[0] == '\0';
        for (size_t k = 0; k < i && !known; k++)
            known = strcmp(inv->sessions[k].row.open.who, who) == 0;
        if (known)
            continue;
        if (!first)
            putc(',', out);
        first = false;
        lm_jsonout_text(out, who);
    }
    putc(']', out);
}

static void write_marks(struct json_run *run, const struct lm_count_entry *e, bool codes)
{
    bool first = true;
    uint32_t n = 0;
    if (codes && e->eid.known) {
        lm_jsonout_eid(run->out, e->eid);
        return;
    }
    if (e->animal != LM_NO_ANIMAL)
        n = lm_roll_animal(run->inv->book.roll, e->animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(run->inv->book.roll, e->animal, k);
        if (d.gone || (codes ? !d.eid.known : !d.visual[0]))
            continue;
        if (!first)
            putc(',', run->out);
        first = false;
        if (codes)
            lm_jsonout_eid(run->out, d.eid);
        else
            lm_jsonout_text(run->out, d.visual);
    }
}

static void write_entry(const struct lm_count_entry *e, void *ctx)
{
    struct json_run *run = ctx;
    FILE *out = run->out;
    if (!run->first)
        putc(',', out);
    run->first = false;
    fprintf(out, "{\"kind\":\"%s\",\"animal\":", lm_count_kind_name(e->kind));
    lm_jsonout_text_or_null(out, e->key);
    fputs(",\"eid\":[", out);
    write_marks(run, e, true);
    fputs("],\"visual\":[", out);
    write_marks(run, e, false);
    fputs("],\"text\":", out);
    lm_jsonout_text_or_null(out, e->text);
    fputs(",\"other\":", out);
    lm_jsonout_text_or_null(out, e->other);
    fputs(",\"reason\":", out);
    lm_jsonout_text_or_null(out, lm_reason_name(e->reason));
    fputs(",\"sessions\":[", out);
    for (size_t i = 0; i < e->n_sessions; i++) {
        if (i)
            putc(',', out);
        lm_jsonout_text(out, run->inv->sessions[e->sessions[i]].row.open.id);
    }
    fputs("]}", out);
}

static void write_figures(FILE *out, const struct lm_count_figures *f)
{
    fprintf(out, ",\"book\":%u", f->book);
    if (f->has_heads)
        fprintf(out, ",\"heads\":%u,\"difference\":%lld,\"unidentified\":%lld", f->heads,
            (long long) f->heads - f->book, (long long) f->unidentified);
    else
        fputs(",\"heads\":null,\"difference\":null,\"unidentified\":null", out);
    fprintf(out, ",\"heads_in_part\":%u,\"sessions_without_heads\":%u", f->heads, f->without_heads);
    fprintf(out, ",\"identified\":%u,\"present\":%u,\"repeats\":%u", f->identified, f->present,
        f->repeats);
    fprintf(out, ",\"heads_below_identified\":%s", f->heads_short ? "true" : "false");
    fprintf(out, ",\"bounds\":{\"absent_min\":%u,\"absent_max\":%u},\"dates_vague\":%u",
        f->absent_min, f->absent_max, f->vague);
    fputs(",\"counts\":{", out);
    for (unsigned k = 0; k < LM_COUNT_KINDS; k++)
        fprintf(out, "%s\"%s\":%u", k ? "," : "", lm_count_kind_name((enum lm_count_kind) k),
            f->counts[k]);
    putc('}', out);
}

enum lm_err lm_inventory_json(FILE *out, struct lm_inventory *inv)
{
    struct json_run run = {.out = out, .inv = inv, .first = true};
    struct lm_count_figures figures;
    char date[LM_DATE_TEXT_SIZE];
    fputs("{\"schema\":\"lugmark.count/1\",\"count\":", out);
    lm_jsonout_text(out, inv->name);
    fprintf(out, ",\"cutoff\":\"%s\",\"closed\":", lm_date_format(inv->cutoff, date));
    lm_jsonout_time(out, inv->closed_ms);
    fprintf(out, ",\"running\":%s,\"sessions\":[", inv->running ? "true" : "false");
    for (size_t i = 0; i < inv->n_sessions; i++) {
        if (i)
            putc(',', out);
        write_session(out, &inv->sessions[i]);
    }
    putc(']', out);
    write_who(out, inv);
    write_figures(out, &inv->figures);
    fputs(",\"entries\":[", out);
    enum lm_err err = lm_count_result(inv->count, &figures, write_entry, &run);
    fputs("],\"estimates\":{", out);
    if (err == LM_OK)
        err = lm_estimates_json(out, inv->estimates, NULL);
    fputs("}}\n", out);
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
