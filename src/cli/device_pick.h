/* The device of an animal that a person means. */
#ifndef LUGMARK_CLI_DEVICE_PICK_H
#define LUGMARK_CLI_DEVICE_PICK_H

#include "command.h"
#include "lugmark/record.h"

/**
 * The one worn device that carries the code or number @p what; `last`: the one put on last; NULL:
 * the only one. @return NULL after saying which ones there are, with *exit set.
 */
struct lm_device *lm_device_pick(struct lm_record *rec, const char *what, int *exit);

/**
 * The removed device that @p what names (NULL: the only one) and that no other was put on for yet.
 * @return NULL when a worn device is named, too, or several or none.
 */
struct lm_device *lm_device_left_open(struct lm_record *rec, const char *what);

/** Room for one device more, cleared; NULL after saying that there is none. */
struct lm_device *lm_device_more(struct lm_record *rec, int *exit);

/** Reasons that a device is removed for, the words for --reason. */
#define LM_REMOVE_REASONS "lost, torn, unreadable, swapped, wrong animal, or other words"

/**
 * Mark a device as removed; dates that cannot be are refused, and for an official device it is said
 * on standard error that the authority's rules govern this.
 */
int lm_device_remove(
    const struct lm_record *rec, struct lm_device *device, const char *reason, struct lm_date date);

#endif
