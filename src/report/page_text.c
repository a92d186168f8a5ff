/*
 * The report for a terminal: 80 columns, nothing but text.
 */
#include "lugmark/version.h"
#include "report/page_data.h"

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
    char text[400], name[LM_NAME_MAX + 32], from[LM_TIME_TEXT_SIZE], to[LM_TIME_TEXT_SIZE];
    lines(out, 0, p->holding[0] ? p->holding : "Holding: not said");
    lines(out, 0, lm_page_session_kind(o ? o->kind : LM_WALK));
    lm_page_time(lm_session_opened_ms(p->s), from);
    lm_page_time(lm_session_closed_ms(p->s), to);
    snprintf(text, sizeof text, "%s to %s; session %s", from,
        lm_session_is_closed(p->s) ? to : "now, still open", lm_page_name(p, name, sizeof name));
    lines(out, 2, text);
    snprintf(text, sizeof text, "by: %s", o && o->who[0] ? o->who : "not said");
    lines(out, 2, text);
    snprintf(text, sizeof text, "roll: ");
    lm_page_scope(p, text + 6, sizeof text - 6);
    lines(out, 2, text);
}

static void figures(FILE *out, const struct lm_printed *p)
{
    const struct lm_summary *sum = &p->sum;
    char text[512];
    fprintf(out, "\n%8u  in the book, expected here\n", sum->expected);
    if (sum->has_heads)
        fprintf(out, "%8u  heads counted\n", sum->heads);
    else
        fputs("       -  heads counted: nobody counted\n", out);
    fprintf(
        out, "%8u  animals identified, %u of them expected here\n", sum->identified, sum->present);
    fprintf(out, "%8llu  readings in %llu passes\n\n", (unsigned long long) sum->readings,
        (unsigned long long) sum->passes);
    lines(out, 0, lm_page_bounds(p, text, sizeof text));
    fputs("\nFlags\n", out);
    for (unsigned k = 0; k < LM_KINDS; k++)
        fprintf(out, "%8u  %s\n", sum->counts[k], lm_page_kind((enum lm_kind) k));
}

static void missing(FILE *out, const struct lm_printed *p)
{
    uint32_t shown = 0, total = p->sum.counts[LM_MISSING];
    if (total == 0)
        return;
    fprintf(out, "\nNot found: %u\n", total);
    fputs("  Number         Colour   Where               Sex       Mob         Register\n", out);
    for (size_t i = 0; i < p->n && shown < LM_LIST_MAX; i++) {
        struct lm_page_marks m;
        if (p->findings[i].reason != LM_NOT_SEEN)
            continue;
        struct lm_roll_animal a = lm_roll_animal(p->roll, p->findings[i].animal);
        lm_page_marks(p->roll, p->findings[i].animal, &m);
        fputs("  ", out);
        cell(out, m.number[0] ? m.number : "no number", 14);
        cell(out, m.colour, 8);
        cell(out, m.place, 19);
        cell(out, m.sex, 9);
        cell(out, a.mob, 11);
        fprintf(out, "%.*s\n", (int) fits(a.key, 12), a.key);
        shown++;
    }
    if (total > shown)
        fprintf(out, "  ... and %u more; lugmark findings %lld --json lists them\n", total - shown,
            (long long) p->from.row->id);
}

static void one_explained(FILE *out, const struct lm_printed *p, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(p->from.explain, i);
    char text[760], fix[LM_FIX_MAX + 8], said[700], sure[16];
    snprintf(text, sizeof text, "X%u  %s  %s", i + 1, lm_page_sure(e->probability, sure),
        lm_page_explain(p, e, said, sizeof said));
    lines(out, 2, text);
    for (uint32_t k = 0; k < e->n_because; k++)
        lines(out, 6, e->because[k]);
    snprintf(fix, sizeof fix, "to mend:");
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
            fputs("\nWhat most likely happened\n", out);
        if (shown < LM_SAID_MAX && lm_page_worth(lm_explain_at(p->from.explain, i))) {
            one_explained(out, p, i);
            shown++;
        } else {
            left++;
        }
    }
    if (left > 0)
        fprintf(out, "  ... and %u less likely; lugmark explain %lld --json lists them\n", left,
            (long long) p->from.row->id);
}

static void readings(FILE *out, const struct lm_printed *p)
{
    const struct lm_race *r = &p->race;
    uint32_t most = 1;
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++)
        most = r->per_pass[k] > most ? r->per_pass[k] : most;
    if (r->passes > 0)
        fputs("\nReadings in one pass\n", out);
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
        fputs("\nDevices read, of those worn by animals that were seen (95 % interval)\n", out);
    for (size_t i = 0; i < p->n_read; i++) {
        char name[96];
        struct lm_proportion s = lm_wilson(p->read[i].read, p->read[i].readable);
        fputs("  ", out);
        cell(out, lm_page_device(p->read[i].form, p->read[i].place, name, sizeof name), 34);
        fprintf(out, "%5.1f %% (%.1f-%.1f), %llu of %llu\n", 100 * s.value, 100 * s.low,
            100 * s.high, (unsigned long long) s.hits, (unsigned long long) s.n);
    }
}

enum lm_err lm_printed_text(FILE *out, const struct lm_printed *p)
{
    char when[LM_TIME_TEXT_SIZE], text[200];
    head(out, p);
    figures(out, p);
    missing(out, p);
    explained(out, p);
    readings(out, p);
    putc('\n', out);
    for (size_t i = 0; lm_page_cautions[i]; i++)
        lines(out, 0, lm_page_cautions[i]);
    snprintf(text, sizeof text, "Made %s by lugmark %s; again with: lugmark report %lld",
        lm_page_time(p->from.made_ms, when), LM_VERSION, (long long) p->from.row->id);
    lines(out, 0, text);
    return ferror(out) ? LM_EIO : LM_OK;
}
