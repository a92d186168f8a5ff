/** @file decode.h
 * Every text form in which people, readers and files write an electronic code.
 */
#ifndef LUGMARK_DECODE_H
#define LUGMARK_DECODE_H

#include "lugmark/telegram.h"

enum lm_code_form {
    LM_FORM_NONE = 0,
    LM_FORM_DIGITS15,  /**< 999000000012345 */
    LM_FORM_SPLIT,     /**< 3 + 12 with one of space - . _ between; the 12 may be grouped likewise;
                            4 + 12 for the invalid countries 1000-1023 and a leading zero */
    LM_FORM_ALPHA2,    /**< two-letter country (or USA) and up to 12 digits, grouped or not */
    LM_FORM_HEX64,     /**< 16 hex digits, most significant first; 0x may stand before */
    LM_FORM_FDXB_HEX,  /**< 32 hex digits: a raw telegram, any rotation */
    LM_FORM_FDXB_BITS, /**< 128 characters 0 and 1, any rotation */
    LM_FORM_HDX_HEX,   /**< 28 hex digits */
    LM_FORM_HDX_BITS,  /**< 112 characters 0 and 1 */
    LM_FORM_UID        /**< uid: and 4, 7 or 8 bytes in hex: the chip of a 13.56 MHz tag */
};

/** One code as it was written, and all it says. */
struct lm_decoded {
    enum lm_code_form form;
    struct lm_eid eid;
    bool has_telegram; /**< `telegram` and `rotation` are set */
    struct lm_telegram telegram;
    unsigned rotation; /**< bits by which a raw telegram had to be turned, 0-127 */
};

/**
 * Decode one code, all of @p text (blanks at both ends are ignored).
 * @param[in]  text  @p len bytes, need not be NUL-terminated; any bytes.
 * @param[out] out   Set on LM_OK; on LM_ERANGE `form` is set and, where 15 digits were there, the
 *                   digits can be shown from the text.
 * @param[out] p     What is wrong and how to mend it; may be NULL.
 * A chip's UID comes out as LM_EID_UID: it is no ISO 11784 code, and no device's `eid`.
 * @return LM_OK; LM_EFRAME: no known form; LM_ECHECK: a raw telegram with a wrong CRC or control
 *         bit; LM_ERANGE: 12 digits above 274877906943, country and number zero, or a UID
 *         that no chip has; LM_EDAMAGED:
 *         damaged by a spreadsheet (9.99E+14, 13-14 digits, decimals), 17 digits or more, or 16
 *         that as hex would be no animal's or of no country;
 *         LM_EAMBIGUOUS: 16 decimal digits that could be hex or a four-digit country.
 * Thread: any. Pure.
 */
enum lm_err lm_decode(const char *text, size_t len, struct lm_decoded *out, struct lm_problem *p);

/** Name of a form for people, such as "15 digits"; never NULL. */
const char *lm_code_form_name(enum lm_code_form form);

/**
 * Fast path of lm_decode() for exactly 15 digits.
 * @return LM_OK, LM_ERANGE, or LM_EFRAME when it is not exactly 15 digits.
 */
enum lm_err lm_decode_digits15(const char *text, size_t len, struct lm_eid *out);

#endif
