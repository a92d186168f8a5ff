/* The history of one animal. */
#ifndef LUGMARK_CLI_SHOW_HISTORY_H
#define LUGMARK_CLI_SHOW_HISTORY_H

#include "command.h"
#include "lugmark/store.h"

/**
 * Write every change of an animal, oldest first; with --json one object with a list.
 * @param[in] word  Its key, or a number or code that only it carries; the key of an entry that was
 *                  merged or taken back is taken, too.
 */
int lm_show_history(const struct lm_args *args, struct lm_store *store, const char *word);

#endif
