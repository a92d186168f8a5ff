/* The device that is put on: where it comes from, and what about it makes one look again. */
#ifndef LUGMARK_CLI_MARKS_H
#define LUGMARK_CLI_MARKS_H

#include "lugmark/stock.h"
#include "warn.h"

/**
 * Fill a device from --strip: the next one of it, or, where --eid or --visual (or a reading) names
 * one already, that one; from the supply list come number, code, colour, form and official as far
 * as nothing was said of them.
 * @param[in] strip  NULL: look the device up in whatever strip has it.
 * @return LM_EXIT_OK, also when no supply list knows it; LM_EXIT_INPUT: the strip is used up or not
 *         there.
 */
int lm_marks_from_stock(struct lm_store *store, const struct lm_args *args, const char *strip,
    struct lm_device *device);

/**
 * Warn of what is odd about a device that animal @p key is given: number and code from two places
 * of the supply list, a place of the strip left out, a number or code that another carries.
 * @return LM_EXIT_OK, or LM_EXIT_FAILED.
 */
int lm_marks_check(struct lm_store *store, const char *key, const struct lm_device *device,
    struct lm_warnings *warnings);

#endif
