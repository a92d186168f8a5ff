/** @file session_plain.h
 * Animals of whom there is nothing to say, counted without being held.
 */
#ifndef LM_RACE_SESSION_PLAIN_H
#define LM_RACE_SESSION_PLAIN_H

#include "lugmark/session.h"

/**
 * Count @p n animals into an open session: each was expected and went by once, with one reading,
 * and the roll does not hold them. To be used when the register will not change any more.
 */
void lm_session_went_by(struct lm_session *session, uint32_t n);

#endif
