/** @file log.h
 * Messages of the daemon: standard error, one line each, changes of state and never repetitions.
 */
#ifndef LUGMARK_DAEMON_LOG_H
#define LUGMARK_DAEMON_LOG_H

#include "lugmark/err.h"

/** Levels as the system journal counts them. */
enum log_level { LOG_LEVEL_ERROR = 3, LOG_LEVEL_WARNING = 4, LOG_LEVEL_NOTICE = 5 };

/**
 * Say something. Under the system journal ($JOURNAL_STREAM) the line begins with `<N>`, else with
 * the time. Control characters become '?', long lines are cut.
 * @param[in] where  Part that speaks, such as "reader front".
 */
void log_at(enum log_level level, const char *where, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/** Say a problem, with its place and how to mend it. */
void log_problem(enum log_level level, const char *where, const struct lm_problem *p);

#endif
