/** @file verdict_line.h
 * A verdict as a line, written straight: what comes hundreds of times a second at the race.
 *
 * verdict_json() makes the same bytes the plain way. It is what is asked whenever this one cannot
 * write, and what the tests hold it against.
 */
#ifndef LUGMARK_DAEMON_VERDICT_LINE_H
#define LUGMARK_DAEMON_VERDICT_LINE_H

#include "lugmark/session.h"

#define VERDICT_LINE_MAX 8192u

/**
 * Write the verdict of a reading or a sighting, with its line end.
 * @param[in]  should  As should_text() says it, never NULL.
 * @param[out] out     VERDICT_LINE_MAX bytes; ended with NUL.
 * @return its length without NUL; 0 when it does not fit, when a text is not clean UTF-8, or when
 * the event is of another kind: then verdict_json() is to be asked.
 */
size_t verdict_line(const struct lm_session *session, const struct lm_event *ev,
    const struct lm_verdict *verdict, const char *should, char out[VERDICT_LINE_MAX]);

#endif
