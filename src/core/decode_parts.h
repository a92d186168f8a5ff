/** @file decode_parts.h
 * Private to the core: the pieces of lm_decode().
 */
#ifndef LUGMARK_CORE_DECODE_PARTS_H
#define LUGMARK_CORE_DECODE_PARTS_H

#include "core/ascii.h"
#include "lugmark/decode.h"

#define LM_COMPACT_MAX 128u /**< the longest form, 128 characters 0 and 1 */
#define LM_QUOTE_SIZE 52u

/** One text on its way through the decoder. */
struct lm_code_text {
    const char *text; /**< blanks at both ends are gone */
    size_t len;
    char quote[LM_QUOTE_SIZE];        /**< the text for messages: cleaned, and cut when long */
    char compact[LM_COMPACT_MAX + 1]; /**< without blanks and 0x, when what is left is all hex */
    size_t n_compact;                 /**< 0 when it is not all hex, or too long */
    bool prefixed;                    /**< 0x stood before */
    bool blanks;                      /**< blanks stood inside */
    bool decimal;                     /**< `compact` holds 0-9 only */
    struct lm_problem *p;
};

/** Forms of 16, 28, 32, 112 and 128 characters. LM_EAGAIN: none of these, try the others. */
enum lm_err lm_decode_raw(const struct lm_code_text *t, struct lm_decoded *out);

/** uid: and hex digits. LM_EAGAIN: no such thing. */
enum lm_err lm_decode_uid(const struct lm_code_text *t, struct lm_decoded *out);

/** Two letters (or USA) and up to 12 digits. LM_EAGAIN: no such thing. */
enum lm_err lm_decode_letters(const struct lm_code_text *t, struct lm_decoded *out);

/** Decimal digits in a row or in groups, and what a spreadsheet makes of them. LM_EAGAIN as above.
 */
enum lm_err lm_decode_decimal(const struct lm_code_text *t, struct lm_decoded *out);

/** Make the code from its two parts, or say why no chip can hold it. */
enum lm_err lm_decode_make(const struct lm_code_text *t, enum lm_code_form form, unsigned country,
    uint64_t national, struct lm_decoded *out);

/** Value of @p n decimal digits, at most 18. */
uint64_t lm_decimal(const char *digits, size_t n);

#endif
