/*
 * How long devices stay on: Kaplan-Meier curves with their 95 per cent intervals, side by side, one
 * for each of the largest groups of the same form, place and strip.
 */
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

#include <stdlib.h>

#define PANEL_W 270.0
#define PANEL_H 110.0
#define PANEL_STEP 196.0

static const char *const title = N_("How long devices stay on");

static int by_devices(const void *a, const void *b)
{
    const struct lm_retention *const *x = a, *const *y = b;
    if ((*x)->devices != (*y)->devices)
        return (*x)->devices > (*y)->devices ? -1 : 1;
    return *x < *y ? -1 : *x > *y; /* they come in one array, in a fixed order */
}

/** Where a day and a share stand in a panel. */
struct scale {
    struct lm_plot b;
    double days;
    double bottom; /**< the share at the lower end of the axis */
};

static double at_day(const struct scale *s, double day)
{
    return s->b.x + (day > s->days ? s->days : day) / s->days * s->b.w;
}

static double at_share(const struct scale *s, double share)
{
    share = share < s->bottom ? s->bottom : share;
    return s->b.y + s->b.h - (share - s->bottom) / (1 - s->bottom) * s->b.h;
}

/** The band between the ends of the interval; it ends where there is none any more. */
static void band(FILE *out, const struct scale *s, const struct lm_retention *g)
{
    size_t n = 0;
    while (n < g->n && g->steps[n].has_interval)
        n++;
    if (n == 0)
        return;
    double end = at_day(s, n < g->n ? g->steps[n].t : g->until);
    fprintf(out, "<path d=\"M%.1f %.1f", at_day(s, g->from), at_share(s, 1));
    for (size_t i = 0; i < n; i++)
        fprintf(out, "H%.1fV%.1f", at_day(s, g->steps[i].t), at_share(s, g->steps[i].high));
    fprintf(out, "H%.1fV%.1f", end, at_share(s, g->steps[n - 1].low));
    for (size_t i = n; i-- > 0;)
        fprintf(out, "H%.1fV%.1f", at_day(s, g->steps[i].t),
            at_share(s, i > 0 ? g->steps[i - 1].low : 1));
    fputs("Z\" class=\"band\" />\n", out);
}

static void curve(FILE *out, const struct scale *s, const struct lm_retention *g)
{
    fprintf(out, "<path d=\"M%.1f %.1f", at_day(s, g->from), at_share(s, 1));
    for (size_t i = 0; i < g->n; i++)
        fprintf(out, "H%.1fV%.1f", at_day(s, g->steps[i].t), at_share(s, g->steps[i].stays));
    fprintf(out, "H%.1f\" class=\"curve\" />\n", at_day(s, g->until));
}

static void axes(FILE *out, const struct scale *s, bool years)
{
    double unit = years ? 365.25 : 1, most = s->days / unit, step = lm_svg_step(most, 4);
    int bottom = (int) (s->bottom * 100 + 0.5);
    for (int v = bottom; v <= 100; v += bottom >= 50 ? 10 : 25) {
        double y = at_share(s, v / 100.0);
        lm_svg_line(out, s->b.x, y, s->b.x + s->b.w, y, v > bottom ? "grid" : "axis");
        lm_svg_number(out, s->b.x - 6, y + 4, LM_SVG_END, "tick", v);
    }
    for (unsigned i = 0; i * step <= most + 1e-9; i++) {
        char label[24];
        double v = i * step;
        double x = at_day(s, v * unit);
        snprintf(label, sizeof label, "%.*f", step < 1 ? 1 : 0, v);
        lm_svg_line(out, x, s->b.y + s->b.h, x, s->b.y + s->b.h + 5, "axis");
        lm_svg_label(out, x, s->b.y + s->b.h + 18, LM_SVG_MIDDLE, "tick", label);
    }
    lm_svg_label(out, s->b.x + s->b.w / 2, s->b.y + s->b.h + 34, LM_SVG_MIDDLE, "unit",
        years ? _("years since it was put on") : _("days since it was put on"));
    fprintf(out,
        "<text transform=\"translate(%.1f %.1f) rotate(-90)\" text-anchor=\"middle\" "
        "class=\"unit\">",
        s->b.x - 36, s->b.y + s->b.h / 2);
    lm_svg_text(out, _("still on, per cent"));
    fputs("</text>\n", out);
}

/** Half of the axis is enough where more than half stay, with the interval. */
static double lower_end(const struct lm_retention *g)
{
    double least = 1;
    for (size_t i = 0; i < g->n; i++) {
        double low = g->steps[i].has_interval ? g->steps[i].low : g->steps[i].stays;
        least = low < least ? low : least;
    }
    return least > 0.5 ? 0.5 : 0;
}

static void panel(FILE *out, const struct lm_retention *g, double x, double y, double w)
{
    struct scale s = {{x + 56, y + 40, w, PANEL_H}, g->until > 0 ? g->until : 1, lower_end(g)};
    char name[200], more[120];
    lm_sheet_device(g->form, g->place, name, sizeof name);
    if (g->strip[0])
        lm_sheet_add(name, sizeof name, _(", strip %s"), g->strip);
    snprintf(more, sizeof more, _("%zu devices, %zu taken off or lost"), g->devices, g->ended);
    lm_svg_label(out, x + 56, y + 14, LM_SVG_START, "name small", name);
    lm_svg_label(out, x + 56, y + 30, LM_SVG_START, "tick", more);
    axes(out, &s, s.days > 730);
    band(out, &s, g);
    curve(out, &s, g);
}

static void describe(const struct lm_retention *g, char *out, size_t size)
{
    char name[200];
    lm_sheet_device(g->form, g->place, name, sizeof name);
    if (g->strip[0])
        lm_sheet_add(name, sizeof name, _(", strip %s"), g->strip);
    if (g->n == 0) {
        lm_sheet_add(out, size, _(" %s: %zu devices, %zu taken off or lost in up to %.0f days."),
            name, g->devices, g->ended, g->until);
        return;
    }
    const struct lm_life_step *last = &g->steps[g->n - 1];
    lm_sheet_add(out, size,
        _(" %s: %zu devices, %zu taken off or lost; %.1f per cent still on after %.0f days"), name,
        g->devices, g->ended, 100 * last->stays, last->t);
    if (last->has_interval)
        lm_sheet_add(out, size, _(" (%.1f to %.1f)"), 100 * last->low, 100 * last->high);
    lm_sheet_add(out, size, ".");
}

static void draw(
    FILE *out, const struct lm_printed *p, const struct lm_retention *const *most, size_t n)
{
    size_t shown = n < LM_CURVES_SHOWN ? n : LM_CURVES_SHOWN, rows = (shown + 1) / 2;
    char desc[1800] = "", caption[800] = "";
    lm_sheet_add(desc, sizeof desc, "%s",
        _("Falling steps, each with the band of its 95 per cent interval."));
    for (size_t i = 0; i < shown; i++)
        describe(most[i], desc, sizeof desc);
    lm_svg_begin(out, "stays", _(title), desc, PANEL_STEP * (double) rows);
    for (size_t i = 0; i < shown; i++) {
        size_t row = i / 2;
        panel(out, most[i], (double) (i % 2) * 368, (double) row * PANEL_STEP,
            shown == 1 ? PANEL_W + 368 : PANEL_W);
    }
    lm_sheet_add(caption, sizeof caption, "%s",
        p->from.whole
            ? _(/* xgettext:no-c-format */ "Share still on by the days since a device was put on "
                                           "(Kaplan-Meier); the band is "
                                           "the 95 % interval. A sale, a death and the day of this "
                                           "report end only the "
                                           "watching, which begins when a device is put on.")
            : _(/* xgettext:no-c-format */
                  "Share still on by the days since a device was put on (Kaplan-Meier); the band "
                  "is "
                  "the 95 % interval. A sale, a death and the day of this report end only the "
                  "watching, which begins when a device is written down."));
    if (n > shown)
        lm_sheet_add(caption, sizeof caption,
            _(" And %zu groups more; lugmark estimates lists them."), n - shown);
    if (p->stays.n > n)
        lm_sheet_add(
            caption, sizeof caption, _(" Of %zu more kinds no device was lost."), p->stays.n - n);
    lm_svg_end(out, caption);
}

void lm_picture_stays(FILE *out, const struct lm_printed *p)
{
    const struct lm_retention **most = calloc(p->stays.n + 1, sizeof *most);
    char why[400] = "";
    size_t devices = 0, ended = 0;
    for (size_t i = 0; i < p->stays.n; i++) {
        devices += p->stays.groups[i].devices;
        ended += p->stays.groups[i].ended;
    }
    if (devices == 0 || ended > 0)
        lm_sheet_add(why, sizeof why, "%s",
            _("No device in the register has dates that tell how long it was watched."));
    else if (p->from.whole)
        lm_sheet_add(why, sizeof why,
            _("%zu devices were watched, and none was taken off or lost while they were."),
            devices);
    else
        lm_sheet_add(why, sizeof why,
            _("%zu devices were watched, and none was taken off or lost while they were. They are "
              "watched from the day they were written down."),
            devices);
    if (p->stays.no_date)
        lm_sheet_add(why, sizeof why,
            _(" %zu have no date on which they were put on or taken off."), p->stays.no_date);
    if (ended == 0 || !most) {
        lm_svg_none(out, _(title), most ? why : _("Out of memory."));
        free(most);
        return;
    }
    size_t n = 0;
    for (size_t i = 0; i < p->stays.n; i++) {
        if (p->stays.groups[i].ended > 0) /* a line that never falls needs no picture */
            most[n++] = &p->stays.groups[i];
    }
    qsort(most, n, sizeof *most, by_devices);
    draw(out, p, most, n);
    free(most);
}
