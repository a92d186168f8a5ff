/*
 * The printed page of a yearly count: the three figures of the whole, what lies between heads and
 * book, each session, and the lists.
 */
#include "report/difference.h"
#include "report/sheet_html.h"
#include "report/picture.h"
#include "report/svg.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <string.h>

static void number_cell(FILE *out, long long n, bool sign)
{
    fprintf(out, sign && n != 0 ? "<td class=\"n\">%+lld</td>" : "<td class=\"n\">%lld</td>", n);
}

static void begin(FILE *out, const struct lm_inventory *inv, const char *holding)
{
    char text[400], day[LM_DATE_TEXT_SIZE], when[LM_TIME_TEXT_SIZE];
    snprintf(text, sizeof text, _("Count %s, as at the end of %s"), inv->name,
        lm_date_format(inv->cutoff, day));
    lm_sheet_begin(out, text, holding);
    fputs("<dl>\n", out);
    if (inv->closed_ms != LM_TIME_NONE)
        snprintf(text, sizeof text, _("closed %s"), lm_sheet_time(inv->closed_ms, when));
    else
        snprintf(text, sizeof text, "%s",
            inv->running ? _("not closed; a session is still open")
                         : _("not closed: it may still change"));
    lm_sheet_fact(out, _("Count"), text);
    snprintf(text, sizeof text, _("%zu, listed below"), inv->n_sessions);
    lm_sheet_fact(out, _("Sessions"), text);
    fputs("</dl>\n</div>\n</header>\n", out);
}

static void lead(FILE *out, const struct lm_count_figures *f)
{
    char text[500] = "";
    if (f->heads_short)
        lm_sheet_add(text, sizeof text, "%s",
            _("LOOK: in a session fewer heads were counted than animals identified: somebody "
              "miscounted. "));
    if (!f->has_heads)
        lm_sheet_add(text, sizeof text,
            _("%u of %u sessions have no head count, so there is none for the whole. "),
            f->without_heads, f->sessions);
    if (f->absent_max)
        lm_sheet_add(text, sizeof text,
            _("%u of the book were due and not found. Of these, between %u and %u are truly "
              "away. "),
            f->absent_max, f->absent_min, f->absent_max);
    if (f->vague)
        lm_sheet_add(text, sizeof text,
            _("Of %u animals a date is known to the month or year only: they may be on either side "
              "of the cut-off."),
            f->vague);
    lm_sheet_element(out, "p class=\"lead\"", text[0] ? text : _("Everybody due was found."));
}

static void difference(FILE *out, const struct lm_count_figures *f)
{
    struct lm_part parts[LM_PARTS];
    if (!f->has_heads)
        return;
    lm_difference_parts(f, parts);
    lm_sheet_element(out, "h3", _("Heads less book, taken apart"));
    fputs("\n<table class=\"parts\">\n<tbody>\n", out);
    for (size_t i = 0; i < LM_PARTS; i++) {
        if (parts[i].n == 0)
            continue;
        fputs("<tr>", out);
        lm_sheet_element(out, "td", _(parts[i].what));
        number_cell(out, parts[i].n, true);
        fputs("</tr>\n", out);
    }
    fputs("<tr>", out);
    lm_sheet_element(out, "td class=\"key\"", _("Heads less book"));
    number_cell(out, (int64_t) f->heads - f->book, true);
    fputs("</tr>\n</tbody>\n</table>\n", out);
}

static void kinds(FILE *out, const struct lm_count_figures *f)
{
    lm_sheet_element(out, "h3", _("What was listed"));
    fputs("\n<table class=\"flags\">\n<tbody>\n", out);
    for (unsigned k = 0; k < LM_COUNT_KINDS; k++) {
        if (f->counts[k] == 0 && !lm_count_kind_flags((enum lm_count_kind) k))
            continue;
        fprintf(out, "<tr data-kind=\"%s\"%s>", lm_count_kind_name((enum lm_count_kind) k),
            f->counts[k] ? "" : " class=\"nil\"");
        lm_sheet_element(out, "td", _(lm_count_kind_title((enum lm_count_kind) k)));
        number_cell(out, f->counts[k], false);
        lm_sheet_element(out, "td",
            f->counts[k] && lm_count_kind_flags((enum lm_count_kind) k) ? _("to look at") : "");
        fputs("</tr>\n", out);
    }
    fputs("</tbody>\n</table>\n", out);
}

static void sessions(FILE *out, const struct lm_inventory *inv)
{
    static const struct lm_sheet_column columns[] = {{N_("Session"), false}, {N_("Day"), false},
        {N_("Roll"), false}, {N_("Counted by"), false}, {N_("Heads"), true},
        {N_("Identified"), true}, {0}};
    char text[2 * LM_NAME_MAX + 48], day[LM_DATE_TEXT_SIZE];
    lm_sheet_section(out, 2, _("The sessions"));
    lm_sheet_columns(out, "sessions", columns);
    for (size_t i = 0; i < inv->n_sessions; i++) {
        const struct lm_inventory_session *s = &inv->sessions[i];
        const struct lm_open *o = &s->row.open;
        text[0] = '\0';
        if (o->mob[0])
            lm_sheet_add(text, sizeof text, _("mob %s"), o->mob);
        if (o->lot[0])
            lm_sheet_add(text, sizeof text, text[0] ? _(", lot %s") : _("lot %s"), o->lot);
        fprintf(out, "<tr><td class=\"key\">%lld</td>", (long long) s->row.id);
        lm_sheet_element(out, "td", lm_date_format(lm_date_of_day(s->day), day));
        lm_sheet_element(out, "td", text[0] ? text : _("every animal"));
        lm_sheet_element(out, "td", o->who[0] ? o->who : _("not said"));
        if (s->sum.has_heads)
            number_cell(out, s->sum.heads, false);
        else
            lm_sheet_element(out, "td class=\"n\"", _("not counted"));
        number_cell(out, s->sum.identified, false);
        fputs("</tr>\n", out);
    }
    fputs("</tbody>\n</table>\n</div>\n</section>\n", out);
}

/** The lists, one after another. */
struct listing {
    FILE *out;
    const struct lm_inventory *inv;
    enum lm_count_kind kind;
    uint32_t shown;
};

static void end_list(struct listing *l)
{
    if (l->kind == LM_COUNT_KINDS)
        return;
    fputs("</tbody>\n</table>\n", l->out);
    if (l->inv->figures.counts[l->kind] > l->shown) {
        char text[LM_NAME_MAX + 120];
        snprintf(text, sizeof text, _("… and %u more; lugmark count %s --json lists them."),
            l->inv->figures.counts[l->kind] - l->shown, l->inv->name);
        lm_sheet_element(l->out, "p class=\"more\"", text);
        putc('\n', l->out);
    }
}

static void begin_list(struct listing *l, enum lm_count_kind kind)
{
    static const struct lm_sheet_column columns[] = {{N_("Number"), false}, {N_("Colour"), false},
        {N_("Where"), false}, {N_("Sex"), false}, {N_("Mob"), false},
        {N_("In the register"), false}, {N_("Code"), false}, {0}};
    end_list(l);
    l->kind = kind;
    l->shown = 0;
    lm_sheet_element(l->out, "h3", _(lm_count_kind_title(kind)));
    lm_sheet_columns(l->out, "entries", columns);
}

static void write_entry(const struct lm_count_entry *e, void *ctx)
{
    struct listing *l = ctx;
    struct lm_sheet_marks m = {0};
    char code[LM_EID_TEXT_SIZE], place[160];
    const char *mob = "";
    if (l->kind != e->kind)
        begin_list(l, e->kind);
    if (l->shown == LM_LIST_MAX)
        return;
    l->shown++;
    if (e->animal != LM_NO_ANIMAL) {
        lm_sheet_marks(l->inv->book.roll, e->animal, &m);
        mob = lm_roll_animal(l->inv->book.roll, e->animal).mob;
    }
    const char *cells[] = {e->text[0] ? e->text : m.number, m.colour,
        lm_tongue_list(m.place, place, sizeof place), lm_tongue_word(m.sex), mob, e->key,
        lm_eid_format(e->eid, code)};
    fprintf(l->out, "<tr data-kind=\"%s\">", lm_count_kind_name(e->kind));
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++)
        lm_sheet_element(l->out,
            i == 0   ? "td class=\"key\""
            : i == 6 ? "td class=\"code\""
                     : "td",
            cells[i]);
    fputs("</tr>\n", l->out);
}

static enum lm_err lists(FILE *out, const struct lm_inventory *inv)
{
    struct listing l = {.out = out, .inv = inv, .kind = LM_COUNT_KINDS};
    struct lm_count_figures figures;
    lm_sheet_section(out, 3, _("The lists"));
    enum lm_err err = lm_count_result(inv->count, &figures, write_entry, &l);
    end_list(&l);
    if (l.kind == LM_COUNT_KINDS)
        lm_sheet_element(out, "p class=\"none\"", _("Nobody has to be listed."));
    fputs("</div>\n</section>\n", out);
    return err;
}

enum lm_err lm_printed_count_html(
    FILE *out, const struct lm_inventory *inv, const char *holding, int64_t made_ms)
{
    const struct lm_count_figures *f = &inv->figures;
    struct lm_printed p = {.sum = {.expected = f->book,
                               .present = f->present,
                               .identified = f->identified,
                               .has_heads = f->has_heads,
                               .heads = f->heads}};
    begin(out, inv, holding);
    lm_sheet_section(out, 1, _("What was found"));
    lm_picture_three(out, &p);
    lead(out, f);
    difference(out, f);
    kinds(out, f);
    fputs("</div>\n", out);
    lm_sheet_sign(out);
    fputs("</section>\n", out);
    sessions(out, inv);
    enum lm_err err = lists(out, inv);
    p.n_read = lm_estimates_readability(inv->estimates, p.read);
    lm_sheet_section(out, 4, _("The readings in a picture"));
    lm_picture_readable(out, &p);
    fputs("</div>\n</section>\n", out);
    lm_sheet_end(out, made_ms,
        _("The count is worked out from the events of its sessions and from the register; a count "
          "that was closed says the same ever after. What most likely happened stands in the "
          "report "
          "of each session."));
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
