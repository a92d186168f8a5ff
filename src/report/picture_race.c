/*
 * Animals past the race: columns by time, or one after another where no clock tells. What was to be
 * looked at or held is slanted or dark in the column, and marked above it.
 */
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

#include <string.h>

static const struct lm_plot box = {88, 52, 600, 166};
static const char *const title = N_("Animals past the race");

static const char *width_words(int64_t ms, char out[40])
{
    if (ms % 3600000 == 0)
        snprintf(out, 40, "%lld h", (long long) (ms / 3600000));
    else if (ms % 60000 == 0)
        snprintf(out, 40, "%lld min", (long long) (ms / 60000));
    else
        snprintf(out, 40, "%lld s", (long long) (ms / 1000));
    return out;
}

static uint32_t height_of(const struct lm_race_bin *b)
{
    return b->by_attention[LM_GO] + b->by_attention[LM_LOOK] + b->by_attention[LM_HOLD];
}

static void columns(FILE *out, const struct lm_race *r, double top)
{
    static const char *const classes[] = {"bar", "bar slanted", "bar dark"};
    static const enum lm_attention order[] = {LM_HOLD, LM_LOOK, LM_GO};
    double w = box.w / (double) r->n_bins, thick = w * 0.84 < 44 ? w * 0.84 : 44;
    for (size_t i = 0; i < r->n_bins; i++) {
        double y = box.y + box.h, x = box.x + w * (double) i;
        for (unsigned k = 0; k < 3; k++) {
            double h = r->bins[i].by_attention[order[k]] / top * box.h;
            y -= h;
            if (h > 0)
                lm_svg_rect(out, x + (w - thick) / 2, y, thick, h, classes[order[k]]);
        }
        if (r->bins[i].by_attention[LM_HOLD])
            lm_svg_hold(out, x + w / 2, box.y - 12);
        if (r->bins[i].by_attention[LM_LOOK])
            lm_svg_look(out, x + w / 2, box.y - 26);
    }
}

static void time_tick(FILE *out, const struct lm_race *r, size_t i, bool day)
{
    char text[LM_TIME_TEXT_SIZE], label[24];
    double x = box.x + box.w * (double) i / (double) r->n_bins;
    lm_time_format(r->start_ms + (int64_t) i * r->width, text);
    if (day)
        snprintf(label, sizeof label, "%.5s %.5s", text + 5, text + 11);
    else
        snprintf(label, sizeof label, "%.*s", r->width < 60000 ? 8 : 5, text + 11);
    lm_svg_line(out, x, box.y + box.h, x, box.y + box.h + 5, "axis");
    lm_svg_label(out, x, box.y + box.h + 19, LM_SVG_MIDDLE, "tick", label);
}

/** Ticks stand where stretches begin, at round numbers of them. */
static void along(FILE *out, const struct lm_race *r)
{
    static const size_t every[] = {1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30};
    size_t k = 0;
    bool day = r->by_time && r->width >= 3600000;
    while (k + 1 < sizeof every / sizeof every[0] && r->n_bins / every[k] > 7)
        k++;
    for (size_t i = 0; i <= r->n_bins; i += every[k]) {
        double x = box.x + box.w * (double) i / (double) r->n_bins;
        if (r->by_time) {
            time_tick(out, r, i, day);
            continue;
        }
        lm_svg_line(out, x, box.y + box.h, x, box.y + box.h + 5, "axis");
        lm_svg_number(out, x, box.y + box.h + 19, LM_SVG_MIDDLE, "tick", (long long) i * r->width);
    }
    lm_svg_label(out, box.x + box.w / 2, box.y + box.h + 38, LM_SVG_MIDDLE, "unit",
        r->by_time ? _("time of day, UTC")
                   : _("place in the order they came; no clock tells when"));
}

static void key(FILE *out)
{
    lm_svg_look(out, box.x + 6, 10);
    lm_svg_label(out, box.x + 16, 14, LM_SVG_START, "tick", _("to look at (slanted)"));
    lm_svg_hold(out, box.x + 176, 10);
    lm_svg_label(out, box.x + 186, 14, LM_SVG_START, "tick", _("to hold (dark)"));
    lm_svg_rect(out, box.x + 310, 5, 10, 10, "bar");
    lm_svg_label(out, box.x + 326, 14, LM_SVG_START, "tick", _("nothing said of it"));
}

void lm_picture_race(FILE *out, const struct lm_printed *p)
{
    const struct lm_race *r = &p->race;
    char desc[500] = "", width[40], unit[96], caption[400] = "";
    double most = 1;
    if (r->n_bins == 0) {
        lm_svg_none(out, _(title), _("Nobody was read or called in this session."));
        return;
    }
    for (size_t i = 0; i < r->n_bins; i++)
        most = height_of(&r->bins[i]) > most ? height_of(&r->bins[i]) : most;
    if (r->by_time)
        snprintf(unit, sizeof unit, _("animals in %s"), width_words(r->width, width));
    else
        snprintf(unit, sizeof unit, _("animals of each %lld"), (long long) r->width);
    lm_sheet_add(desc, sizeof desc,
        _("Columns of %s, at most %.0f. %u came past, one that came again counted again: nothing "
          "was "
          "said of %u, %u were to be looked at, %u to be held."),
        unit, most, r->past, r->by_attention[LM_GO], r->by_attention[LM_LOOK],
        r->by_attention[LM_HOLD]);
    lm_svg_begin(out, "race", _(title), desc, 266);
    key(out);
    double top = lm_svg_upright(out, &box, most, unit);
    columns(out, r, top);
    along(out, r);
    lm_sheet_add(caption, sizeof caption,
        _("%u came past, %u of them known by number only; one that came again is counted again. At "
          "the race %u were to be looked at and %u to be held."),
        r->past, r->called, r->by_attention[LM_LOOK], r->by_attention[LM_HOLD]);
    lm_svg_end(out, caption);
}
