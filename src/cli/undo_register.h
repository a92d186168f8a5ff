/* Taking the last register change back. */
#ifndef LUGMARK_CLI_UNDO_REGISTER_H
#define LUGMARK_CLI_UNDO_REGISTER_H

#include "command.h"

/** `lugmark undo --register [--dry-run]`. */
int lm_undo_register(const struct lm_args *args);

#endif
