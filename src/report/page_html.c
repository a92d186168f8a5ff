/*
 * The printed page: the first leaf says it all, with room to sign; lists and pictures follow.
 */
#include "report/page_html.h"
#include "lugmark/version.h"
#include "report/picture.h"
#include "report/svg.h"

void lm_page_element(FILE *out, const char *element, const char *text)
{
    size_t name = 0;
    while (element[name] && element[name] != ' ')
        name++;
    fprintf(out, "<%s>", element);
    lm_svg_text(out, text);
    fprintf(out, "</%.*s>", (int) name, element);
}

void lm_page_section(FILE *out, unsigned notches, const char *heading)
{
    fputs(notches == 2 ? "<section class=\"newpage\">\n" : "<section>\n", out);
    lm_svg_ear(out, notches);
    fputs("<div>\n", out);
    lm_page_element(out, "h2", heading);
    putc('\n', out);
}

void lm_page_fact(FILE *out, const char *what, const char *value)
{
    lm_page_element(out, "dt", what);
    lm_page_element(out, "dd", value);
    putc('\n', out);
}

static void facts(FILE *out, const struct lm_printed *p)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    char text[320], from[LM_TIME_TEXT_SIZE], to[LM_TIME_TEXT_SIZE];
    lm_page_time(lm_session_opened_ms(p->s), from);
    lm_page_time(lm_session_closed_ms(p->s), to);
    fputs("<dl>\n", out);
    if (lm_session_is_closed(p->s))
        snprintf(text, sizeof text, "%s to %s", from, to);
    else
        snprintf(text, sizeof text, "from %s, still open when this was made", from);
    lm_page_fact(out, "When", text);
    lm_page_fact(out, "Who", o && o->who[0] ? o->who : "not said");
    lm_page_fact(out, "On the roll", lm_page_scope(p, text, sizeof text));
    snprintf(text, sizeof text, "%llu readings in %llu passes",
        (unsigned long long) p->sum.readings, (unsigned long long) p->sum.passes);
    lm_page_fact(out, "Read", text);
    lm_page_fact(out, "Session", lm_page_name(p, text, sizeof text));
    fputs("</dl>\n", out);
}

void lm_page_begin(FILE *out, const char *heading, const char *holding)
{
    fputs("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
          "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
          "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
          "'unsafe-inline'\" />\n<title>",
        out);
    lm_svg_text(out, heading);
    fputs("</title>\n<style>", out);
    for (size_t i = 0; lm_page_style[i]; i++)
        fputs(lm_page_style[i], out);
    fputs("</style>\n</head>\n<body>\n", out);
    lm_svg_patterns(out);
    fputs("<header>\n", out);
    lm_svg_ear(out, 0);
    fputs("<div>\n", out);
    lm_page_element(out, "p class=\"holding\"", holding[0] ? holding : "Holding: not said");
    lm_page_element(out, "h1", heading);
}

static void begin(FILE *out, const struct lm_printed *p)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    const char *kind = lm_page_session_kind(o ? o->kind : LM_WALK);
    char day[LM_TIME_TEXT_SIZE], heading[2 * LM_NAME_MAX + 80];
    lm_time_format(lm_session_opened_ms(p->s), day);
    snprintf(heading, sizeof heading, "%s%s%s%s%s%s%.10s", kind, o && o->mob[0] ? ", mob " : "",
        o ? o->mob : "", o && o->lot[0] ? ", lot " : "", o ? o->lot : "", day[0] ? ", " : "", day);
    lm_page_begin(out, heading, p->holding);
    facts(out, p);
    fputs("</div>\n</header>\n", out);
}

void lm_page_sign(FILE *out)
{
    fputs("<div class=\"sign\"><div>Place and date</div><div>Counted by, signature</div>"
          "<div>Keeper, signature</div><div>Seen by, signature</div></div>\n",
        out);
}

static void found(FILE *out, const struct lm_printed *p)
{
    char text[512];
    lm_page_section(out, 1, "What was found");
    lm_picture_three(out, p);
    lm_page_element(out, "p class=\"lead\"", lm_page_bounds(p, text, sizeof text));
    lm_page_flags(out, p);
    fputs("</div>\n", out);
    lm_page_sign(out);
    fputs("</section>\n", out);
}

static void pictures(FILE *out, const struct lm_printed *p)
{
    lm_page_section(out, 5, "The race in pictures");
    lm_picture_race(out, p);
    lm_picture_passes(out, p);
    lm_picture_readable(out, p);
    if (p->from.devices)
        lm_picture_stays(out, p);
    fputs("</div>\n</section>\n", out);
}

void lm_page_end(FILE *out, int64_t made_ms, const char *how)
{
    char when[LM_TIME_TEXT_SIZE];
    fputs("<footer class=\"small\">\n", out);
    lm_svg_ear(out, 6);
    fputs("<div>\n<h2>What this report does not say, and how it was made</h2>\n<ul>\n", out);
    for (size_t i = 0; lm_page_cautions[i]; i++) {
        lm_page_element(out, "li", lm_page_cautions[i]);
        putc('\n', out);
    }
    fprintf(out, "</ul>\n<p>Made %s by lugmark %s. ", lm_page_time(made_ms, when), LM_VERSION);
    lm_svg_text(out, how);
    fputs("</p>\n</div>\n</footer>\n</body>\n</html>\n", out);
}

static void end(FILE *out, const struct lm_printed *p)
{
    char how[400];
    snprintf(how, sizeof how,
        "The findings are worked out from the events of session %lld and from the register as it "
        "stood then; the command lugmark report %lld gives them again. What is likely, and how "
        "long devices stay, is from the register as it stands when the report is made.",
        (long long) p->from.row->id, (long long) p->from.row->id);
    lm_page_end(out, p->from.made_ms, how);
}

enum lm_err lm_printed_html(FILE *out, const struct lm_printed *p)
{
    begin(out, p);
    found(out, p);
    lm_page_missing(out, p);
    lm_page_explained(out, p);
    lm_page_others(out, p);
    pictures(out, p);
    end(out, p);
    return ferror(out) ? LM_EIO : LM_OK;
}
