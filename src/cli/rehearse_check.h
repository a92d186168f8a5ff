/* Holding what a session found against what was planted. */
#ifndef LUGMARK_CLI_REHEARSE_CHECK_H
#define LUGMARK_CLI_REHEARSE_CHECK_H

#include <jansson.h>

#include "rehearse_plan.h"

/**
 * Compare and write a table: each planted fault, found or not; and what was found but not planted.
 * @param[in] findings  A lugmark.findings/1 object.
 * @return How many planted faults were not found plus how many findings nobody planted.
 */
unsigned lm_rehearse_check(
    FILE *out, const struct lm_plan *plan, const struct lm_roll *roll, const json_t *findings);

#endif
