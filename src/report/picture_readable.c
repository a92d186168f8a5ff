/*
 * How well devices of each kind were read: the share with its 95 per cent interval (Wilson).
 */
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

#include <math.h>
#include <stdlib.h>

#define ROW 30.0
#define X0 236.0
#define W 270.0

static const char *const title = N_("Readability by kind of device");

static void row(FILE *out, const struct lm_readability *g, double y)
{
    struct lm_proportion share = lm_wilson(g->read, g->readable);
    char text[96];
    lm_sheet_device(g->form, g->place, text, sizeof text);
    lm_svg_label(out, X0 - 12, y + 4, LM_SVG_END, "name small", text);
    if (isnan(share.value))
        return;
    double low = X0 + share.low * W, high = X0 + share.high * W, x = X0 + share.value * W;
    lm_svg_line(out, low, y, high, y, "span");
    lm_svg_line(out, low, y - 6, low, y + 6, "span");
    lm_svg_line(out, high, y - 6, high, y + 6, "span");
    fprintf(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"5\" class=\"point\" />\n", x, y);
    snprintf(text, sizeof text, _("%.1f %%, %llu of %llu"), 100 * share.value,
        (unsigned long long) g->read, (unsigned long long) g->readable);
    lm_svg_label(out, 716, y + 4, LM_SVG_END, "tick", text);
}

static int by_number(const void *a, const void *b)
{
    const struct lm_readability *x = a, *y = b;
    return x->readable > y->readable ? -1 : x->readable < y->readable;
}

static void ruler(FILE *out, double bottom)
{
    for (int v = 0; v <= 100; v += 20) {
        double x = X0 + v / 100.0 * W;
        lm_svg_line(out, x, 8, x, bottom, v ? "grid" : "axis");
        lm_svg_number(out, x, bottom + 16, LM_SVG_MIDDLE, "tick", v);
    }
    lm_svg_label(out, X0 + W / 2, bottom + 34, LM_SVG_MIDDLE, "unit",
        _("devices read, per cent of those worn by animals seen"));
}

void lm_picture_readable(FILE *out, const struct lm_printed *p)
{
    struct lm_readability most[LM_READABILITY_MAX];
    size_t n = p->n_read < LM_DEVICES_SHOWN ? p->n_read : LM_DEVICES_SHOWN;
    char desc[1800] = "", caption[400] = "", name[96];
    if (n == 0) {
        lm_svg_none(out, _(title),
            _("No animal that wears an electronic device was seen, so nothing can be said of "
              "them."));
        return;
    }
    for (size_t i = 0; i < p->n_read; i++)
        most[i] = p->read[i];
    qsort(most, p->n_read, sizeof *most, by_number);
    lm_sheet_add(desc, sizeof desc, "%s", _("Points with 95 per cent intervals."));
    for (size_t i = 0; i < n; i++) {
        struct lm_proportion s = lm_wilson(most[i].read, most[i].readable);
        lm_sheet_add(desc, sizeof desc, _(" %s: %.1f per cent (%.1f to %.1f), %llu of %llu."),
            lm_sheet_device(most[i].form, most[i].place, name, sizeof name), 100 * s.value,
            100 * s.low, 100 * s.high, (unsigned long long) s.hits, (unsigned long long) s.n);
    }
    double bottom = 12 + ROW * (double) n;
    lm_svg_begin(out, "readable", _(title), desc, bottom + 42);
    ruler(out, bottom);
    for (size_t i = 0; i < n; i++)
        row(out, &most[i], 12 + ROW * ((double) i + 0.5));
    lm_sheet_add(caption, sizeof caption,
        _("The line is the 95 %% interval. An animal that was not seen at all is in neither "
          "figure, "
          "so this is the best case."));
    if (p->n_read > n)
        lm_sheet_add(caption, sizeof caption, _(" And %zu kinds more."), p->n_read - n);
    lm_svg_end(out, caption);
}
