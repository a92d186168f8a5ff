/* What changed between two entries of one animal, for people. */
#ifndef LUGMARK_CLI_RECORD_DIFF_H
#define LUGMARK_CLI_RECORD_DIFF_H

#include <stdio.h>

#include "lugmark/record.h"

/**
 * One line for each thing that differs, indented.
 * @param[in] before  NULL: the entry is new; what it says is written as it is.
 */
void lm_record_diff(FILE *out, const struct lm_record *before, const struct lm_record *now);

#endif
