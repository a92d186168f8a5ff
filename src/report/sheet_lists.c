/*
 * The lists of the printed page: flags by kind, those not found, what is likely, every other flag.
 */
#include "report/sheet_html.h"
#include "report/svg.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <math.h>
#include <string.h>

#define NAMES_MAX 60u /* animals of one explanation on paper */

static void number_cell(FILE *out, long long n)
{
    fprintf(out, "<td class=\"n\">%lld</td>", n);
}

static void attention(FILE *out, enum lm_attention a)
{
    fprintf(out, "<td class=\"word %s\">", lm_attention_name(a));
    lm_svg_text(out, _(lm_attention_name(a)));
    fputs("</td>", out);
}

/** The rest of a list that is cut on paper, and where it can be had. */
static void more(FILE *out, const struct lm_printed *p, uint32_t n, const char *command)
{
    char text[200];
    if (n == 0)
        return;
    snprintf(text, sizeof text, _("… and %u more; lugmark %s %lld --json lists them."), n, command,
        (long long) p->from.row->id);
    lm_sheet_element(out, "p class=\"more\"", text);
    putc('\n', out);
}

/** The reasons of a kind in words, each with its number when there are several. */
static void reasons_of(const struct lm_printed *p, enum lm_kind kind, char *out, size_t size)
{
    unsigned n = 0;
    out[0] = '\0';
    for (unsigned r = 0; r < LM_REASONS; r++)
        n += lm_reason_kind((enum lm_reason) r) == kind && p->reasons[r] > 0;
    for (unsigned r = 0; r < LM_REASONS; r++) {
        bool same = r == LM_NOT_SEEN || (r == LM_NOT_IN_REGISTER && n == 1) || r == LM_NO_READING;
        if (lm_reason_kind((enum lm_reason) r) != kind || p->reasons[r] == 0 || same)
            continue; /* the kind says the same already */
        lm_sheet_add(out, size, "%s%s", out[0] ? "; " : "", _(lm_reason_say((enum lm_reason) r)));
        if (n > 1)
            lm_sheet_add(out, size, " (%u)", p->reasons[r]);
    }
}

static const char *asked_for(const struct lm_printed *p, enum lm_kind kind, char *out, size_t size)
{
    static const enum lm_attention order[] = {LM_HOLD, LM_LOOK, LM_GO};
    out[0] = '\0';
    for (unsigned k = 0; k < 3; k++) {
        uint32_t n = p->asked[kind][order[k]];
        if (n == p->sum.counts[kind] && n > 0)
            lm_sheet_add(out, size, "%s", _(lm_attention_name(order[k])));
        else if (n > 0)
            lm_sheet_add(
                out, size, "%s%s %u", out[0] ? ", " : "", _(lm_attention_name(order[k])), n);
    }
    return out;
}

void lm_sheet_flags(FILE *out, const struct lm_printed *p)
{
    char why[600], asked[64];
    static const struct lm_sheet_column columns[] = {{N_("Kind"), false}, {N_("Flags"), true},
        {N_("Asked for"), false}, {N_("Why"), false}, {0}};
    lm_sheet_element(out, "h3", _("Flags by kind"));
    putc('\n', out);
    lm_sheet_columns(out, "flags", columns);
    for (unsigned k = 0; k < LM_KINDS; k++) {
        reasons_of(p, (enum lm_kind) k, why, sizeof why);
        fprintf(out, "<tr data-kind=\"%s\"%s>", lm_kind_name((enum lm_kind) k),
            p->sum.counts[k] ? "" : " class=\"nil\"");
        lm_sheet_element(out, "td", _(lm_kind_title((enum lm_kind) k)));
        number_cell(out, p->sum.counts[k]);
        lm_sheet_element(out, "td", asked_for(p, (enum lm_kind) k, asked, sizeof asked));
        lm_sheet_element(out, "td", why);
        fputs("</tr>\n", out);
    }
    fputs("</tbody>\n</table>\n", out);
}

static void missing_row(FILE *out, const struct lm_printed *p, uint32_t animal)
{
    struct lm_sheet_marks m;
    char place[160];
    struct lm_roll_animal a = lm_roll_animal(p->roll, animal);
    lm_sheet_marks(p->roll, animal, &m);
    fputs("<tr>", out);
    lm_sheet_element(out, "td class=\"key\"", m.number[0] ? m.number : _("no number"));
    lm_sheet_element(out, "td", m.colour);
    lm_sheet_element(out, "td", lm_tongue_list(m.place, place, sizeof place));
    lm_sheet_element(out, "td", lm_tongue_word(m.sex));
    lm_sheet_element(out, "td", a.mob);
    lm_sheet_element(out, "td", a.key);
    fputs("<td class=\"tick\"><i></i></td></tr>\n", out);
}

void lm_sheet_missing(FILE *out, const struct lm_printed *p)
{
    static const struct lm_sheet_column columns[] = {{N_("Number"), false}, {N_("Colour"), false},
        {N_("Where"), false}, {N_("Sex"), false}, {N_("Mob"), false},
        {N_("In the register"), false}, {N_("Found"), false}, {0}};
    uint32_t shown = 0, total = p->sum.counts[LM_MISSING];
    char heading[80];
    snprintf(heading, sizeof heading, _("Not found: %u"), total);
    lm_sheet_section(out, 2, heading);
    if (total == 0)
        lm_sheet_element(out, "p class=\"none\"",
            lm_session_is_closed(p->s) ? _("Everybody on the roll was read or called.")
                                       : _("The session is still open: nobody is missing yet."));
    if (total > 0)
        lm_sheet_columns(out, "missing", columns);
    for (size_t i = 0; i < p->n && shown < LM_LIST_MAX; i++) {
        if (p->findings[i].reason != LM_NOT_SEEN)
            continue;
        missing_row(out, p, p->findings[i].animal);
        shown++;
    }
    if (total > 0)
        fputs("</tbody>\n</table>\n", out);
    more(out, p, total - shown, "findings");
    fputs("</div>\n</section>\n", out);
}

/** Whether nothing but the animal tells two explanations apart, and neither mends anything. */
static bool alike(const struct lm_printed *p, uint32_t i, uint32_t j)
{
    const struct lm_explanation *a = lm_explain_at(p->from.explain, i);
    const struct lm_explanation *b = lm_explain_at(p->from.explain, j);
    char fix[LM_FIX_MAX];
    if (a->kind != b->kind || a->n_animals != 1 || b->n_animals != 1 || a->n_eid || b->n_eid ||
        a->sighting || b->sighting || a->n_because != b->n_because ||
        fabs(a->probability - b->probability) >= 0.005 || lm_explain_fix(p->s, a, 1, 1, fix)[0] ||
        lm_explain_fix(p->s, b, 1, 1, fix)[0])
        return false;
    for (uint32_t k = 0; k < a->n_because; k++) {
        if (strcmp(a->because[k], b->because[k]) != 0)
            return false;
    }
    return true;
}

static bool printed(const struct lm_printed *p, uint32_t i)
{
    return !(p->from.skip && p->from.skip[i]) && lm_sheet_worth(lm_explain_at(p->from.explain, i));
}

/** Explanation @p i, and with it those right after that are like it. @return How many. */
static uint32_t explained(FILE *out, const struct lm_printed *p, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(p->from.explain, i);
    char text[700], fix[LM_FIX_MAX], sure[16];
    uint32_t n = 1, all = lm_explain_count(p->from.explain);
    while (i + n < all && printed(p, i + n) && alike(p, i, i + n))
        n++;
    fprintf(out, "<li data-id=\"X%u\" data-n=\"%u\"><div class=\"sure\">", i + 1, n);
    lm_svg_text(out, lm_sheet_sure(e->probability, sure));
    fprintf(out, "<small>X%u", i + 1);
    if (n > 1)
        fprintf(out, "&#8211;X%u", i + n);
    fputs("</small></div><div><b>", out);
    lm_svg_text(out, n == 1 ? lm_sheet_explain(p, e, text, sizeof text) : "");
    for (uint32_t k = 0; k < n && n > 1 && k < NAMES_MAX; k++) {
        fputs(k ? ", " : "", out);
        lm_svg_text(
            out, lm_roll_animal(p->roll, lm_explain_at(p->from.explain, i + k)->animals[0]).key);
    }
    if (n > NAMES_MAX)
        fprintf(out, _(" and %u more"), n - NAMES_MAX);
    if (n > 1)
        fprintf(out, _(", each: %s"), _(lm_explain_kind_title(e->kind)));
    fputs("</b><ul>", out);
    for (uint32_t k = 0; k < e->n_because; k++)
        lm_sheet_element(out, "li", e->because[k]);
    fputs("</ul>", out);
    if (lm_explain_fix(p->s, e, i + 1, p->from.row->id, fix)[0]) {
        lm_svg_text(out, _("To mend, once somebody has looked:"));
        putc(' ', out);
        lm_sheet_element(out, "code", fix);
    }
    fputs("</div></li>\n", out);
    return n;
}

void lm_sheet_explained(FILE *out, const struct lm_printed *p)
{
    uint32_t n = p->from.explain ? lm_explain_count(p->from.explain) : 0, shown = 0, left = 0;
    lm_sheet_section(out, 3, _("What most likely happened"));
    fputs("<ol class=\"said\">\n", out);
    for (uint32_t i = 0; i < n;) {
        if (printed(p, i) && shown < LM_SAID_MAX) {
            i += explained(out, p, i);
            shown++;
            continue;
        }
        left += !(p->from.skip && p->from.skip[i]);
        i++;
    }
    fputs("</ol>\n", out);
    if (shown == 0)
        lm_sheet_element(out, "p class=\"none\"", _("Nothing to explain."));
    more(out, p, left, "explain");
    fputs("</div>\n</section>\n", out);
}

static void other_row(FILE *out, const struct lm_printed *p, const struct lm_finding *f)
{
    char codes[LM_DEVICES_MAX * LM_EID_TEXT_SIZE], number[300], why[400] = "";
    char when[LM_TIME_TEXT_SIZE];
    const char *key = f->animal == LM_NO_ANIMAL ? "" : lm_roll_animal(p->roll, f->animal).key;
    lm_sheet_add(why, sizeof why, "%s", _(lm_reason_say(f->reason)));
    if (f->text && f->reason != LM_NOT_IN_REGISTER)
        lm_sheet_add(why, sizeof why, _("; called or read: %s"), f->text);
    if (f->other != LM_NO_ANIMAL)
        lm_sheet_add(why, sizeof why, _("; and %s"), lm_roll_animal(p->roll, f->other).key);
    if (f->times > 1)
        lm_sheet_add(why, sizeof why, lm_tongue_n("; %u time", "; %u times", f->times), f->times);
    lm_time_format(f->t_ms, when);
    fputs("<tr>", out);
    attention(out, f->attention);
    lm_sheet_element(out, "td class=\"key\"", lm_sheet_number(p, f, number, sizeof number));
    lm_sheet_element(out, "td", key);
    lm_sheet_element(out, "td class=\"code\"", lm_sheet_codes(p, f, codes, sizeof codes));
    lm_sheet_element(out, "td", why);
    fprintf(out, "<td class=\"n\">%.8s</td></tr>\n", when[0] ? when + 11 : "");
}

static void others_of(FILE *out, const struct lm_printed *p, enum lm_kind kind)
{
    static const struct lm_sheet_column columns[] = {{N_("Do"), false}, {N_("Number"), false},
        {N_("In the register"), false}, {N_("Code"), false}, {N_("Why"), false}, {N_("UTC"), true},
        {0}};
    uint32_t shown = 0;
    lm_sheet_element(out, "h3", _(lm_kind_title(kind)));
    lm_sheet_columns(out, "others", columns);
    for (size_t i = 0; i < p->n && shown < LM_LIST_MAX; i++) {
        if (lm_reason_kind(p->findings[i].reason) != kind)
            continue;
        other_row(out, p, &p->findings[i]);
        shown++;
    }
    fputs("</tbody>\n</table>\n", out);
    more(out, p, p->sum.counts[kind] - shown, "findings");
}

void lm_sheet_others(FILE *out, const struct lm_printed *p)
{
    bool any = false;
    lm_sheet_section(out, 4, _("Flagged at the race"));
    for (unsigned k = 0; k < LM_KINDS; k++) {
        if (k == LM_MISSING || p->sum.counts[k] == 0)
            continue;
        others_of(out, p, (enum lm_kind) k);
        any = true;
    }
    if (!any)
        lm_sheet_element(out, "p class=\"none\"", _("Nothing else was flagged."));
    fputs("</div>\n</section>\n", out);
}
