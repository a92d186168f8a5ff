/* A verdict and a session's figures, as the daemon says them. */
#ifndef LUGMARK_CLI_VERDICT_H
#define LUGMARK_CLI_VERDICT_H

#include <jansson.h>
#include <stdio.h>

#include "lugmark/session.h"

/** Attention of a verdict; an unknown word is a hold: better one look too many. */
enum lm_attention lm_verdict_attention(const json_t *verdict);

/** "GO", "LOOK", "HOLD" in the tongue of the screens, A to Z only: there are big letters of them.
 */
const char *lm_attention_say(enum lm_attention attention);

/** Characters of the longest of the three. */
int lm_attention_columns(void);

/** One line without its end: time, lane, attention, who, why. */
void lm_verdict_line(FILE *out, const json_t *verdict);

/** One line without its end: "expected 213, seen 180, not yet seen 33, heads 180, hold 1". */
void lm_tally_line(FILE *out, const json_t *tally);

/** What a session is: "walk of mob does, session 3". */
void lm_session_line(FILE *out, const json_t *session);

#endif
