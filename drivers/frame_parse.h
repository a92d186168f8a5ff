/** @file frame_parse.h
 * What the two halves of reading a description share: frame_spec.c and frame_field.c.
 */
#ifndef DRIVERS_FRAME_PARSE_H
#define DRIVERS_FRAME_PARSE_H

#include "frame.h"

#define FRAME_WORD_MAX 64u /**< longest word of a description, with its NUL */

/** Say what is wrong with a word of a key. @return LM_EINPUT. */
enum lm_err frame_bad(
    struct lm_problem *p, const char *key, const char *word, const char *mend, const char *why);

/**
 * Take the next word off a text: what stands up to a blank.
 * @param[in,out] text  Moved on.
 * @param[out]    word  Set to "" at the end of the text.
 * @return LM_OK, or LM_EINPUT for a word that is too long.
 */
enum lm_err frame_word(
    struct lm_problem *p, const char *key, const char **text, char word[FRAME_WORD_MAX]);

/** Bytes from hex digits, two each. @return How many, 0 when it is no hex or more than @p max. */
size_t frame_hex(const char *word, uint8_t *out, size_t max);

/** A whole number of at most @p max. @return false when it is none, or 0. */
bool frame_size(const char *word, size_t max, size_t *out);

/** Read one word of `fields`, such as national:10:hex:reversed. */
enum lm_err frame_field_read(
    struct lm_frame_field *field, const char *key, const char *word, struct lm_problem *p);

/** The kind of that name, or LM_FRAME_KINDS. */
enum lm_frame_kind frame_kind_named(const char *name);

#endif
