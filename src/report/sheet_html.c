/*
 * The printed page: the first leaf says it all, with room to sign; lists and pictures follow.
 */
#include "report/sheet_html.h"
#include "lugmark/version.h"
#include "report/picture.h"
#include "report/svg.h"
#include "report/tongue.h"

void lm_sheet_element(FILE *out, const char *element, const char *text)
{
    size_t name = 0;
    while (element[name] && element[name] != ' ')
        name++;
    fprintf(out, "<%s>", element);
    lm_svg_text(out, text);
    fprintf(out, "</%.*s>", (int) name, element);
}

void lm_sheet_section(FILE *out, unsigned notches, const char *heading)
{
    fputs(notches == 2 ? "<section class=\"newpage\">\n" : "<section>\n", out);
    lm_svg_ear(out, notches);
    fputs("<div>\n", out);
    lm_sheet_element(out, "h2", heading);
    putc('\n', out);
}

void lm_sheet_columns(FILE *out, const char *class, const struct lm_sheet_column *columns)
{
    fprintf(out, "<table class=\"%s\">\n<thead><tr>", class);
    for (size_t i = 0; columns[i].name; i++)
        lm_sheet_element(out,
            columns[i].number ? "th scope=\"col\" class=\"n\"" : "th scope=\"col\"",
            _(columns[i].name));
    fputs("</tr></thead>\n<tbody>\n", out);
}

void lm_sheet_fact(FILE *out, const char *what, const char *value)
{
    lm_sheet_element(out, "dt", what);
    lm_sheet_element(out, "dd", value);
    putc('\n', out);
}

static void facts(FILE *out, const struct lm_printed *p)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    char text[320], from[LM_TIME_TEXT_SIZE], to[LM_TIME_TEXT_SIZE];
    lm_sheet_time(lm_session_opened_ms(p->s), from);
    lm_sheet_time(lm_session_closed_ms(p->s), to);
    fputs("<dl>\n", out);
    if (lm_session_is_closed(p->s))
        snprintf(text, sizeof text, _("%s to %s"), from, to);
    else
        snprintf(text, sizeof text, _("from %s, still open when this was made"), from);
    lm_sheet_fact(out, _("When"), text);
    lm_sheet_fact(out, _("Who"), o && o->who[0] ? o->who : _("not said"));
    lm_sheet_fact(out, _("On the roll"), lm_sheet_scope(p, text, sizeof text));
    snprintf(text, sizeof text, _("%llu readings in %llu passes"),
        (unsigned long long) p->sum.readings, (unsigned long long) p->sum.passes);
    lm_sheet_fact(out, _("Read"), text);
    lm_sheet_fact(out, _("Session"), lm_sheet_name(p, text, sizeof text));
    fputs("</dl>\n", out);
}

void lm_sheet_begin(FILE *out, const char *heading, const char *holding)
{
    fprintf(out, "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\" />\n",
        lm_tongue_name());
    fputs("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
          "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
          "'unsafe-inline'\" />\n<title>",
        out);
    lm_svg_text(out, heading);
    fputs("</title>\n<style>", out);
    for (size_t i = 0; lm_sheet_style[i]; i++)
        fputs(lm_sheet_style[i], out);
    fputs("</style>\n</head>\n<body>\n", out);
    lm_svg_patterns(out);
    fputs("<header>\n", out);
    lm_svg_ear(out, 0);
    fputs("<div>\n", out);
    lm_sheet_element(out, "p class=\"holding\"", holding[0] ? holding : _("Holding: not said"));
    lm_sheet_element(out, "h1", heading);
}

static void begin(FILE *out, const struct lm_printed *p)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    const char *kind = lm_sheet_session_kind(o ? o->kind : LM_WALK);
    char day[LM_TIME_TEXT_SIZE], heading[2 * LM_NAME_MAX + 120];
    lm_time_format(lm_session_opened_ms(p->s), day);
    snprintf(heading, sizeof heading, "%s", kind);
    if (o && o->mob[0])
        lm_sheet_add(heading, sizeof heading, _(", mob %s"), o->mob);
    if (o && o->lot[0])
        lm_sheet_add(heading, sizeof heading, _(", lot %s"), o->lot);
    lm_sheet_add(heading, sizeof heading, "%s%.10s", day[0] ? ", " : "", day);
    lm_sheet_begin(out, heading, p->holding);
    facts(out, p);
    fputs("</div>\n</header>\n", out);
}

void lm_sheet_sign(FILE *out)
{
    const char *const who[] = {_("Place and date"), _("Counted by, signature"),
        _("Keeper, signature"), _("Seen by, signature")};
    fputs("<div class=\"sign\">", out);
    for (size_t i = 0; i < sizeof who / sizeof who[0]; i++)
        lm_sheet_element(out, "div", who[i]);
    fputs("</div>\n", out);
}

static void found(FILE *out, const struct lm_printed *p)
{
    char text[512];
    lm_sheet_section(out, 1, _("What was found"));
    lm_picture_three(out, p);
    lm_sheet_element(out, "p class=\"lead\"", lm_sheet_bounds(p, text, sizeof text));
    lm_sheet_flags(out, p);
    fputs("</div>\n", out);
    lm_sheet_sign(out);
    fputs("</section>\n", out);
}

static void pictures(FILE *out, const struct lm_printed *p)
{
    lm_sheet_section(out, 5, _("The race in pictures"));
    lm_picture_race(out, p);
    lm_picture_passes(out, p);
    lm_picture_readable(out, p);
    if (p->from.devices)
        lm_picture_stays(out, p);
    fputs("</div>\n</section>\n", out);
}

void lm_sheet_end(FILE *out, int64_t made_ms, const char *how)
{
    char when[LM_TIME_TEXT_SIZE], made[160];
    fputs("<footer class=\"small\">\n", out);
    lm_svg_ear(out, 6);
    fputs("<div>\n", out);
    lm_sheet_element(out, "h2", _("What this report does not say, and how it was made"));
    fputs("\n<ul>\n", out);
    for (size_t i = 0; lm_sheet_cautions[i]; i++) {
        lm_sheet_element(out, "li", _(lm_sheet_cautions[i]));
        putc('\n', out);
    }
    snprintf(
        made, sizeof made, _("Made %s by lugmark %s."), lm_sheet_time(made_ms, when), LM_VERSION);
    fputs("</ul>\n<p>", out);
    lm_svg_text(out, made);
    putc(' ', out);
    lm_svg_text(out, how);
    fputs("</p>\n</div>\n</footer>\n</body>\n</html>\n", out);
}

static void end(FILE *out, const struct lm_printed *p)
{
    char how[600];
    snprintf(how, sizeof how,
        _("The findings are worked out from the events of session %lld and from the register as it "
          "stood then; the command lugmark report %lld gives them again. What is likely, and how "
          "long devices stay, is from the register as it stands when the report is made."),
        (long long) p->from.row->id, (long long) p->from.row->id);
    lm_sheet_end(out, p->from.made_ms, how);
}

enum lm_err lm_printed_html(FILE *out, const struct lm_printed *p)
{
    begin(out, p);
    found(out, p);
    lm_sheet_missing(out, p);
    lm_sheet_explained(out, p);
    lm_sheet_others(out, p);
    pictures(out, p);
    end(out, p);
    return ferror(out) ? LM_EIO : LM_OK;
}
