/* JSON on standard output, and reading the daemon's. */
#ifndef LUGMARK_CLI_OUT_JSON_H
#define LUGMARK_CLI_OUT_JSON_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

/** Write a value on one line and drop the reference; NULL (out of memory) writes nothing. */
void lm_json_line(FILE *out, json_t *value);

/** Text of a key, cleaned for a terminal and cut to fit; "" when there is none. @return @p out. */
const char *lm_json_text(const json_t *object, const char *key, char *out, size_t size);

/** Whole number of a key, or @p other. */
int64_t lm_json_int(const json_t *object, const char *key, int64_t other);

/** Truth of a key; false when there is none. */
bool lm_json_true(const json_t *object, const char *key);

/** First text of an array of texts at a key, cleaned; "" when there is none. @return @p out. */
const char *lm_json_first(const json_t *object, const char *key, char *out, size_t size);

/** A text value, or null for an empty text. New reference. */
json_t *lm_json_or_null(const char *text);

#endif
