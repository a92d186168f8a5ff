/* Findings: fetched from the daemon as JSON, or folded again from the register. */
#ifndef LUGMARK_CLI_FINDINGS_OUT_H
#define LUGMARK_CLI_FINDINGS_OUT_H

#include <jansson.h>
#include <stdio.h>

#include "command.h"
#include "lugmark/store.h"

/** Whether it has anything flagged. */
bool lm_findings_flagged(const json_t *findings);

/**
 * Write what the daemon answered to a request for findings with "text":true: its text, or with
 * --json the findings object.
 * @return LM_EXIT_OK or LM_EXIT_FLAGGED.
 */
int lm_findings_show(const struct lm_args *args, const json_t *answer);

/**
 * Fold a session of the register again and write what it found.
 * @param[in] id  Row of the session, 0 for the latest.
 * @return enum lm_exit; what is wrong was said.
 */
int lm_findings_stored(const struct lm_args *args, int64_t id);

#endif
