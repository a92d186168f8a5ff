/** @file child.h
 * A program that the daemon runs: started without a shell, watched, ended without waiting for it.
 * For drivers, and for what the daemon runs beside the race.
 */
#ifndef DRIVERS_CHILD_H
#define DRIVERS_CHILD_H

#include <sys/types.h>

#include "lugmark/driver.h"

/** From SIGTERM to SIGKILL. */
#define CHILD_GRACE_MS 2000
/** Room for what child_how() says. */
#define CHILD_HOW_MAX 96u

/** One program at a time. All -1 and 0 by child_init(). */
struct child {
    pid_t pid;    /**< leader of a process group of its own; 0: nothing runs and nothing is left */
    int watch;    /**< readable when the program wrote something or ended; for the loop */
    int out, err; /**< its output and messages, not blocking; -1 when closed or at their end */
    int ending;   /**< a descriptor of the process, -1 where the system has none */
    int64_t asked_ms; /**< when it was asked to end; 0 while it was not */
    bool ended;       /**< and `code` and `value` say how; it is not reaped yet */
    int code;         /**< CLD_EXITED, CLD_KILLED or CLD_DUMPED */
    int value;        /**< exit status or signal */
};

void child_init(struct child *c);

/**
 * Start a program: standard input empty, output and messages into pipes, nothing else inherited,
 * signals as a fresh program has them.
 * @param[in] argv  argv[0] is looked up in PATH when it has no '/'.
 * @param[in] dir   Where it runs, or "".
 * @return LM_OK; LM_ENOTFOUND: no such program or folder; LM_EIO; with @p p filled.
 */
enum lm_err child_start(struct child *c, char *const argv[], const char *dir, struct lm_problem *p);

/** Look whether it has ended; fills `ended`, `code` and `value`. It stays unreaped: so its number,
 * which is that of its group, cannot become somebody else's. */
bool child_has_ended(struct child *c);

/** Close the pipes and ask it, and all it started, to end. Harmless when nothing runs. */
void child_ask(struct child *c);

/**
 * After child_ask(): see whether it is gone, and end it by force when its time is over. Never
 * waits.
 * @return true when nothing is left and another may be started.
 */
bool child_is_gone(struct child *c);

/** child_ask(), and wait until it is gone: a little over CHILD_GRACE_MS at most. */
void child_end(struct child *c);

/** How it ended, such as "ended with exit status 3" or "was ended by signal 6 (Aborted)". */
void child_how(const struct child *c, char *out, size_t size);

/** Monotonic clock, milliseconds. */
int64_t child_now_ms(void);

#endif
