/** @file svg.h
 * Drawing: escaped text, axes with ticks that a person would choose, the marks of the report.
 *
 * Units are those of a drawing 720 wide, which on paper is the width of the text. Classes are those
 * of the page's style (sheet_style.c). Nothing is told by colour alone.
 */
#ifndef LM_REPORT_SVG_H
#define LM_REPORT_SVG_H

#include <stdio.h>

#define LM_SVG_WIDTH 720.0

/** Write text so that it is text and nothing else in HTML and XML: markup escaped; control
 *  characters, direction switches and bytes that are no UTF-8 replaced. */
void lm_svg_text(FILE *out, const char *text);

/** Begin a figure with its title and drawing. @p id makes the ids of this page. */
void lm_svg_begin(FILE *out, const char *id, const char *title, const char *desc, double height);
/** End the drawing, and the figure, with a line below it ("" for none). */
void lm_svg_end(FILE *out, const char *caption);
/** A figure that has nothing to draw, and says why. */
void lm_svg_none(FILE *out, const char *title, const char *why);

/** Where text stands to its point. */
enum lm_svg_anchor { LM_SVG_START, LM_SVG_MIDDLE, LM_SVG_END };
void lm_svg_label(
    FILE *out, double x, double y, enum lm_svg_anchor anchor, const char *class, const char *text);
void lm_svg_number(
    FILE *out, double x, double y, enum lm_svg_anchor anchor, const char *class, long long n);
void lm_svg_line(FILE *out, double x1, double y1, double x2, double y2, const char *class);
void lm_svg_rect(FILE *out, double x, double y, double w, double h, const char *class);

/** The mark of something to look at (a triangle) or to hold (a square), centred. */
void lm_svg_look(FILE *out, double x, double y);
void lm_svg_hold(FILE *out, double x, double y);

/** Step between ticks, 1, 2 or 5 times a power of ten, so that at most @p ticks steps fit. */
double lm_svg_step(double most, unsigned ticks);

/** Where a drawing plots: the box of its axes. */
struct lm_plot {
    double x, y, w, h;
};
/** The upright axis of whole numbers from 0 to at least @p most. @return Its upper end. */
double lm_svg_upright(FILE *out, const struct lm_plot *b, double most, const char *title);

/** Patterns that the drawings of a page share; once a page, before them. */
void lm_svg_patterns(FILE *out);
/** An ear with @p notches notches: which section this is. */
void lm_svg_ear(FILE *out, unsigned notches);

#endif
