/** @file sheet_html.h
 * Parts of the printed page.
 */
#ifndef LM_REPORT_SHEET_HTML_H
#define LM_REPORT_SHEET_HTML_H

#include "report/sheet_data.h"

/** The style sheet, without its element, in pieces; NULL at the end. */
extern const char *const lm_sheet_style[];

/** Begin a section: an ear with @p notches notches, its heading. Ended by "</section>". */
void lm_sheet_section(FILE *out, unsigned notches, const char *heading);
/** An element with text. @p element may carry attributes: "td class=\"n\"". */
void lm_sheet_element(FILE *out, const char *element, const char *text);

/** A column of a table: its name in English, NULL at the end; whether numbers stand in it. */
struct lm_sheet_column {
    const char *name;
    bool number;
};
/** Begin a table of that class down to its body. */
void lm_sheet_columns(FILE *out, const char *class, const struct lm_sheet_column *columns);

/** Begin the page down to its heading; the caller ends the div and the header. */
void lm_sheet_begin(FILE *out, const char *heading, const char *holding);
/** One pair of a dl. */
void lm_sheet_fact(FILE *out, const char *what, const char *value);
void lm_sheet_sign(FILE *out); /**< room to sign */
/** Cautions, and @p how the report was made. */
void lm_sheet_end(FILE *out, int64_t made_ms, const char *how);

void lm_sheet_flags(FILE *out, const struct lm_printed *p);     /**< flags by kind */
void lm_sheet_missing(FILE *out, const struct lm_printed *p);   /**< those not found */
void lm_sheet_explained(FILE *out, const struct lm_printed *p); /**< what most likely happened */
void lm_sheet_others(FILE *out, const struct lm_printed *p);    /**< every other flag */

#endif
