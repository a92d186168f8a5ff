/*
 * A count for people: the three figures, what lies between them, then who.
 */
#include "lugmark/inventory.h"
#include "lugmark/report.h"
#include "report/difference.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <string.h>

#define LIST_MAX 200u /* longer lists are cut on paper; the JSON has them all */

struct text_run {
    FILE *out;
    const struct lm_inventory *inv;
    enum lm_count_kind kind;
    uint32_t done;
};

static void write_stay(struct text_run *run, uint32_t animal)
{
    const struct lm_stays *s = &run->inv->book.stays[animal];
    char date[LM_DATE_TEXT_SIZE];
    struct lm_roll_animal a = lm_roll_animal(run->inv->book.roll, animal);
    if (s->n == 0)
        return;
    const struct lm_stay *last = &s->stay[s->n - 1];
    if (last->left != LM_HERE_STILL && last->out.year != 0)
        fprintf(run->out, "  %s %s", lm_tongue_word(lm_status_name((enum lm_status) a.status)),
            lm_date_format(last->out, date));
    else if (last->left != LM_HERE_STILL)
        fprintf(run->out, _("  %s, nobody wrote when"),
            lm_tongue_word(lm_status_name((enum lm_status) a.status)));
    else if (last->in.year != 0 && last->came != LM_CAME_BORN)
        fprintf(run->out, _("  here since %s"), lm_date_format(last->in, date));
}

static void write_marks(struct text_run *run, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(run->inv->book.roll, animal);
    char code[LM_EID_TEXT_SIZE];
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(run->inv->book.roll, animal, k);
        if (d.gone)
            continue;
        if (d.visual[0])
            fprintf(run->out, _("  no. %s"), d.visual);
        if (d.eid.known)
            fprintf(run->out, "  %s", lm_eid_format(d.eid, code));
    }
    if (a.mob[0])
        fprintf(run->out, _("  mob %s"), a.mob);
    write_stay(run, animal);
}

static void write_entry(const struct lm_count_entry *e, void *ctx)
{
    struct text_run *run = ctx;
    char code[LM_EID_TEXT_SIZE];
    uint32_t total = run->inv->figures.counts[e->kind];
    if (run->kind != e->kind) {
        fprintf(run->out, "\n%s (%s): %u\n", _(lm_count_kind_title(e->kind)),
            lm_count_kind_name(e->kind), total);
        run->kind = e->kind;
        run->done = 0;
    }
    if (run->done++ >= LIST_MAX) {
        if (run->done == LIST_MAX + 1)
            fprintf(run->out, _("  ... and %u more; --json lists them all\n"), total - LIST_MAX);
        return;
    }
    fprintf(run->out, "  %s", e->key[0] ? e->key : _("nobody"));
    if (e->eid.known)
        fprintf(run->out, "  %s", lm_eid_format(e->eid, code));
    if (e->text[0])
        fprintf(run->out, "  \"%s\"", e->text);
    if (!e->eid.known && !e->text[0] && e->animal != LM_NO_ANIMAL)
        write_marks(run, e->animal);
    if (e->other[0])
        fprintf(run->out, _("  and %s"), e->other);
    if (e->reason != LM_REASONS)
        fprintf(run->out, "  - %s", _(lm_reason_say(e->reason)));
    for (size_t i = 0; i < e->n_sessions; i++)
        fprintf(run->out, i ? ", %s" : _("  session %s"),
            run->inv->sessions[e->sessions[i]].row.open.id);
    putc('\n', run->out);
}

static void write_session(FILE *out, const struct lm_inventory_session *s)
{
    char date[LM_DATE_TEXT_SIZE];
    const struct lm_open *o = &s->row.open;
    fprintf(out, _("  session %s  %s"), o->id, lm_date_format(lm_date_of_day(s->day), date));
    if (o->mob[0])
        fprintf(out, _("  mob %s"), o->mob);
    if (o->lot[0])
        fprintf(out, _("  lot %s"), o->lot);
    fprintf(out, _("  counted by %s"), o->who[0] ? o->who : _("(not said)"));
    if (s->sum.has_heads)
        fprintf(out, _("  heads %u"), s->sum.heads);
    else
        fputs(_("  heads not counted"), out);
    fprintf(out, s->row.last_seq == 0 ? _("  identified %u  still open\n") : _("  identified %u\n"),
        s->sum.identified);
}

static void write_head(FILE *out, const struct lm_inventory *inv)
{
    char date[LM_DATE_TEXT_SIZE], time[LM_TIME_TEXT_SIZE];
    fprintf(out, _("Count %s, as at the end of %s"), inv->name, lm_date_format(inv->cutoff, date));
    if (inv->closed_ms != LM_TIME_NONE)
        fprintf(out, _(", closed %s\n"), lm_time_format(inv->closed_ms, time));
    else
        fputs(
            inv->running ? _(", not closed, a session is still open\n") : _(", not closed\n"), out);
    for (size_t i = 0; i < inv->n_sessions; i++)
        write_session(out, &inv->sessions[i]);
    putc('\n', out);
}

static void write_difference(FILE *out, const struct lm_count_figures *f)
{
    struct lm_part parts[LM_PARTS];
    int64_t difference = (int64_t) f->heads - f->book;
    lm_difference_parts(f, parts);
    fprintf(out,
        difference ? _("Heads less book: %+lld, to be explained. It is made of\n")
                   : _("Heads less book: %+lld\n"),
        (long long) difference);
    for (size_t i = 0; i < LM_PARTS; i++) {
        if (parts[i].n != 0)
            fprintf(out, "  %+lld  %s\n", (long long) parts[i].n, _(parts[i].what));
    }
}

static void write_figures(FILE *out, const struct lm_inventory *inv)
{
    const struct lm_count_figures *f = &inv->figures;
    fprintf(out, _("  in the book           %u\n"), f->book);
    if (f->has_heads)
        fprintf(out, _("  heads counted         %u\n"), f->heads);
    else if (f->without_heads < f->sessions)
        fprintf(out,
            _("  heads counted         not known: %u of %u sessions have no head count (the "
              "others:\n"
              "                        %u)\n"),
            f->without_heads, f->sessions, f->heads);
    else
        fprintf(out, _("  heads counted         not known: %u of %u sessions have no head count\n"),
            f->without_heads, f->sessions);
    fprintf(out, _("  animals identified    %u (%u of the book)\n"), f->identified, f->present);
    if (f->heads_short)
        fputs(_("LOOK: in a session fewer heads were counted than animals identified: somebody "
                "miscounted.\n"),
            out);
    if (f->has_heads)
        write_difference(out, f);
    if (f->absent_max)
        fprintf(out,
            _("Not found is not absent: of %u not found, between %u and %u are truly away.\n"),
            f->absent_max, f->absent_min, f->absent_max);
    if (f->vague)
        fprintf(out,
            _("Of %u animals the register knows a date only to the month or year, so that they may "
              "be on either side of the cut-off.\n"),
            f->vague);
}

enum lm_err lm_inventory_text(FILE *out, struct lm_inventory *inv)
{
    struct text_run run = {.out = out, .inv = inv, .kind = LM_COUNT_KINDS};
    struct lm_count_figures figures;
    write_head(out, inv);
    write_figures(out, inv);
    enum lm_err err = lm_count_result(inv->count, &figures, write_entry, &run);
    if (run.kind == LM_COUNT_KINDS && !lm_count_flagged(&inv->figures))
        fputs(_("\nNothing flagged.\n"), out);
    else
        fputs(_("\nWhat most likely happened: lugmark explain SESSION, for each session above.\n"),
            out);
    if (err == LM_OK)
        err = lm_estimates_text(out, inv->estimates, NULL);
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
