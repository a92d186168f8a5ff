/*
 * The printed page of a yearly count: the three figures of the whole, what lies between heads and
 * book, each session, and the lists.
 */
#include "report/difference.h"
#include "report/page_html.h"
#include "report/picture.h"
#include "report/svg.h"

#include <string.h>

static const char *title(enum lm_count_kind kind)
{
    static const char *const titles[LM_COUNT_KINDS] = {
        [LM_COUNT_NOT_FOUND] = "In the book and due, but seen by no session",
        [LM_COUNT_STRANGER] = "Codes and numbers that nobody has",
        [LM_COUNT_CONTRADICTS] = "Marks that contradict each other",
        [LM_COUNT_GONE] = "Seen when the register says it was gone",
        [LM_COUNT_TAKEN_BACK] = "Seen, but its entry was taken back since",
        [LM_COUNT_DOUBLE] = "Seen in several sessions, counted once",
        [LM_COUNT_UNREAD] = "Known by number only, the tag never gave a reading",
        [LM_COUNT_NOT_COVERED] = "In the book, but no session was for it",
        [LM_COUNT_NOT_DUE] = "In the book, but came or left about its session's day",
        [LM_COUNT_LEFT_SINCE] = "Seen, and left before the end of the cut-off day",
        [LM_COUNT_CAME_AFTER] = "Seen, and came after the cut-off day",
        [LM_COUNT_LEFT_UNSEEN] = "On a roll, had left before, and is not in the book",
        [LM_COUNT_ENTERED] = "Nobody's mark when seen, entered in the register since",
    };
    return kind < LM_COUNT_KINDS ? titles[kind] : "";
}

static void number_cell(FILE *out, long long n, bool sign)
{
    fprintf(out, sign && n != 0 ? "<td class=\"n\">%+lld</td>" : "<td class=\"n\">%lld</td>", n);
}

static void begin(FILE *out, const struct lm_inventory *inv, const char *holding)
{
    char text[400], day[LM_DATE_TEXT_SIZE], when[LM_TIME_TEXT_SIZE];
    snprintf(text, sizeof text, "Count %s, as at the end of %s", inv->name,
        lm_date_format(inv->cutoff, day));
    lm_page_begin(out, text, holding);
    fputs("<dl>\n", out);
    if (inv->closed_ms != LM_TIME_NONE)
        snprintf(text, sizeof text, "closed %s", lm_page_time(inv->closed_ms, when));
    else
        snprintf(text, sizeof text, "not closed%s",
            inv->running ? "; a session is still open" : ": it may still change");
    lm_page_fact(out, "Count", text);
    snprintf(text, sizeof text, "%zu, listed below", inv->n_sessions);
    lm_page_fact(out, "Sessions", text);
    fputs("</dl>\n</div>\n</header>\n", out);
}

static void lead(FILE *out, const struct lm_count_figures *f)
{
    char text[500] = "";
    if (f->heads_short)
        lm_page_add(text, sizeof text,
            "LOOK: in a session fewer heads were counted than animals identified: somebody "
            "miscounted. ");
    if (!f->has_heads)
        lm_page_add(text, sizeof text,
            "%u of %u sessions have no head count, so there is none for the whole. ",
            f->without_heads, f->sessions);
    if (f->absent_max)
        lm_page_add(text, sizeof text,
            "%u of the book were due and not found. Of these, between %u and %u are truly away. ",
            f->absent_max, f->absent_min, f->absent_max);
    if (f->vague)
        lm_page_add(text, sizeof text,
            "Of %u animals a date is known to the month or year only: they may be on either side "
            "of the cut-off.",
            f->vague);
    lm_page_element(out, "p class=\"lead\"", text[0] ? text : "Everybody due was found.");
}

static void difference(FILE *out, const struct lm_count_figures *f)
{
    struct lm_part parts[LM_PARTS];
    if (!f->has_heads)
        return;
    lm_difference_parts(f, parts);
    fputs("<h3>Heads less book, taken apart</h3>\n<table class=\"parts\">\n<tbody>\n", out);
    for (size_t i = 0; i < LM_PARTS; i++) {
        if (parts[i].n == 0)
            continue;
        fputs("<tr>", out);
        lm_page_element(out, "td", parts[i].what);
        number_cell(out, parts[i].n, true);
        fputs("</tr>\n", out);
    }
    fputs("<tr><td class=\"key\">Heads less book</td>", out);
    number_cell(out, (int64_t) f->heads - f->book, true);
    fputs("</tr>\n</tbody>\n</table>\n", out);
}

static void kinds(FILE *out, const struct lm_count_figures *f)
{
    fputs("<h3>What was listed</h3>\n<table class=\"flags\">\n<tbody>\n", out);
    for (unsigned k = 0; k < LM_COUNT_KINDS; k++) {
        if (f->counts[k] == 0 && !lm_count_kind_flags((enum lm_count_kind) k))
            continue;
        fprintf(out, "<tr data-kind=\"%s\"%s>", lm_count_kind_name((enum lm_count_kind) k),
            f->counts[k] ? "" : " class=\"nil\"");
        lm_page_element(out, "td", title((enum lm_count_kind) k));
        number_cell(out, f->counts[k], false);
        lm_page_element(out, "td",
            f->counts[k] && lm_count_kind_flags((enum lm_count_kind) k) ? "to look at" : "");
        fputs("</tr>\n", out);
    }
    fputs("</tbody>\n</table>\n", out);
}

static void sessions(FILE *out, const struct lm_inventory *inv)
{
    char text[2 * LM_NAME_MAX + 24], day[LM_DATE_TEXT_SIZE];
    lm_page_section(out, 2, "The sessions");
    fputs("<table class=\"sessions\">\n<thead><tr><th scope=\"col\">Session</th>"
          "<th scope=\"col\">Day</th><th scope=\"col\">Roll</th><th scope=\"col\">Counted by</th>"
          "<th scope=\"col\" class=\"n\">Heads</th><th scope=\"col\" class=\"n\">Identified</th>"
          "</tr></thead>\n<tbody>\n",
        out);
    for (size_t i = 0; i < inv->n_sessions; i++) {
        const struct lm_inventory_session *s = &inv->sessions[i];
        const struct lm_open *o = &s->row.open;
        snprintf(text, sizeof text, "%s%s%s%s", o->mob[0] ? "mob " : "", o->mob,
            o->lot[0] ? " lot " : "", o->lot);
        fprintf(out, "<tr><td class=\"key\">%lld</td>", (long long) s->row.id);
        lm_page_element(out, "td", lm_date_format(lm_date_of_day(s->day), day));
        lm_page_element(out, "td", text[0] ? text : "every animal");
        lm_page_element(out, "td", o->who[0] ? o->who : "not said");
        if (s->sum.has_heads)
            number_cell(out, s->sum.heads, false);
        else
            fputs("<td class=\"n\">not counted</td>", out);
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
        fprintf(l->out, "<p class=\"more\">&#8230; and %u more; <b>lugmark count ",
            l->inv->figures.counts[l->kind] - l->shown);
        lm_svg_text(l->out, l->inv->name);
        fputs(" --json</b> lists them.</p>\n", l->out);
    }
}

static void begin_list(struct listing *l, enum lm_count_kind kind)
{
    end_list(l);
    l->kind = kind;
    l->shown = 0;
    lm_page_element(l->out, "h3", title(kind));
    fputs("<table class=\"entries\">\n<thead><tr><th scope=\"col\">Number</th>"
          "<th scope=\"col\">Colour</th><th scope=\"col\">Where</th><th scope=\"col\">Sex</th>"
          "<th scope=\"col\">Mob</th><th scope=\"col\">In the register</th>"
          "<th scope=\"col\">Code</th></tr></thead>\n<tbody>\n",
        l->out);
}

static void write_entry(const struct lm_count_entry *e, void *ctx)
{
    struct listing *l = ctx;
    struct lm_page_marks m = {0};
    char code[LM_EID_TEXT_SIZE];
    const char *mob = "";
    if (l->kind != e->kind)
        begin_list(l, e->kind);
    if (l->shown == LM_LIST_MAX)
        return;
    l->shown++;
    if (e->animal != LM_NO_ANIMAL) {
        lm_page_marks(l->inv->book.roll, e->animal, &m);
        mob = lm_roll_animal(l->inv->book.roll, e->animal).mob;
    }
    const char *cells[] = {e->text[0] ? e->text : m.number, m.colour, m.place, m.sex, mob, e->key,
        lm_eid_format(e->eid, code)};
    fprintf(l->out, "<tr data-kind=\"%s\">", lm_count_kind_name(e->kind));
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++)
        lm_page_element(l->out,
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
    lm_page_section(out, 3, "The lists");
    enum lm_err err = lm_count_result(inv->count, &figures, write_entry, &l);
    end_list(&l);
    if (l.kind == LM_COUNT_KINDS)
        lm_page_element(out, "p class=\"none\"", "Nobody has to be listed.");
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
    lm_page_section(out, 1, "What was found");
    lm_picture_three(out, &p);
    lead(out, f);
    difference(out, f);
    kinds(out, f);
    fputs("</div>\n", out);
    lm_page_sign(out);
    fputs("</section>\n", out);
    sessions(out, inv);
    enum lm_err err = lists(out, inv);
    p.n_read = lm_estimates_readability(inv->estimates, p.read);
    lm_page_section(out, 4, "The readings in a picture");
    lm_picture_readable(out, &p);
    fputs("</div>\n</section>\n", out);
    lm_page_end(out, made_ms,
        "The count is worked out from the events of its sessions and from the register; a count "
        "that was closed says the same ever after. What most likely happened stands in the report "
        "of each session.");
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
