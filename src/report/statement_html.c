/*
 * A statement as a page that prints: whole in itself, every text escaped.
 */
#include "lugmark/statement.h"
#include "report/difference.h"
#include "report/tongue.h"

#include <string.h>

static const char style[] =
    "@page{size:auto;margin:14mm}"
    "body{font:11pt/1.35 sans-serif;color:#000;background:#fff;max-width:60em;margin:1em auto;"
    "padding:0 1em}"
    "h1{font-size:1.4em;margin:0 0 .2em}h2{font-size:1.1em;margin:1.2em 0 .3em}"
    "table{border-collapse:collapse;page-break-inside:auto}tr{page-break-inside:avoid}"
    "th,td{border:1px solid #666;padding:.15em .45em;text-align:right;vertical-align:top}"
    "th:first-child,td:first-child{text-align:left}thead{display:table-header-group}"
    "table.wide{font-size:.82em}tr.sum td,tr.sum th{font-weight:bold;border-top:2px solid #000}"
    ".sign{display:flex;flex-wrap:wrap;gap:2em;margin-top:3.5em;page-break-inside:avoid}"
    ".sign div{flex:1 1 12em;border-top:1px solid #000;padding-top:.2em}"
    "@media print{body{max-width:none;margin:0;padding:0}}";

static void escaped(FILE *out, const char *text)
{
    for (; *text; text++) {
        switch (*text) {
        case '&':
            fputs("&amp;", out);
            break;
        case '<':
            fputs("&lt;", out);
            break;
        case '>':
            fputs("&gt;", out);
            break;
        case '"':
            fputs("&quot;", out);
            break;
        case '\'':
            fputs("&#39;", out);
            break;
        default:
            putc(*text, out);
        }
    }
}

static void pair(FILE *out, const char *what, const char *value)
{
    fputs("<tr><td>", out);
    escaped(out, what);
    fputs("</td><td>", out);
    escaped(out, value);
    fputs("</td></tr>\n", out);
}

static void pair_number(FILE *out, const char *what, long long n)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", n);
    pair(out, what, text);
}

static const char *heading(unsigned move)
{
    static const char *const words[LM_MOVES] = {N_("Opening"), N_("Births"), N_("Bought"),
        N_("Moved in"), N_("Found again"), N_("Origin not said"), N_("Sold"), N_("Died"),
        N_("Killed at home"), N_("Moved out"), N_("Lost"), N_("Age class"), N_("Book")};
    return _(words[move]);
}

static void write_head(FILE *out, const struct lm_statement *s)
{
    char from[LM_DATE_TEXT_SIZE], to[LM_DATE_TEXT_SIZE];
    lm_date_format(s->from, from);
    lm_date_format(s->to, to);
    fprintf(out,
        "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\" />\n"
        "<meta name=\"viewport\" content=\"width=device-width\" />\n<title>",
        lm_tongue_name());
    fprintf(out, _("Statement %s to %s"), from, to);
    fprintf(out, "</title>\n<style>%s</style>\n</head>\n<body>\n<h1>%s</h1>\n<p>", style,
        _("Statement of animals"));
    escaped(out, s->holding[0] ? s->holding : _("Holding: not said"));
    fputs("<br />", out);
    fprintf(out, _("%s to %s, both days included"), from, to);
    fputs("</p>\n", out);
}

static void write_three(FILE *out, const struct lm_statement *s)
{
    const struct lm_inventory *c = s->count;
    char day[LM_DATE_TEXT_SIZE], text[LM_NAME_MAX + 96];
    fprintf(out, "<h2>%s</h2>\n<table>\n", _("Three figures, each by itself"));
    snprintf(text, sizeof text, _("In the book at the end of %s"), lm_date_format(s->to, day));
    pair_number(out, text, s->total.n[LM_MOVE_BOOK]);
    if (c && c->figures.has_heads)
        pair_number(out, _("Heads counted"), c->figures.heads);
    else
        pair(out, _("Heads counted"), _("not known"));
    if (c)
        pair_number(out, _("Animals identified"), c->figures.identified);
    else
        pair(out, _("Animals identified"), _("not known"));
    fputs("</table>\n", out);
    if (!c)
        return;
    fputs("<p>", out);
    snprintf(text, sizeof text, _("Count %s, as at the end of %s. Counted by:"), c->name,
        lm_date_format(c->cutoff, day));
    escaped(out, text);
    for (size_t i = 0; i < c->n_sessions; i++) {
        fputs(i ? "; " : " ", out);
        escaped(out, c->sessions[i].row.open.who[0] ? c->sessions[i].row.open.who : _("not said"));
        fprintf(out, " (%s)", lm_date_format(lm_date_of_day(c->sessions[i].day), day));
    }
    fputs("</p>\n", out);
}

static void write_difference(FILE *out, const struct lm_statement *s)
{
    struct lm_part parts[LM_PARTS];
    char day[LM_DATE_TEXT_SIZE];
    if (!s->count || !s->count->figures.has_heads)
        return;
    const struct lm_count_figures *f = &s->count->figures;
    int64_t difference = (int64_t) f->heads - f->book;
    lm_date_format(s->count->cutoff, day);
    fputs("<h2>", out);
    fprintf(out,
        difference ? _("Heads less book of %s: %+lld, to be explained")
                   : _("Heads less book of %s: %+lld"),
        day, (long long) difference);
    fputs("</h2>\n", out);
    lm_difference_parts(f, parts);
    fputs("<table>\n", out);
    for (size_t i = 0; i < LM_PARTS; i++) {
        if (parts[i].n != 0)
            pair_number(out, _(parts[i].what), parts[i].n);
    }
    fprintf(out, "<tr class=\"sum\"><td>%s</td><td>", _("Heads less book"));
    fprintf(out, "%lld</td></tr>\n</table>\n", (long long) difference);
    if (!f->absent_max)
        return;
    fputs("<p>", out);
    fprintf(out, _("Of %u not found, between %u and %u are truly away."), f->absent_max,
        f->absent_min, f->absent_max);
    fputs("</p>\n", out);
}

static bool shown(const struct lm_statement *s, unsigned move)
{
    for (size_t i = 0; i < s->n_classes; i++) {
        if (s->classes[i].n[move] != 0)
            return true;
    }
    return move <= LM_MOVE_BOUGHT || move == LM_MOVE_BOOK ||
           (move >= LM_MOVE_SOLD && move <= LM_MOVE_KILLED);
}

static void write_row(FILE *out, const struct lm_statement *s, const struct lm_statement_class *c)
{
    bool sum = c == &s->total;
    fputs(sum ? "<tr class=\"sum\"><td>" : "<tr><td>", out);
    if (sum) {
        fputs(_("All"), out);
    } else {
        escaped(out, c->species[0] ? c->species : _("species not said"));
        fprintf(out, ", %s, %s", _(lm_age_class_name((enum lm_age_class) c->age)),
            _(lm_sex_class_name((enum lm_sex_class) c->sex)));
    }
    fputs("</td>", out);
    for (unsigned k = 0; k < LM_MOVES; k++) {
        if (shown(s, k))
            fprintf(out, "<td>%s%lld</td>", k == LM_MOVE_AGED && c->n[k] > 0 ? "+" : "",
                (long long) c->n[k]);
    }
    if (s->count)
        fprintf(out, "<td>%u</td>", c->identified);
    fputs("</tr>\n", out);
}

static void write_classes(FILE *out, const struct lm_statement *s)
{
    fprintf(out, "<h2>%s</h2>\n<p>", _("Movements by class"));
    fprintf(out,
        _("Kids and lambs are under %u months, yearlings under %u, by the age on the day. Book = "
          "opening + came − left + age class."),
        s->limits.kid_months, s->limits.yearling_months);
    fprintf(out, "</p>\n<table class=\"wide\">\n<thead><tr><th>%s</th>", _("Class"));
    for (unsigned k = 0; k < LM_MOVES; k++) {
        if (shown(s, k))
            fprintf(out, "<th>%s%s</th>", lm_move_sign((enum lm_move) k) < 0 ? "&#8722; " : "",
                heading(k));
    }
    if (s->count)
        fprintf(out, "<th>%s</th>", _("Identified"));
    fputs("</tr></thead>\n<tbody>\n", out);
    for (size_t i = 0; i < s->n_classes; i++)
        write_row(out, s, &s->classes[i]);
    write_row(out, s, &s->total);
    fputs("</tbody>\n</table>\n", out);
}

static void write_marks(FILE *out, const struct lm_statement *s)
{
    static const char *const words[LM_MARKS_KINDS] = {N_("Nothing lost"),
        N_("A device lost and not replaced, others still worn"),
        N_("The electronic device lost and not replaced"), N_("Every device lost"),
        N_("No device was ever written down")};
    fprintf(out, "<h2>%s</h2>\n<table>\n", _("Identification of the animals in the book"));
    for (unsigned k = 0; k < LM_MARKS_KINDS; k++)
        pair_number(out, _(words[k]), s->marks[k]);
    fputs("</table>\n", out);
}

static void write_note(const char *note, void *ctx)
{
    fputs("<li>", ctx);
    escaped(ctx, note);
    fputs("</li>\n", ctx);
}

enum lm_err lm_statement_html(FILE *out, const struct lm_statement *s)
{
    write_head(out, s);
    write_three(out, s);
    write_difference(out, s);
    write_classes(out, s);
    write_marks(out, s);
    if (lm_statement_notes(s, NULL, NULL, NULL) > 0) {
        fprintf(out, "<h2>%s</h2>\n<ul>\n",
            _("What this statement does not know, and what it takes for granted"));
        lm_statement_notes(s, &lm_tongue_speech, write_note, out);
        fputs("</ul>\n", out);
    }
    fprintf(out,
        "<div class=\"sign\"><div>%s</div><div>%s</div><div>%s</div></div>\n</body>\n</html>\n",
        _("Place and date"), _("Keeper, signature"), _("Counted by, signature"));
    return ferror(out) ? LM_EIO : LM_OK;
}
