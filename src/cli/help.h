/* Forms of the help that are not for the screen: made when the program is built and packed. */
#ifndef LUGMARK_CLI_HELP_H
#define LUGMARK_CLI_HELP_H

#include "command.h"

/** The heading of a group of commands. */
const char *lm_group_name(enum lm_group group);

/** The commands as the middle of the manual page, in mdoc. */
void lm_help_mdoc(FILE *out);

/** Completion for bash. */
void lm_help_completion(FILE *out);

#endif
