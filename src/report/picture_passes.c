/*
 * How often each animal was read while it went by: many readings of one pass mean that the reader
 * sees it well, one reading means that it was nearly missed.
 */
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

static const struct lm_plot box = {88, 18, 618, 130};
static const char *const title = N_("Readings per pass");

static void columns(FILE *out, const struct lm_race *r, double top)
{
    double w = box.w / LM_PER_PASS_MAX;
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++) {
        char label[32];
        double x = box.x + w * (k - 1), h = r->per_pass[k] / top * box.h;
        if (r->per_pass[k]) {
            lm_svg_rect(out, x + w * 0.12, box.y + box.h - h, w * 0.76, h, "bar");
            lm_svg_number(
                out, x + w / 2, box.y + box.h - h - 5, LM_SVG_MIDDLE, "value", r->per_pass[k]);
        }
        snprintf(label, sizeof label, k == LM_PER_PASS_MAX ? _("%u or more") : "%u", k);
        lm_svg_label(out, x + w / 2, box.y + box.h + 17, LM_SVG_MIDDLE, "tick", label);
    }
    lm_svg_label(out, box.x + box.w / 2, box.y + box.h + 36, LM_SVG_MIDDLE, "unit",
        _("readings in one pass"));
}

void lm_picture_passes(FILE *out, const struct lm_printed *p)
{
    const struct lm_race *r = &p->race;
    char desc[600] = "", caption[300] = "";
    double most = 1;
    if (r->passes == 0) {
        lm_svg_none(
            out, _(title), _("No code was read in this session, so there is no pass to count."));
        return;
    }
    lm_sheet_add(desc, sizeof desc, "%s", _("Columns, passes by their number of readings."));
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++) {
        most = r->per_pass[k] > most ? r->per_pass[k] : most;
        if (r->per_pass[k])
            lm_sheet_add(desc, sizeof desc,
                k == LM_PER_PASS_MAX ? _(" %u or more: %u.") : " %u: %u.", k, r->per_pass[k]);
    }
    lm_svg_begin(out, "passes", _(title), desc, 192);
    double top = lm_svg_upright(out, &box, most * 1.15, _("passes"));
    columns(out, r, top);
    lm_sheet_add(caption, sizeof caption,
        r->per_pass[1] < r->passes
            ? _("%u passes, %.1f readings each on average; %u with a single reading, nearly "
                "missed.")
            : _("%u passes, %.1f readings each on average; %u with a single reading: a reader that "
                "says each code once only can give no more."),
        r->passes, (double) r->in_passes / r->passes, r->per_pass[1]);
    lm_svg_end(out, caption);
}
