/* Lists of what there was: sessions, counts. */
#ifndef LUGMARK_CLI_LISTING_H
#define LUGMARK_CLI_LISTING_H

#include "command.h"

/** Write all sessions of the register, the latest first. @return enum lm_exit. */
int lm_list_sessions(const struct lm_args *args);

/** Write the counts that sessions belong to, the latest first. @return enum lm_exit. */
int lm_list_counts(const struct lm_args *args);

#endif
