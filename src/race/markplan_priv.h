/* Private to the marking plan. */
#ifndef LM_MARKPLAN_PRIV_H
#define LM_MARKPLAN_PRIV_H

#include "lugmark/markplan.h"

/**
 * The next word of a list that commas and semicolons part.
 * @param[in,out] at  Where to go on; at the end of the text when there is none left.
 * @return false at the end. Blanks at both ends are dropped, words may hold blanks.
 */
bool lm_plan_next(const char **at, char out[LM_NAME_MAX + 1]);

/** Take "2026 rest" or "2026=rest" apart. @return The year, or 0 when none stands first. */
int lm_plan_year(const char *word, const char **rest);

#endif
