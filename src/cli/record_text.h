/* Animals and devices as text for people. */
#ifndef LUGMARK_CLI_RECORD_TEXT_H
#define LUGMARK_CLI_RECORD_TEXT_H

#include <stdio.h>

#include "lugmark/record.h"

/** One line: key, what it is, mob, status, what it wears. */
void lm_record_line(FILE *out, const struct lm_record *rec);

/** All there is, several lines. */
void lm_record_block(FILE *out, const struct lm_record *rec);

/** One device in words: "yellow flag tag, left ear, 0417, 999000000012345". @return @p out. */
char *lm_device_words(const struct lm_device *device, char *out, size_t size);

#endif
