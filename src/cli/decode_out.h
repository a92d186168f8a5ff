/* One decoded code as a block, a line or JSON. */
#ifndef LUGMARK_CLI_DECODE_OUT_H
#define LUGMARK_CLI_DECODE_OUT_H

#include <stdio.h>

#include "lugmark/decode.h"

enum lm_decode_style { LM_DECODE_BLOCK, LM_DECODE_LINE, LM_DECODE_JSON };

/**
 * Decode a text and write what it says. In block style, what is wrong with a text that is no code
 * goes to standard error; in the others it is part of the output, so that every code has its line.
 * @return LM_EXIT_OK, LM_EXIT_FLAGGED or LM_EXIT_INPUT.
 */
int lm_decode_out(FILE *out, const char *text, size_t len, enum lm_decode_style style);

#endif
