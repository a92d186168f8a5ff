/* Warnings that a person may override, each by its name. */
#ifndef LUGMARK_CLI_WARN_H
#define LUGMARK_CLI_WARN_H

#include "command.h"

/** Option lines of the warnings that every command that puts a device on has. */
#define LM_WARN_OPTIONS                                                                            \
    {"yes", 'y', NULL, "I have looked: do it in spite of every warning"},                          \
        {"allow-pair", 0, NULL, "though number and code are not a pair of the supply list"},       \
        {"allow-skip", 0, NULL, "though the strip has one left before it"},                        \
    {                                                                                              \
        "allow-number", 0, NULL, "though number or code is or was on another animal"               \
    }

struct lm_warnings {
    const struct lm_args *args;
    unsigned standing; /* warnings that nobody overrode */
};

/**
 * Say a warning on standard error.
 * @param[in] name  Of its option, `allow-late`; a command without that option has --yes only.
 */
void lm_warn(struct lm_warnings *w, const char *name, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/** @return LM_EXIT_OK, or LM_EXIT_FLAGGED after saying that nothing was written. */
int lm_warnings_end(const struct lm_warnings *w);

#endif
