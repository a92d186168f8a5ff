/* The parts of lugmark tag. */
#ifndef LUGMARK_CLI_TAG_H
#define LUGMARK_CLI_TAG_H

#include "command.h"
#include "life.h"
#include "warn.h"

/** Bind the number of a chip (--uid) to a device that is worn already. */
int lm_tag_chip(const struct lm_args *args);

/**
 * Wait for the next code that a reader of the daemon gives.
 * @return LM_EXIT_OK, LM_EXIT_FAILED when there is no daemon or none was read in time.
 */
int lm_tag_scan(const struct lm_args *args, struct lm_eid *eid);

/**
 * Warn of what is odd about the kid that is tagged: its age, dates, its dam. A dam given by her
 * number is entered by her key.
 */
int lm_tag_check_kid(struct lm_life *life, struct lm_record *kid, const struct lm_device *device,
    struct lm_warnings *warnings);

/** Once a day: what to mind when tagging, on standard error. */
int lm_tag_cautions(struct lm_life *life);

#endif
