/*
 * A statement for people, in plain text.
 */
#include "lugmark/statement.h"
#include "report/difference.h"
#include "report/statement_words.h"
#include "report/tongue.h"

#include <string.h>

/** Columns that say anything at all. */
static bool has_column(const struct lm_statement *s, unsigned move)
{
    for (size_t i = 0; i < s->n_classes; i++) {
        if (s->classes[i].n[move] != 0)
            return true;
    }
    return move == LM_MOVE_OPENING || move == LM_MOVE_BOOK;
}

static void write_sum(FILE *out, const struct lm_statement *s)
{
    static const char signs[] = {'-', '=', '+'};
    for (unsigned k = 0; k < LM_MOVES; k++) {
        int sign = lm_move_sign((enum lm_move) k);
        bool always = sign == 0 || k == LM_MOVE_OPENING || k == LM_MOVE_BORN ||
                      k == LM_MOVE_BOUGHT || (k >= LM_MOVE_SOLD && k <= LM_MOVE_KILLED);
        if (k == LM_MOVE_AGED || (!always && s->total.n[k] == 0))
            continue;
        char word[LM_STATEMENT_WORD];
        lm_statement_words(lm_move_name((enum lm_move) k), word);
        int pad = 17 - lm_tongue_width(word);
        fprintf(out, "  %c %s%*s %8lld\n", k == LM_MOVE_OPENING ? ' ' : signs[sign + 1], word,
            pad > 0 ? pad : 0, "", (long long) s->total.n[k]);
    }
}

static void write_difference(FILE *out, const struct lm_inventory *c)
{
    const struct lm_count_figures *f = &c->figures;
    struct lm_part parts[LM_PARTS];
    char day[LM_DATE_TEXT_SIZE];
    int64_t difference = (int64_t) f->heads - f->book;
    lm_date_format(c->cutoff, day);
    if (f->book > 0)
        fprintf(out,
            difference
                ? _("\nHeads less book of %s: %+lld (%.1f %%), to be explained. It is made of\n")
                : _("\nHeads less book of %s: %+lld (%.1f %%)\n"),
            day, (long long) difference,
            100.0 * (double) (difference < 0 ? -difference : difference) / f->book);
    else
        fprintf(out,
            difference ? _("\nHeads less book of %s: %+lld, to be explained. It is made of\n")
                       : _("\nHeads less book of %s: %+lld\n"),
            day, (long long) difference);
    lm_difference_parts(f, parts);
    for (size_t i = 0; i < LM_PARTS; i++) {
        if (parts[i].n != 0)
            fprintf(out, "  %+6lld  %s\n", (long long) parts[i].n, _(parts[i].what));
    }
    if (f->absent_max)
        fprintf(out, _("Of %u not found, between %u and %u are truly away.\n"), f->absent_max,
            f->absent_min, f->absent_max);
}

static void write_who(FILE *out, const struct lm_inventory *c)
{
    fputs(_("  counted by"), out);
    for (size_t i = 0; i < c->n_sessions; i++) {
        const char *who = c->sessions[i].row.open.who;
        bool known = false;
        for (size_t k = 0; k < i && !known; k++)
            known = strcmp(c->sessions[k].row.open.who, who) == 0;
        if (!known)
            fprintf(out, "%s %s", i ? "," : "", who[0] ? who : _("(not said)"));
    }
    putc('\n', out);
}

static void write_three(FILE *out, const struct lm_statement *s)
{
    char day[LM_DATE_TEXT_SIZE];
    const struct lm_inventory *c = s->count;
    fputs(_("\nThree figures, each by itself\n"), out);
    fprintf(out, _("  in the book at the end of %s  %lld\n"), lm_date_format(s->to, day),
        (long long) s->total.n[LM_MOVE_BOOK]);
    if (!c) {
        fputs(_("  heads counted                        not known\n"
                "  animals identified                   not known\n"),
            out);
        return;
    }
    if (c->figures.has_heads)
        fprintf(out, _("  heads counted                        %u\n"), c->figures.heads);
    else
        fputs(_("  heads counted                        not known\n"), out);
    fprintf(out, _("  animals identified                   %u (%u of this book)\n"),
        c->figures.identified, s->total.identified);
    fprintf(out, _("  by the count %s, as at the end of %s\n"), c->name,
        lm_date_format(c->cutoff, day));
    write_who(out, c);
    if (c->figures.has_heads)
        write_difference(out, c);
}

/* What moved in one class; columns that are empty in every class are left out. */
static void write_moves(FILE *out, const struct lm_statement *s, const struct lm_statement_class *c)
{
    char word[LM_STATEMENT_WORD];
    for (unsigned k = 0; k < LM_MOVES; k++) {
        if (has_column(s, k) && (c->n[k] != 0 || k == LM_MOVE_OPENING || k == LM_MOVE_BOOK))
            fprintf(out, "  %s %s%lld", lm_statement_words(lm_move_name((enum lm_move) k), word),
                k == LM_MOVE_AGED && c->n[k] > 0 ? "+" : "", (long long) c->n[k]);
    }
}

static void write_classes(FILE *out, const struct lm_statement *s)
{
    fprintf(out,
        _("\nBy class: kids and lambs are under %u months, yearlings under %u, by the age on the "
          "day\n"),
        s->limits.kid_months, s->limits.yearling_months);
    for (size_t i = 0; i <= s->n_classes; i++) {
        const struct lm_statement_class *c = i < s->n_classes ? &s->classes[i] : &s->total;
        if (i < s->n_classes)
            fprintf(out, "  %s, %s, %s:", c->species[0] ? c->species : _("species not said"),
                _(lm_age_class_name((enum lm_age_class) c->age)),
                _(lm_sex_class_name((enum lm_sex_class) c->sex)));
        else
            fputs(_("  all:"), out);
        write_moves(out, s, c);
        if (s->count)
            fprintf(out, _("  identified %u"), c->identified);
        putc('\n', out);
    }
}

static void write_marks(FILE *out, const struct lm_statement *s)
{
    static const char *const words[LM_MARKS_KINDS] = {N_("nothing lost"),
        N_("a device lost and not replaced, others still worn"),
        N_("the electronic device lost and not replaced"), N_("every device lost"),
        N_("no device was ever written down")};
    fputs(_("\nIdentification of the animals in the book, as the register has it\n"), out);
    for (unsigned k = 0; k < LM_MARKS_KINDS; k++)
        fprintf(out, "  %8u  %s\n", s->marks[k], _(words[k]));
    if (s->count && s->count->figures.counts[LM_COUNT_UNREAD])
        fprintf(out, _("  %8u  known by number only in the count: the tag gave no reading\n"),
            s->count->figures.counts[LM_COUNT_UNREAD]);
}

static void write_note(const char *note, void *ctx)
{
    fprintf(ctx, "  - %s\n", note);
}

enum lm_err lm_statement_text(FILE *out, const struct lm_statement *s)
{
    char from[LM_DATE_TEXT_SIZE], to[LM_DATE_TEXT_SIZE];
    lm_date_format(s->from, from);
    lm_date_format(s->to, to);
    if (s->holding[0])
        fprintf(out, _("Statement of %s, %s to %s\n\n"), s->holding, from, to);
    else
        fprintf(out, _("Statement, %s to %s\n\n"), from, to);
    write_sum(out, s);
    write_three(out, s);
    write_classes(out, s);
    write_marks(out, s);
    if (lm_statement_notes(s, NULL, NULL, NULL) > 0)
        fputs(_("\nWhat this statement does not know, and what it takes for granted\n"), out);
    lm_statement_notes(s, &lm_tongue_speech, write_note, out);
    return ferror(out) ? LM_EIO : LM_OK;
}
