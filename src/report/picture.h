/** @file picture.h
 * The pictures of a printed report. Each has a title, axes with units and its text alternative, and
 * says in words when there is nothing to draw.
 */
#ifndef LM_REPORT_PICTURE_H
#define LM_REPORT_PICTURE_H

#include "report/sheet_data.h"

void lm_picture_three(FILE *out, const struct lm_printed *p);    /**< the three figures */
void lm_picture_race(FILE *out, const struct lm_printed *p);     /**< who came past when */
void lm_picture_passes(FILE *out, const struct lm_printed *p);   /**< readings per pass */
void lm_picture_readable(FILE *out, const struct lm_printed *p); /**< readability by device */
void lm_picture_stays(FILE *out, const struct lm_printed *p);    /**< how long devices stay */

#endif
