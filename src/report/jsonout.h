/** @file jsonout.h
 * Writing JSON as it goes, for answers of a million findings that must not be built in memory.
 * Small objects elsewhere are built with the JSON library.
 */
#ifndef LM_REPORT_JSONOUT_H
#define LM_REPORT_JSONOUT_H

#include "lugmark/eid.h"
#include <stdio.h>

/** Write a JSON string, or null when @p text is NULL. */
void lm_jsonout_text(FILE *out, const char *text);

/** Write a string, or null when it is empty. */
void lm_jsonout_text_or_null(FILE *out, const char *text);

/** Write an instant as a string, or null. */
void lm_jsonout_time(FILE *out, int64_t t_ms);

/** Write a code as a string of digits. */
void lm_jsonout_eid(FILE *out, struct lm_eid eid);

#endif
