/** @file page_html.h
 * Parts of the printed page.
 */
#ifndef LM_REPORT_PAGE_HTML_H
#define LM_REPORT_PAGE_HTML_H

#include "report/page_data.h"

/** The style sheet, without its element, in pieces; NULL at the end. */
extern const char *const lm_page_style[];

/** Begin a section: an ear with @p notches notches, its heading. Ended by "</section>". */
void lm_page_section(FILE *out, unsigned notches, const char *heading);
/** An element with text. @p element may carry attributes: "td class=\"n\"". */
void lm_page_element(FILE *out, const char *element, const char *text);

/** Begin the page down to its heading; the caller ends the div and the header. */
void lm_page_begin(FILE *out, const char *heading, const char *holding);
/** One pair of a dl. */
void lm_page_fact(FILE *out, const char *what, const char *value);
void lm_page_sign(FILE *out); /**< room to sign */
/** Cautions, and @p how the report was made. */
void lm_page_end(FILE *out, int64_t made_ms, const char *how);

void lm_page_flags(FILE *out, const struct lm_printed *p);     /**< flags by kind */
void lm_page_missing(FILE *out, const struct lm_printed *p);   /**< those not found */
void lm_page_explained(FILE *out, const struct lm_printed *p); /**< what most likely happened */
void lm_page_others(FILE *out, const struct lm_printed *p);    /**< every other flag */

#endif
