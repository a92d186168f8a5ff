/* Codes that a stick or a race reader wrote into a file, one event a line. */
#ifndef LUGMARK_CLI_READINGS_H
#define LUGMARK_CLI_READINGS_H

#include "lugmark/event.h"
#include "problem.h"
#include "table.h"

/** A file being read. */
struct lm_readings {
    struct lm_table table;
    bool timed; /**< the file has a column of times */
};

/**
 * Begin: CSV `time,lane,eid` by name, or one code a line in any form that lm_decode() takes.
 * @return as lm_table_begin(). Ownership: lm_readings_end() in either case.
 */
enum lm_err lm_readings_begin(
    struct lm_readings *r, FILE *in, const char *name, struct lm_problem *p);
void lm_readings_end(struct lm_readings *r);

/**
 * The next reading. Text that is no code is a doubtful reading, not an error.
 * @param[in,out] ev  Zero-initialised before the first call; reader and heads are left alone.
 * @return LM_OK, LM_EAGAIN at the end, LM_EINPUT for a bad row with @p p filled, LM_EIO.
 */
enum lm_err lm_readings_next(struct lm_readings *r, struct lm_event *ev, struct lm_problem *p);

#endif
