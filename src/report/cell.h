/** @file cell.h
 * A cell of a CSV that people open in a spreadsheet: quoted as RFC 4180 wants it, and disarmed.
 */
#ifndef LUGMARK_REPORT_CELL_H
#define LUGMARK_REPORT_CELL_H

#include <stdio.h>

/**
 * Write one cell. A text that a spreadsheet would run as a formula gets a ' before it.
 * @param[in] after  What stands behind it: "," or a line end. Errors stay in @p out.
 */
void lm_cell(FILE *out, const char *text, const char *after);

#endif
