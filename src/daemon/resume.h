/** @file resume.h
 * A client that wants what it missed: the session folded again, piece by piece as it takes it.
 *
 * While it catches up nothing of the journal is sent to it live; the fold reads the journal to its
 * end, and at that very moment the client joins the stream: no gap, nothing twice.
 */
#ifndef LUGMARK_DAEMON_RESUME_H
#define LUGMARK_DAEMON_RESUME_H

#include "lugmark/err.h"
#include <stdint.h>

struct client;

#define RESUMES 8u /**< at once: each holds a copy of the register in memory */

/**
 * Begin to send events after place @p after of the session that is open, or of the last one.
 * @return LM_OK, also when there is nothing to catch up with; LM_EBUSY: too many do; LM_ENOMEM,
 *         LM_EIO.
 */
enum lm_err resume_begin(struct client *c, int64_t after);

/** Send the next piece. Ends by itself. */
void resume_step(struct client *c);

void resume_end(struct client *c);

#endif
