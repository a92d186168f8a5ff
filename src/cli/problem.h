/* What the program says on standard error, and the exit status that goes with it. */
#ifndef LUGMARK_CLI_PROBLEM_H
#define LUGMARK_CLI_PROBLEM_H

#include "command.h"
#include "lugmark/err.h"
#include "lugmark/text.h"

/** Say what is wrong with how the command was called. @return LM_EXIT_USAGE. */
int lm_usage(const struct lm_args *args, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

/** Write a problem, on one line, to standard error. */
void lm_problem_print(const struct lm_problem *p);

/** Write a problem and say which exit status its error has. @return enum lm_exit, never 0. */
int lm_problem_fail(const struct lm_problem *p);

/** Say something on standard error in one go. @return @p exit. */
int lm_fail(int exit, const char *mend, const char *fmt, ...) __attribute__((format(printf, 3, 4)));

/** Which exit status an error has. */
int lm_exit_of(enum lm_err err);

/** A text from outside as it may be shown: control characters replaced, cut to fit. @return @p out.
 */
const char *lm_clean(char *out, size_t size, const char *text);

/** Counts the problems of one file; all are shown up to a bound, then only counted. */
struct lm_problems {
    unsigned long count;
};

/** Show one problem more; matches lm_problem_fn with struct lm_problems as @p ctx. */
void lm_problems_add(const struct lm_problem *p, void *ctx);

/** Say how many there were when not all were shown. @return LM_EXIT_INPUT, or 0 when none. */
int lm_problems_end(const struct lm_problems *problems);

#endif
