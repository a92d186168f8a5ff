/*
 * The findings for a person: the three figures first, never merged, then what does not fit.
 */
#include "lugmark/report.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <string.h>

#define LIST_MAX 200u /* longer lists are cut on paper; the JSON has them all */

struct text_run {
    FILE *out;
    const struct lm_roll *roll;
    uint32_t total[LM_KINDS];
    uint32_t done;
    enum lm_kind kind;
};

static void heading(struct text_run *run, enum lm_kind kind)
{
    fprintf(
        run->out, "\n%s (%s): %u\n", _(lm_kind_title(kind)), lm_kind_name(kind), run->total[kind]);
    run->kind = kind;
    run->done = 0;
}

static void write_marks(struct text_run *run, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(run->roll, animal);
    char code[LM_EID_TEXT_SIZE];
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(run->roll, animal, k);
        if (d.gone)
            continue;
        if (d.visual[0])
            fprintf(run->out, _("  no. %s"), d.visual);
        if (d.colour[0] || d.place)
            fprintf(run->out, " (%s%s%s)", d.colour, d.colour[0] && d.place ? ", " : "",
                lm_tongue_word(lm_place_name((enum lm_place) d.place)));
        if (d.eid.known)
            fprintf(run->out, "  %s", lm_eid_format(d.eid, code));
    }
}

/** The old device by its own marks: whoever reads this may be about to cut one out. */
static void write_retired(struct text_run *run, const struct lm_finding *f)
{
    char code[LM_EID_TEXT_SIZE];
    const char *number = f->text ? f->text : "";
    uint32_t n = lm_roll_animal(run->roll, f->animal).n_devices;
    for (uint32_t k = 0; k < n && !number[0] && f->eid.known; k++) {
        struct lm_roll_device d = lm_roll_device(run->roll, f->animal, k);
        if (d.gone && lm_eid_key(d.eid) == lm_eid_key(f->eid))
            number = d.visual;
    }
    fputs(_("  old device:"), run->out);
    if (number[0])
        fprintf(run->out, _("  no. %s"), number);
    if (f->eid.known)
        fprintf(run->out, "  %s", lm_eid_format(f->eid, code));
}

/* In a column as wide as the longest of the words. */
static void write_attention(FILE *out, enum lm_attention attention)
{
    /* TRANSLATORS: what the person at the race must do: let it go, look at it, hold it back */
    static const char *const words[] = {
        [LM_GO] = N_("go"), [LM_LOOK] = N_("look"), [LM_HOLD] = N_("hold")};
    int width = 0;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        width = lm_tongue_width(_(words[i])) > width ? lm_tongue_width(_(words[i])) : width;
    const char *word = _(words[attention <= LM_HOLD ? attention : LM_HOLD]);
    fprintf(out, "  %s%*s  ", word, width - lm_tongue_width(word), "");
}

static void write_line(const struct lm_finding *f, void *ctx)
{
    struct text_run *run = ctx;
    char code[LM_EID_TEXT_SIZE], when[LM_TIME_TEXT_SIZE];
    enum lm_kind kind = lm_reason_kind(f->reason);
    if (run->kind != kind)
        heading(run, kind);
    if (run->done++ >= LIST_MAX) {
        if (run->done == LIST_MAX + 1)
            fprintf(run->out, _("  ... and %u more; --json lists them all\n"),
                run->total[kind] - LIST_MAX);
        return;
    }
    write_attention(run->out, f->attention);
    if (f->animal != LM_NO_ANIMAL)
        fprintf(run->out, "%s", lm_roll_animal(run->roll, f->animal).key);
    if (lm_reason_kind(f->reason) == LM_RETIRED)
        write_retired(run, f);
    else if (f->animal != LM_NO_ANIMAL)
        write_marks(run, f->animal);
    if (f->eid.known && f->animal == LM_NO_ANIMAL)
        fprintf(run->out, "%s", lm_eid_format(f->eid, code));
    if (f->reason == LM_NUMBER_DIFFERS)
        fprintf(run->out, _("  but called: %s"), f->text);
    else if (f->text && lm_reason_kind(f->reason) != LM_RETIRED)
        fprintf(run->out, "%s\"%s\"", f->animal == LM_NO_ANIMAL ? "" : "  ", f->text);
    if (f->other != LM_NO_ANIMAL)
        fprintf(run->out, _("  and %s"), lm_roll_animal(run->roll, f->other).key);
    if (f->times > 1)
        fprintf(run->out, lm_tongue_n("  (%u time)", "  (%u times)", f->times), f->times);
    fprintf(run->out, "  - %s", _(lm_reason_say(f->reason)));
    if (f->t_ms != LM_TIME_NONE)
        fprintf(run->out, "  %s", lm_time_format(f->t_ms, when));
    putc('\n', run->out);
}

static void write_head(FILE *out, const struct lm_session *s)
{
    const struct lm_open *o = lm_session_open_of(s);
    char when[LM_TIME_TEXT_SIZE];
    fprintf(out, _("Session%s%s: %s"), o && o->id[0] ? " " : "", o ? o->id : "",
        lm_tongue_word(lm_session_kind_name(o ? o->kind : LM_WALK)));
    if (o && o->mob[0])
        fprintf(out, _(", mob %s"), o->mob);
    if (o && o->lot[0])
        fprintf(out, _(", lot %s"), o->lot);
    if (o && o->count[0])
        fprintf(out, _(", count %s"), o->count);
    if (lm_session_opened_ms(s) != LM_TIME_NONE)
        fprintf(out, _(", opened %s"), lm_time_format(lm_session_opened_ms(s), when));
    if (lm_session_closed_ms(s) != LM_TIME_NONE)
        fprintf(out, _(", closed %s"), lm_time_format(lm_session_closed_ms(s), when));
    else if (!lm_session_is_closed(s))
        fputs(_(", still open"), out);
    putc('\n', out);
}

static void write_figures(FILE *out, const struct lm_summary *sum)
{
    fprintf(out, _("  in the book, expected here  %u\n"), sum->expected);
    if (sum->has_heads)
        fprintf(out, _("  heads counted               %u\n"), sum->heads);
    else
        fputs(_("  heads counted               not said\n"), out);
    fprintf(out, _("  animals identified          %u (%u of those expected)\n"), sum->identified,
        sum->present);
    fprintf(out, _("  readings %llu, passes %llu\n"), (unsigned long long) sum->readings,
        (unsigned long long) sum->passes);
    if (sum->heads_short)
        fprintf(out,
            _("LOOK: fewer heads counted (%u) than animals identified (%u): somebody "
              "miscounted.\n"),
            sum->heads, sum->identified);
    if (sum->absent_max)
        fprintf(out,
            _("Not seen is not absent: of %u not seen, between %u and %u are truly away.\n"),
            sum->absent_max, sum->absent_min, sum->absent_max);
}

enum lm_err lm_report_text(FILE *out, const struct lm_session *session)
{
    struct lm_summary sum;
    enum lm_err err = lm_session_findings(session, &sum, NULL, NULL);
    if (err)
        return err;
    struct text_run run = {.out = out, .roll = lm_session_roll(session), .kind = LM_KINDS};
    memcpy(run.total, sum.counts, sizeof run.total);
    write_head(out, session);
    write_figures(out, &sum);
    err = lm_session_findings(session, NULL, write_line, &run);
    if (run.kind == LM_KINDS && !sum.heads_short)
        fputs(_("\nNothing flagged.\n"), out);
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
