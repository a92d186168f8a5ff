#include "report/svg.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/** Whether a character of @p n bytes may stand on a page: no control, no half of a pair, no
 *  direction switch that would make a number read backwards, no line end of its own. */
static bool may_stand(unsigned u, size_t n)
{
    bool control = u < 0x20 || (u >= 0x7f && u < 0xa0);
    bool broken = (n == 3 && u < 0x800) || (u >= 0xd800 && u < 0xe000) || u >= 0xfffe;
    bool turns = u == 0x200e || u == 0x200f || u == 0x061c || (u >= 0x2028 && u <= 0x202e) ||
                 (u >= 0x2066 && u <= 0x2069) || u == 0xfeff;
    return !control && !broken && !turns;
}

/** Bytes of the UTF-8 character that begins here, 0 where none does. */
static size_t length_of(const unsigned char *c)
{
    size_t n = c[0] < 0x80 ? 1 : c[0] >= 0xc2 && c[0] < 0xe0 ? 2 : (c[0] & 0xf0) == 0xe0 ? 3 : 0;
    if (c[0] >= 0xf0 && c[0] < 0xf5)
        n = 4;
    for (size_t i = 1; i < n; i++) {
        if ((c[i] & 0xc0) != 0x80)
            return 0;
    }
    return n;
}

static void write_character(FILE *out, const unsigned char *c, size_t n)
{
    unsigned u = c[0];
    if (n == 2)
        u = (unsigned) (c[0] & 0x1f) << 6 | (c[1] & 0x3fu);
    else if (n == 3)
        u = (unsigned) (c[0] & 0xf) << 12 | (unsigned) (c[1] & 0x3f) << 6 | (c[2] & 0x3fu);
    if (n == 0 || (n < 4 && !may_stand(u, n)))
        fputs("\xef\xbf\xbd", out);
    else if (*c == '&')
        fputs("&amp;", out);
    else if (*c == '<')
        fputs("&lt;", out);
    else if (*c == '>')
        fputs("&gt;", out);
    else if (*c == '"')
        fputs("&quot;", out);
    else if (*c == '\'')
        fputs("&#39;", out);
    else
        fwrite(c, 1, n, out);
}

void lm_svg_text(FILE *out, const char *text)
{
    const unsigned char *c = (const unsigned char *) text;
    while (*c) {
        size_t n = length_of(c);
        write_character(out, c, n);
        c += n ? n : 1;
    }
}

void lm_svg_begin(FILE *out, const char *id, const char *title, const char *desc, double height)
{
    fputs("<figure>\n<h3>", out);
    lm_svg_text(out, title);
    fprintf(out,
        "</h3>\n<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" role=\"img\" "
        "aria-labelledby=\"%s-t %s-d\">\n<title id=\"%s-t\">",
        LM_SVG_WIDTH, height, id, id, id);
    lm_svg_text(out, title);
    fprintf(out, "</title>\n<desc id=\"%s-d\">", id);
    lm_svg_text(out, desc);
    fputs("</desc>\n", out);
}

void lm_svg_end(FILE *out, const char *caption)
{
    fputs("</svg>\n", out);
    if (caption[0]) {
        fputs("<figcaption>", out);
        lm_svg_text(out, caption);
        fputs("</figcaption>\n", out);
    }
    fputs("</figure>\n", out);
}

void lm_svg_none(FILE *out, const char *title, const char *why)
{
    fputs("<figure>\n<h3>", out);
    lm_svg_text(out, title);
    fputs("</h3>\n<p class=\"none\">", out);
    lm_svg_text(out, why);
    fputs("</p>\n</figure>\n", out);
}

void lm_svg_label(
    FILE *out, double x, double y, enum lm_svg_anchor anchor, const char *class, const char *text)
{
    static const char *const words[] = {"start", "middle", "end"};
    fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\" class=\"%s\">", x, y,
        words[anchor], class);
    lm_svg_text(out, text);
    fputs("</text>\n", out);
}

void lm_svg_number(
    FILE *out, double x, double y, enum lm_svg_anchor anchor, const char *class, long long n)
{
    char text[32];
    if (n >= 10000) /* a narrow blank between thousands, which nobody takes for a point */
        snprintf(text, sizeof text, "%lld\xe2\x80\xaf%03lld", n / 1000, n % 1000);
    else
        snprintf(text, sizeof text, "%lld", n);
    lm_svg_label(out, x, y, anchor, class, text);
}

void lm_svg_line(FILE *out, double x1, double y1, double x2, double y2, const char *class)
{
    fprintf(out, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\" />\n", x1, y1,
        x2, y2, class);
}

void lm_svg_rect(FILE *out, double x, double y, double w, double h, const char *class)
{
    fprintf(out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\" />\n", x,
        y, w > 0 ? w : 0, h > 0 ? h : 0, class);
}

void lm_svg_look(FILE *out, double x, double y)
{
    fprintf(out, "<path d=\"M%.1f %.1fl5 9h-10z\" class=\"look\" />\n", x, y - 5);
}

void lm_svg_hold(FILE *out, double x, double y)
{
    fprintf(out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"9\" height=\"9\" class=\"hold\" />\n",
        x - 4.5, y - 4.5);
}

double lm_svg_step(double most, unsigned ticks)
{
    double raw = most > 0 && ticks > 0 ? most / ticks : 1;
    double ten = pow(10, floor(log10(raw)));
    double part = raw / ten;
    return ten * (part <= 1.0000001 ? 1 : part <= 2.0000001 ? 2 : part <= 5.0000001 ? 5 : 10);
}

double lm_svg_upright(FILE *out, const struct lm_plot *b, double most, const char *title)
{
    double step = lm_svg_step(most, 5);
    step = step < 1 ? 1 : step;
    double top = ceil(most / step) * step;
    top = top < step ? step : top;
    for (unsigned i = 0; i * step <= top + step / 2; i++) {
        double v = i * step;
        double y = b->y + b->h - v / top * b->h;
        lm_svg_line(out, b->x, y, b->x + b->w, y, v > 0 ? "grid" : "axis");
        lm_svg_number(out, b->x - 7, y + 4, LM_SVG_END, "tick", (long long) v);
    }
    fprintf(out,
        "<text transform=\"translate(%.1f %.1f) rotate(-90)\" text-anchor=\"middle\" "
        "class=\"unit\">",
        b->x - 66, b->y + b->h / 2);
    lm_svg_text(out, title);
    fputs("</text>\n", out);
    return top;
}

void lm_svg_patterns(FILE *out)
{
    fputs("<svg class=\"patterns\" width=\"0\" height=\"0\" aria-hidden=\"true\" "
          "xmlns=\"http://www.w3.org/2000/svg\">\n<defs>\n"
          "<pattern id=\"slant\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" "
          "patternTransform=\"rotate(45)\"><rect width=\"5\" height=\"5\" class=\"under\" />"
          "<line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"5\" class=\"thread\" /></pattern>\n"
          "</defs>\n</svg>\n",
        out);
}

/* An ear as one looks at it, root to the left: its fold, and V-shaped notches in the lower edge. */
void lm_svg_ear(FILE *out, unsigned notches)
{
    fputs("<svg class=\"ear\" viewBox=\"0 0 66 36\" aria-hidden=\"true\" "
          "xmlns=\"http://www.w3.org/2000/svg\"><path d=\"M1 14C9 3 30 -4 64 21C58 28 54 30 50 31",
        out);
    for (unsigned i = 0; i < notches && i < 6; i++) {
        double x = 50 - 6.6 * (double) i, y = 31 + 0.2 * (double) i; /* from the tip to the root */
        fprintf(out, "L%.1f %.1fL%.1f %.1fL%.1f %.1f", x, y, x - 2.4, y - 9.5, x - 4.8, y + 0.2);
    }
    fputs("C10 33 4 26 1 22Z\" /><path class=\"fold\" d=\"M6 17C18 9 32 8 48 17\" /></svg>\n", out);
}
