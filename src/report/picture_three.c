/*
 * Book, heads counted, animals identified: three bars to one measure, each with a shape of its own
 * (a page, a gate, a tag) and its figure written large.
 */
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

#define ROW 46.0
#define BAR_X 300.0
#define BAR_W 376.0

static void page_shape(FILE *out, double y)
{
    fprintf(out, "<path d=\"M10 %.1fv-28h16l8 8v20zm16-28v8h8\" class=\"shape\" />\n", y + 14);
}

static void gate_shape(FILE *out, double y)
{
    fprintf(out,
        "<path d=\"M8 %.1fv-26m28 26v-26M8 %.1fh28M8 %.1fh28M8 %.1fl28-14\" class=\"shape\" />\n",
        y + 13, y - 9, y + 5, y + 5);
}

static void tag_shape(FILE *out, double y)
{
    fprintf(out,
        "<path d=\"M17 %.1fh10v7l9 6v16h-28v-16l9-6z\" class=\"shape\" />"
        "<circle cx=\"22\" cy=\"%.1f\" r=\"2\" class=\"shape\" />\n",
        y - 15, y - 10);
}

static void row(FILE *out, unsigned i, const char *what, long long n)
{
    double y = 30 + ROW * i;
    void (*const shapes[])(FILE *, double) = {page_shape, gate_shape, tag_shape};
    shapes[i](out, y);
    if (n >= 0)
        lm_svg_number(out, 130, y + 9, LM_SVG_END, "figure", n);
    else
        lm_svg_label(out, 130, y + 9, LM_SVG_END, "figure", "\xe2\x80\x93");
    lm_svg_label(out, 142, y + 5, LM_SVG_START, "name", what);
    if (n < 0)
        lm_svg_label(out, BAR_X, y + 5, LM_SVG_START, "tick", _("not counted"));
}

static void ruler(FILE *out, double top, double step)
{
    for (unsigned i = 0; i * step <= top + step / 2; i++) {
        double v = i * step;
        double x = BAR_X + v / top * BAR_W;
        lm_svg_line(out, x, 8, x, 8 + 3 * ROW, v > 0 ? "grid" : "axis");
        lm_svg_number(out, x, 8 + 3 * ROW + 16, LM_SVG_MIDDLE, "tick", (long long) v);
    }
    lm_svg_label(out, BAR_X + BAR_W / 2, 8 + 3 * ROW + 34, LM_SVG_MIDDLE, "unit", _("animals"));
}

static void bars(FILE *out, const struct lm_summary *sum, double scale)
{
    uint32_t others = sum->identified - sum->present;
    lm_svg_rect(out, BAR_X, 30 - 11, sum->expected * scale, 22, "bar");
    if (sum->has_heads)
        lm_svg_rect(out, BAR_X, 30 + ROW - 11, sum->heads * scale, 22, "bar");
    lm_svg_rect(out, BAR_X, 30 + 2 * ROW - 11, sum->present * scale, 22, "bar");
    if (others)
        lm_svg_rect(out, BAR_X + sum->present * scale, 30 + 2 * ROW - 11, others * scale, 22,
            "bar slanted");
}

static const char *const title = N_("Three figures, each by itself");

void lm_picture_three(FILE *out, const struct lm_printed *p)
{
    const struct lm_summary *sum = &p->sum;
    char desc[400] = "", heads[40], caption[300] = "";
    double most = sum->expected > sum->identified ? sum->expected : sum->identified;
    snprintf(heads, sizeof heads, "%s", _("not counted"));
    if (sum->has_heads) {
        snprintf(heads, sizeof heads, "%u", sum->heads);
        most = sum->heads > most ? sum->heads : most;
    }
    if (most < 1) {
        snprintf(caption, sizeof caption,
            _("In the book, expected here: 0. Heads counted: %s. Animals identified: 0."), heads);
        lm_svg_none(out, _(title), caption);
        return;
    }
    lm_sheet_add(desc, sizeof desc,
        p->s ? _("Bars. In the book, expected here: %u. Heads counted: %s. Animals identified: %u, "
                 "of them %u expected here.")
             : _("Bars. In the book: %u. Heads counted: %s. Animals identified: %u, of them %u in "
                 "the book."),
        sum->expected, heads, sum->identified, sum->present);
    double step = lm_svg_step(most, 5);
    step = step < 1 ? 1 : step;
    double top = step;
    while (top < most)
        top += step;
    lm_svg_begin(out, "three", _(title), desc, 8 + 3 * ROW + 40);
    ruler(out, top, step);
    bars(out, sum, BAR_W / top);
    row(out, 0, _("in the book"), sum->expected);
    row(out, 1, _("heads counted"), sum->has_heads ? (long long) sum->heads : -1);
    row(out, 2, _("identified"), sum->identified);
    if (sum->identified > sum->present)
        lm_sheet_add(caption, sizeof caption,
            p->s ? _("Identified: %u expected here (plain) and %u of the register that were not "
                     "(slanted).")
                 : _("Identified: %u in the book (plain) and %u of the register that were not "
                     "(slanted)."),
            sum->present, sum->identified - sum->present);
    lm_svg_end(out, caption);
}
