/** @file ndef.h
 * What the memory of a 13.56 MHz tag says: Type 2 tag -> NDEF message -> records -> a code.
 *
 * No published standard says how an ISO 11784 code is kept in NDEF; the following is this project's
 * own convention, and a code found so is what somebody wrote on a label, not a reading of a 134.2
 * kHz transponder:
 *   Text          the whole text is a code in any form that lm_decode() takes (with country letters
 *                 all 12 digits must follow, or "No 417" would be a code of Norway), or it holds 15
 *                 digits in a row with no letter or digit beside them;
 *   URI           the last segment of its path is a code (15 digits, 3 + 12, or the 64 bits in hex
 *                 of an animal's code), or such 15 digits stand anywhere in it; tel: and sms:
 * apart; external      a type that ends in `:iso11784`, of any domain: 8 bytes are the 64 bits,
 * most significant first; any other payload is taken as Text is; Smart Poster  the records inside
 * it, nested LM_NDEF_DEPTH deep. Formats: NFC Forum Type 2 Tag, NDEF, RTD Text, RTD URI and RTD
 * Smart Poster specifications, as restated in chip makers' public notes. Pure; every length is
 * checked; any bytes may come in.
 */
#ifndef LUGMARK_NDEF_H
#define LUGMARK_NDEF_H

#include "lugmark/eid.h"

#define LM_T2T_MAX                                                                                 \
    1024u                 /**< most bytes of a tag looked at: the 256 pages that one READ reaches  \
                           */
#define LM_T2T_HEAD 16u   /**< bytes before the data area: UID, lock bytes, capability container */
#define LM_NDEF_MAX 1024u /**< longest message taken, bytes */
#define LM_NDEF_DEPTH 3u  /**< Smart Posters inside one another */

/** What came of looking at a tag. */
enum lm_ndef {
    LM_NDEF_OK,        /**< well formed; from lm_*_code(): a code was found */
    LM_NDEF_NO_TAG,    /**< no capability container: not prepared for NDEF */
    LM_NDEF_NEWER,     /**< a version of the Type 2 mapping that is not known here */
    LM_NDEF_EMPTY,     /**< prepared, but nothing was written */
    LM_NDEF_CUT,       /**< more of the memory is needed to tell */
    LM_NDEF_BROKEN,    /**< lengths, flags or records against the rules */
    LM_NDEF_TOO_DEEP,  /**< Smart Posters nested deeper than LM_NDEF_DEPTH */
    LM_NDEF_NO_CODE,   /**< well formed, and nothing in it is a code */
    LM_NDEF_RANGE,     /**< digits that fit in no chip */
    LM_NDEF_TWO_CODES, /**< two different codes: which one is meant is not guessed */
    LM_NDEF_WHYS
};

/** For people, such as "the tag holds two different codes"; never NULL. */
const char *lm_ndef_say(enum lm_ndef why);

/** How the type of a record is meant (TNF). */
enum lm_ndef_tnf {
    LM_TNF_EMPTY,
    LM_TNF_WELL_KNOWN,
    LM_TNF_MIME,
    LM_TNF_URI,
    LM_TNF_EXTERNAL,
    LM_TNF_UNKNOWN,
    LM_TNF_UNCHANGED, /**< a later chunk; never handed out */
    LM_TNF_RESERVED
};

/** One record, chunks put together. Borrowed for the call. */
struct lm_ndef_record {
    enum lm_ndef_tnf tnf;
    const uint8_t *type;
    size_t type_len;
    const uint8_t *payload;
    size_t len;
    unsigned depth; /**< 0, or how many Smart Posters it is in */
};

/** Called for each record. Anything but LM_NDEF_OK stops the walk, which returns it. */
typedef enum lm_ndef lm_ndef_fn(const struct lm_ndef_record *rec, void *ctx);

/**
 * How many bytes of a tag can hold something, by its capability container.
 * @param[in] memory  The first @p len bytes of the tag.
 * @return 16 to LM_T2T_MAX, or 0 when the first 16 bytes are not there or no tag's.
 */
size_t lm_t2t_size(const uint8_t *memory, size_t len);

/**
 * Find the NDEF message in the memory of a Type 2 tag, read from page 0 on.
 * @param[out] out  The message, in one piece also when it runs around lock or reserved bytes.
 * @param[out] n    Its length, at most LM_NDEF_MAX; 0 on error.
 * @return LM_NDEF_OK, _NO_TAG, _NEWER, _EMPTY, _CUT or _BROKEN.
 */
enum lm_ndef lm_t2t_message(const uint8_t *memory, size_t len, uint8_t out[LM_NDEF_MAX], size_t *n);

/**
 * Walk over the records of a message; those in a Smart Poster are given instead of it.
 * What stands behind the last record is not looked at. @p fn may have been called already when the
 * message turns out to be broken further on.
 * @return LM_NDEF_OK, _EMPTY, _BROKEN, _TOO_DEEP, or what @p fn gave.
 */
enum lm_ndef lm_ndef_records(const uint8_t *message, size_t len, lm_ndef_fn *fn, void *ctx);

/**
 * Find the one code that a message holds.
 * @param[out] eid  Set on LM_NDEF_OK: LM_EID_CODE or LM_EID_FULL.
 */
enum lm_ndef lm_ndef_code(const uint8_t *message, size_t len, struct lm_eid *eid);

/** The same from the memory of a Type 2 tag. */
enum lm_ndef lm_t2t_code(const uint8_t *memory, size_t len, struct lm_eid *eid);

#endif
