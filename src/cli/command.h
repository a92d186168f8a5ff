/* What a command of the program `lugmark` is, and how its arguments are read.
 *
 * One table drives everything: the parser, the help, the suggestions and the shell completion all
 * read struct lm_command. Nothing about an option is written down twice. */
#ifndef LUGMARK_CLI_COMMAND_H
#define LUGMARK_CLI_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/** Exit status of every command. */
enum lm_exit {
    LM_EXIT_OK = 0,      /**< done, nothing flagged */
    LM_EXIT_FLAGGED = 1, /**< done, and something is flagged */
    LM_EXIT_USAGE = 2,   /**< wrong usage */
    LM_EXIT_INPUT = 3,   /**< bad input */
    LM_EXIT_FAILED = 4   /**< the register or a device failed */
};

/** Where a command stands in the list of `lugmark --help`. */
enum lm_group { LM_GROUP_REGISTER, LM_GROUP_RACE, LM_GROUP_AFTER, LM_GROUP_CODES, LM_GROUPS };

/** One option. A table of these ends with a NULL name. */
struct lm_option {
    const char *name;     /**< long name without the dashes */
    char letter;          /**< short name, or 0 */
    const char *argument; /**< what its value is called in the help, or NULL for a switch */
    const char *help;     /**< half a line, no full stop */
};

struct lm_args;

/** One command. All text is for people and never NULL, except `details`. */
struct lm_command {
    const char *name;
    enum lm_group group;
    const char *summary;             /**< one line, imperative, no full stop */
    const char *arguments;           /**< its arguments as the usage line shows them, "" for none */
    const char *details;             /**< further lines for --help, or NULL */
    const char *example;             /**< one or more lines that run as written */
    const struct lm_option *options; /**< its own options, or NULL */
    unsigned min_rest, max_rest;     /**< how many arguments it takes */
    int (*run)(const struct lm_args *args); /**< returns enum lm_exit */
};

#define LM_OPTIONS_MAX 40u /**< own and common options of one command */

/** The arguments of one call, parsed. Strings are borrowed from argv. */
struct lm_args {
    const struct lm_command *command;
    const char *values[LM_OPTIONS_MAX]; /**< by place in the command's table, common ones after */
    char **rest;                        /**< what is no option */
    size_t n_rest;
};

/** All commands in order, NULL at the end; the count without the NULL is @p n if not NULL. */
const struct lm_command *const *lm_commands(size_t *n);

/** The command of that name, or NULL. */
const struct lm_command *lm_command_named(const char *name);

/** Options that every command takes: --db, --socket, --json, --help. Ends with a NULL name. */
const struct lm_option *lm_common_options(void);

/** Option @p i of a command, own ones first, then the common ones; NULL past the end. */
const struct lm_option *lm_command_option(const struct lm_command *command, size_t i);

/**
 * Parse what stands after the command's name. @p argv is reordered: `rest` points into it.
 * @param[out] message  What is wrong, for people, when false is returned.
 * @return true when the options are right. The number of arguments is checked too, unless --help
 *         was given.
 */
bool lm_args_parse(const struct lm_command *command, int argc, char **argv, struct lm_args *out,
    char *message, size_t size);

/** Value of an option, "" for a switch that was given, NULL when it was not given. */
const char *lm_arg(const struct lm_args *args, const char *name);
bool lm_arg_given(const struct lm_args *args, const char *name);

/**
 * Value of an option as a whole number.
 * @param[in,out] value  Left alone when the option was not given.
 * @return false after saying on standard error what is wrong.
 */
bool lm_arg_number(const struct lm_args *args, const char *name, long min, long max, long *value);

/** Write the help of one command, or of the program. */
void lm_help_command(FILE *out, const struct lm_command *command);
void lm_help_program(FILE *out);

/** The nearest of the names by edit distance, or NULL when none is near. */
const char *lm_nearest(const char *word, const char *const *names, size_t n);

/** Run the program: what main() does. @return enum lm_exit. */
int lm_cli_main(int argc, char **argv);

#define LM_COMMAND(name) extern const struct lm_command lm_command_##name;
#include "commands.h"
#undef LM_COMMAND

#endif
