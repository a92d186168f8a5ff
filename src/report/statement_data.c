/*
 * A statement for machines: CSV, one number a row, and the lugmark.statement/1 object.
 */
#include "lugmark/statement.h"
#include "report/cell.h"
#include "report/difference.h"
#include "report/jsonout.h"

#include <string.h>

static void row(FILE *out, const char *section, const struct lm_statement_class *c,
    const char *item, const char *value)
{
    const char *cells[] = {section, c ? c->species : "",
        c ? lm_age_class_name((enum lm_age_class) c->age) : "",
        c ? lm_sex_class_name((enum lm_sex_class) c->sex) : "", item, value};
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        if (i)
            putc(',', out);
        /* a value that begins with - is a number, nothing to run */
        if (i == 5 && strspn(value, "-0123456789") == strlen(value))
            fputs(value, out);
        else
            lm_cell(out, cells[i], "");
    }
    fputs("\r\n", out);
}

static void number_row(FILE *out, const char *section, const struct lm_statement_class *c,
    const char *item, long long n)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", n);
    row(out, section, c, item, text);
}

static void csv_class(FILE *out, const struct lm_statement *s, const char *section,
    const struct lm_statement_class *c)
{
    const struct lm_statement_class *named = c == &s->total ? NULL : c;
    for (unsigned k = 0; k < LM_MOVES; k++)
        number_row(out, section, named, lm_move_name((enum lm_move) k), c->n[k]);
    if (s->count)
        number_row(out, section, named, "identified", c->identified);
}

static void csv_count(FILE *out, const struct lm_inventory *c)
{
    char day[LM_DATE_TEXT_SIZE];
    struct lm_part parts[LM_PARTS];
    const struct lm_count_figures *f = &c->figures;
    row(out, "count", NULL, "name", c->name);
    row(out, "count", NULL, "cutoff", lm_date_format(c->cutoff, day));
    number_row(out, "count", NULL, "book", f->book);
    if (f->has_heads)
        number_row(out, "count", NULL, "heads", f->heads);
    else
        row(out, "count", NULL, "heads", "");
    number_row(out, "count", NULL, "identified", f->identified);
    if (!f->has_heads)
        return;
    number_row(out, "count", NULL, "difference", (long long) f->heads - f->book);
    lm_difference_parts(f, parts);
    for (size_t i = 0; i < LM_PARTS; i++)
        number_row(out, "difference", NULL, parts[i].key, parts[i].n);
}

static void csv_note(const char *note, void *ctx)
{
    row(ctx, "note", NULL, "", note);
}

enum lm_err lm_statement_csv(FILE *out, const struct lm_statement *s)
{
    char day[LM_DATE_TEXT_SIZE];
    fputs("section,species,age,sex,item,value\r\n", out);
    row(out, "statement", NULL, "holding", s->holding);
    row(out, "statement", NULL, "from", lm_date_format(s->from, day));
    row(out, "statement", NULL, "to", lm_date_format(s->to, day));
    number_row(out, "statement", NULL, "kid_months", s->limits.kid_months);
    number_row(out, "statement", NULL, "yearling_months", s->limits.yearling_months);
    for (size_t i = 0; i < s->n_classes; i++)
        csv_class(out, s, "class", &s->classes[i]);
    csv_class(out, s, "total", &s->total);
    if (s->count)
        csv_count(out, s->count);
    for (unsigned k = 0; k < LM_MARKS_KINDS; k++)
        number_row(out, "identification", NULL, lm_marks_name((enum lm_marks) k), s->marks[k]);
    lm_statement_notes(s, s->notes_in, csv_note, out);
    return ferror(out) ? LM_EIO : LM_OK;
}

static void json_class(FILE *out, const struct lm_statement *s, const struct lm_statement_class *c)
{
    putc('{', out);
    if (c != &s->total) {
        fputs("\"species\":", out);
        lm_jsonout_text_or_null(out, c->species);
        fprintf(out, ",\"age\":\"%s\",\"sex\":\"%s\",",
            lm_age_class_name((enum lm_age_class) c->age),
            lm_sex_class_name((enum lm_sex_class) c->sex));
    }
    for (unsigned k = 0; k < LM_MOVES; k++)
        fprintf(out, "%s\"%s\":%lld", k ? "," : "", lm_move_name((enum lm_move) k),
            (long long) c->n[k]);
    if (s->count)
        fprintf(out, ",\"identified\":%u", c->identified);
    putc('}', out);
}

static void json_count(FILE *out, const struct lm_statement *s)
{
    const struct lm_inventory *c = s->count;
    struct lm_part parts[LM_PARTS];
    char day[LM_DATE_TEXT_SIZE];
    if (!c) {
        fputs("null", out);
        return;
    }
    const struct lm_count_figures *f = &c->figures;
    fputs("{\"name\":", out);
    lm_jsonout_text(out, c->name);
    fprintf(out, ",\"cutoff\":\"%s\",\"closed\":", lm_date_format(c->cutoff, day));
    lm_jsonout_time(out, c->closed_ms);
    fprintf(out, ",\"book\":%u,\"identified\":%u,\"identified_elsewhere\":%u", f->book,
        f->identified, s->identified_elsewhere);
    if (!f->has_heads) {
        fputs(",\"heads\":null,\"difference\":null,\"made_of\":null}", out);
        return;
    }
    fprintf(out, ",\"heads\":%u,\"difference\":%lld,\"made_of\":{", f->heads,
        (long long) f->heads - f->book);
    lm_difference_parts(f, parts);
    for (size_t i = 0; i < LM_PARTS; i++)
        fprintf(out, "%s\"%s\":%lld", i ? "," : "", parts[i].key, (long long) parts[i].n);
    fputs("}}", out);
}

struct list {
    FILE *out;
    bool first;
};

static void json_note(const char *note, void *ctx)
{
    struct list *l = ctx;
    if (!l->first)
        putc(',', l->out);
    l->first = false;
    lm_jsonout_text(l->out, note);
}

enum lm_err lm_statement_json(FILE *out, const struct lm_statement *s)
{
    char from[LM_DATE_TEXT_SIZE], to[LM_DATE_TEXT_SIZE];
    struct list notes = {out, true};
    fputs("{\"schema\":\"lugmark.statement/1\",\"holding\":", out);
    lm_jsonout_text_or_null(out, s->holding);
    fprintf(out, ",\"from\":\"%s\",\"to\":\"%s\",\"kid_months\":%u,\"yearling_months\":%u",
        lm_date_format(s->from, from), lm_date_format(s->to, to), s->limits.kid_months,
        s->limits.yearling_months);
    fputs(",\"total\":", out);
    json_class(out, s, &s->total);
    fputs(",\"classes\":[", out);
    for (size_t i = 0; i < s->n_classes; i++) {
        if (i)
            putc(',', out);
        json_class(out, s, &s->classes[i]);
    }
    fputs("],\"count\":", out);
    json_count(out, s);
    fputs(",\"identification\":{", out);
    for (unsigned k = 0; k < LM_MARKS_KINDS; k++)
        fprintf(out, "%s\"%s\":%u", k ? "," : "", lm_marks_name((enum lm_marks) k), s->marks[k]);
    fputs("},\"notes\":[", out);
    lm_statement_notes(s, s->notes_in, json_note, &notes);
    fputs("]}\n", out);
    return ferror(out) ? LM_EIO : LM_OK;
}
