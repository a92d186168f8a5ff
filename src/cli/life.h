/* What the commands for the comings and goings of animals share. */
#ifndef LUGMARK_CLI_LIFE_H
#define LUGMARK_CLI_LIFE_H

#include "command.h"
#include "lugmark/store.h"

/** One run of such a command: a register open for writing, and one change being made. */
struct lm_life {
    const struct lm_args *args;
    struct lm_store *store;
    struct lm_date date;           /**< --date, else today */
    char why[LM_PROBLEM_TEXT_MAX]; /**< for the history: what was done, when, and --why */
    struct lm_record *rec;         /**< room for one animal */
    bool kept;
};

/** The two options that all of them take. */
#define LM_LIFE_OPTIONS                                                                            \
    {"date", 0, "DATE", "when it was (default: today)"},                                           \
    {                                                                                              \
        "why", 0, "TEXT", "a reason or note for the history"                                       \
    }

/** Today by UTC or, where the day has come already, by the clock of this place. */
struct lm_date lm_life_today(void);

/** Whether all of a date lies after today. */
bool lm_life_future(struct lm_date date);

/**
 * A date option; left alone when it was not given.
 * @return LM_EXIT_OK, or LM_EXIT_INPUT after saying that it is none or lies in the future.
 */
int lm_life_date(const struct lm_args *args, const char *name, struct lm_date *date);

/**
 * Open the register and begin a change; `why` begins with @p done, such as "sold", the date, and
 * ends with @p more (may be NULL) and --why.
 * @return LM_EXIT_OK, or another; lm_life_end() is due in any case.
 */
int lm_life_begin(
    struct lm_life *life, const struct lm_args *args, const char *done, const char *more);

/** Keep the change now: what is said of it afterwards is true. @return LM_EXIT_OK, or another. */
int lm_life_keep(struct lm_life *life);

/** Keep it, too, when @p exit is LM_EXIT_OK, else drop it; then close. @return The exit status. */
int lm_life_end(struct lm_life *life, int exit);

/** The animal that @p word means, read into `rec`. @return As lm_db_animal(). */
int lm_life_animal(struct lm_life *life, const char *word);

/** Put `rec` and show it. @return LM_EXIT_OK, or another after saying why not. */
int lm_life_put(struct lm_life *life);

/** Write an animal as a line, or as JSON with --json. */
int lm_life_show(const struct lm_args *args, const struct lm_record *rec);

/** Keep the change, then show the animals that the arguments name. */
int lm_life_keep_and_show(struct lm_life *life);

/** Whether something at @p date can be before the animal's birth; says so then. */
bool lm_life_before_birth(const struct lm_record *rec, struct lm_date date, const char *what);

/** How a command changes the status of the animals it names. */
struct lm_status_step {
    const char *done; /**< "sold" */
    enum lm_status to;
    unsigned from;    /**< set of 1u << enum lm_status */
    const char *mend; /**< for an animal of another status */
};

/** Run such a command: all animals named, or none. */
int lm_status_run(const struct lm_args *args, const struct lm_status_step *step, const char *more);

#endif
