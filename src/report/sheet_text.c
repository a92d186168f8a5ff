/*
 * The report for a terminal: 80 columns, nothing but text.
 */
#include "lugmark/version.h"
#include "report/sheet_data.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <math.h>
#include <string.h>

#define WIDTH 80u

/** Bytes of the first @p columns characters at most. */
static size_t fits(const char *text, size_t columns)
{
    size_t i = 0;
    while (text[i]) {
        bool begins = ((unsigned char) text[i] & 0xc0) != 0x80;
        if (begins && columns-- == 0)
            return i;
        i++;
    }
    return i;
}

/** Write text in lines of at most 80 columns, each with @p indent blanks before it. */
static void lines(FILE *out, unsigned indent, const char *text)
{
    while (*text) {
        size_t n = fits(text, WIDTH - indent), cut = n;
        while (text[n] && cut > 0 && text[cut] != ' ')
            cut--;
        cut = text[n] == '\0' || cut == 0 ? n : cut;
        fprintf(out, "%*s%.*s\n", (int) indent, "", (int) cut, text);
        text += cut;
        text += strspn(text, " ");
    }
}

/** A cell of a table: cut to fit, padded by characters and not by bytes. */
static void cell(FILE *out, const char *text, unsigned columns)
{
    unsigned used = 0;
    size_t n = fits(text, columns);
    for (size_t i = 0; i < n; i++)
        used += ((unsigned char) text[i] & 0xc0) != 0x80;
    fprintf(out, "%.*s%*s", (int) n, text, (int) (columns - used + 1), "");
}

static void head(FILE *out, const struct lm_printed *p)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    char text[480], scope[400], name[LM_NAME_MAX + 32], from[LM_TIME_TEXT_SIZE],
        to[LM_TIME_TEXT_SIZE];
    lines(out, 0, p->holding[0] ? p->holding : _("Holding: not said"));
    lines(out, 0, lm_sheet_session_kind(o ? o->kind : LM_WALK));
    lm_sheet_time(lm_session_opened_ms(p->s), from);
    lm_sheet_time(lm_session_closed_ms(p->s), to);
    lm_sheet_name(p, name, sizeof name);
    if (lm_session_is_closed(p->s))
        snprintf(text, sizeof text, _("%s to %s; session %s"), from, to, name);
    else
        snprintf(text, sizeof text, _("%s to now, still open; session %s"), from, name);
    lines(out, 2, text);
    snprintf(text, sizeof text, _("by: %s"), o && o->who[0] ? o->who : _("not said"));
    lines(out, 2, text);
    lm_sheet_scope(p, scope, sizeof scope);
    snprintf(text, sizeof text, _("roll: %s"), scope);
    lines(out, 2, text);
}

static void figures(FILE *out, const struct lm_printed *p)
{
    const struct lm_summary *sum = &p->sum;
    char text[512];
    fprintf(out, _("\n%8u  in the book, expected here\n"), sum->expected);
    if (sum->has_heads)
        fprintf(out, _("%8u  heads counted\n"), sum->heads);
    else
        fputs(_("       -  heads counted: nobody counted\n"), out);
    fprintf(out, _("%8u  animals identified, %u of them expected here\n"), sum->identified,
        sum->present);
    fprintf(out, _("%8llu  readings in %llu passes\n\n"), (unsigned long long) sum->readings,
        (unsigned long long) sum->passes);
    lines(out, 0, lm_sheet_bounds(p, text, sizeof text));
    fputs(_("\nFlags\n"), out);
    for (unsigned k = 0; k < LM_KINDS; k++)
        fprintf(out, "%8u  %s\n", sum->counts[k], _(lm_kind_title((enum lm_kind) k)));
}

static void column_names(FILE *out)
{
    fputs("  ", out);
    cell(out, _("Number"), 14);
    cell(out, _("Colour"), 8);
    cell(out, _("Where"), 18);
    cell(out, _("Sex"), 10);
    cell(out, _("Mob"), 11);
    fprintf(out, "%s\n", _("Register"));
}

static void missing(FILE *out, const struct lm_printed *p)
{
    uint32_t shown = 0, total = p->sum.counts[LM_MISSING];
    if (total == 0)
        return;
    fprintf(out, _("\nNot found: %u\n"), total);
    column_names(out);
    for (size_t i = 0; i < p->n && shown < LM_LIST_MAX; i++) {
        struct lm_sheet_marks m;
        char place[160];
        if (p->findings[i].reason != LM_NOT_SEEN)
            continue;
        struct lm_roll_animal a = lm_roll_animal(p->roll, p->findings[i].animal);
        lm_sheet_marks(p->roll, p->findings[i].animal, &m);
        fputs("  ", out);
        cell(out, m.number[0] ? m.number : _("no number"), 14);
        cell(out, m.colour, 8);
        cell(out, lm_tongue_list(m.place, place, sizeof place), 18);
        cell(out, lm_tongue_word(m.sex), 10);
        cell(out, a.mob, 11);
        fprintf(out, "%.*s\n", (int) fits(a.key, 12), a.key);
        shown++;
    }
    if (total > shown)
        fprintf(out, _("  ... and %u more; lugmark findings %lld --json lists them\n"),
            total - shown, (long long) p->from.row->id);
}

static void one_explained(FILE *out, const struct lm_printed *p, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(p->from.explain, i);
    char text[760], fix[64], said[700], sure[16];
    snprintf(text, sizeof text, "X%u  %s  %s", i + 1, lm_sheet_sure(e->probability, sure),
        lm_sheet_explain(p, e, said, sizeof said));
    lines(out, 2, text);
    for (uint32_t k = 0; k < e->n_because; k++)
        lines(out, 6, e->because[k]);
    snprintf(fix, sizeof fix, "%s", _("to mend:"));
    if (lm_explain_fix(p->s, e, i + 1, p->from.row->id, said)[0]) {
        lines(out, 6, fix);
        fprintf(out, "        %s\n", said); /* whole, so that it can be copied */
    }
}

static void explained(FILE *out, const struct lm_printed *p)
{
    uint32_t n = p->from.explain ? lm_explain_count(p->from.explain) : 0, shown = 0, left = 0;
    for (uint32_t i = 0; i < n; i++) {
        if (p->from.skip && p->from.skip[i])
            continue;
        if (shown == 0 && left == 0)
            fputs(_("\nWhat most likely happened\n"), out);
        if (shown < LM_SAID_MAX && lm_sheet_worth(lm_explain_at(p->from.explain, i))) {
            one_explained(out, p, i);
            shown++;
        } else {
            left++;
        }
    }
    if (left > 0)
        fprintf(out, _("  ... and %u less likely; lugmark explain %lld --json lists them\n"), left,
            (long long) p->from.row->id);
}

static void readings(FILE *out, const struct lm_printed *p)
{
    const struct lm_race *r = &p->race;
    uint32_t most = 1;
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++)
        most = r->per_pass[k] > most ? r->per_pass[k] : most;
    if (r->passes > 0)
        fputs(_("\nReadings in one pass\n"), out);
    for (unsigned k = 1; k <= LM_PER_PASS_MAX && r->passes > 0; k++) {
        unsigned stars = (unsigned) ((r->per_pass[k] * 50ull + most - 1) / most);
        if (r->per_pass[k] == 0)
            continue;
        fprintf(out, "%8u%s %7u  ", k, k == LM_PER_PASS_MAX ? "+" : " ", r->per_pass[k]);
        for (unsigned i = 0; i < stars; i++)
            putc('#', out);
        putc('\n', out);
    }
    if (p->n_read > 0)
        fputs(_(/* xgettext:no-c-format */ "\nDevices read, of those worn by animals that were "
                                           "seen (95 % interval)\n"),
            out);
    for (size_t i = 0; i < p->n_read; i++) {
        char name[96];
        struct lm_proportion s = lm_wilson(p->read[i].read, p->read[i].readable);
        fputs("  ", out);
        cell(out, lm_sheet_device(p->read[i].form, p->read[i].place, name, sizeof name), 34);
        fprintf(out, _("%5.1f %% (%.1f-%.1f), %llu of %llu\n"), 100 * s.value, 100 * s.low,
            100 * s.high, (unsigned long long) s.hits, (unsigned long long) s.n);
    }
}

enum lm_err lm_printed_text(FILE *out, const struct lm_printed *p)
{
    char when[LM_TIME_TEXT_SIZE], text[240];
    head(out, p);
    figures(out, p);
    missing(out, p);
    explained(out, p);
    readings(out, p);
    putc('\n', out);
    for (size_t i = 0; lm_sheet_cautions[i]; i++)
        lines(out, 0, _(lm_sheet_cautions[i]));
    snprintf(text, sizeof text, _("Made %s by lugmark %s; again with: lugmark report %lld"),
        lm_sheet_time(p->from.made_ms, when), LM_VERSION, (long long) p->from.row->id);
    lines(out, 0, text);
    return ferror(out) ? LM_EIO : LM_OK;
}
