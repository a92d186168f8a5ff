/** @file eid.h
 * The electronic code of an animal: the 64 bits of ISO 11784.
 *
 * ISO bit 1 is the most significant bit of `bits`. What a reader prints, 15 decimal digits, is only
 * the country (10 bits) and the national code (38 bits); the rest is kept beside it and never
 * compared, because a replaced device keeps its 15 digits and gets a higher retagging counter.
 * Source: ISO 11784:1996 as restated in chip makers' public datasheets; bits 12-14 as of the 2024
 * edition (see fixtures/codes/README).
 */
#ifndef LUGMARK_EID_H
#define LUGMARK_EID_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "lugmark/err.h"

#define LM_NATIONAL_MAX UINT64_C(274877906943) /**< 2^38 - 1: no chip can hold more */
#define LM_COUNTRY_MAX 1023u
#define LM_COUNTRY_TEST 999u
#define LM_EID_TEXT_SIZE 24u               /**< "uid:" + 16 hex digits + NUL, with room */
#define LM_EID_KEY_UID (UINT64_C(1) << 63) /**< set in the key of a chip's UID, in no other */

/** How much of the 64 bits is known. */
enum lm_eid_known {
    LM_EID_NONE = 0, /**< no code at all */
    LM_EID_CODE = 1, /**< country and national code only, as from 15 printed digits */
    LM_EID_FULL = 2, /**< all 64 bits, as from a telegram */
    LM_EID_UID = 3   /**< no ISO 11784 code: `bits` is the UID of a 13.56 MHz chip as a number */
};

/** One electronic code. Plain value; zero-initialised means "none". */
struct lm_eid {
    uint64_t bits; /**< ISO bit 1 = bit 63. With LM_EID_CODE the upper 16 bits are 0x8000. */
    uint8_t known; /**< enum lm_eid_known */
};

/** The fields of ISO 11784, taken apart. */
struct lm_eid_fields {
    bool animal;          /**< ISO bit 1: used on an animal */
    uint8_t retag;        /**< ISO bits 2-4: retagging counter, 0-7 */
    uint8_t user;         /**< ISO bits 5-9: user information, 0-31, national use */
    uint8_t reserved;     /**< ISO bits 10-11, 0-3; kept raw, never a reason to refuse */
    uint8_t visual_start; /**< ISO bits 12-14: where the printed number starts, 1-7; 0 not said */
    bool rudi;            /**< ISO bit 15: user data inside, an ISO 14223 transponder */
    bool data_block;      /**< ISO bit 16: the trailer carries application data */
    uint16_t country;     /**< ISO bits 17-26: 0-1023 */
    uint64_t national;    /**< ISO bits 27-64: 0 to LM_NATIONAL_MAX */
};

/** What the ten country bits mean. Source: ISO 3166-1; ICAR for 900-998. */
enum lm_country_class {
    LM_COUNTRY_ISO,          /**< an assigned ISO 3166-1 numeric code, or 899 (see below) */
    LM_COUNTRY_UNASSIGNED,   /**< 1-899, not assigned today */
    LM_COUNTRY_MANUFACTURER, /**< 900-998: a maker's code, not a country */
    LM_COUNTRY_IS_TEST,      /**< 999 */
    LM_COUNTRY_INVALID       /**< 0 and 1000-1023 */
};

/**
 * Make a code from its two printed parts.
 * @return LM_OK, or LM_ERANGE when it fits in no chip, or both parts are 0, which is no code.
 */
enum lm_err lm_eid_make(unsigned country, uint64_t national, struct lm_eid *out);

/** Wrap 64 bits as read from a telegram (LM_EID_FULL). Pure. */
struct lm_eid lm_eid_from_bits(uint64_t bits);

/**
 * Take a code apart. With LM_EID_CODE, the fields that were not read come out as their defaults; a
 * UID has none of them, all are 0.
 */
struct lm_eid_fields lm_eid_unpack(struct lm_eid eid);

/** Put fields together (LM_EID_FULL). @return LM_OK, or LM_ERANGE naming no field: all are bounded.
 */
enum lm_err lm_eid_pack(const struct lm_eid_fields *f, struct lm_eid *out);

/**
 * Take the UID of a 13.56 MHz chip, which names the chip and says nothing of an animal.
 * @param[in] hex  @p len characters: two hex digits a byte, most significant byte first, either
 *                 case; one of : - and blank may stand between bytes.
 * @return LM_OK; LM_EFRAME: not hex digits in pairs; LM_ERANGE: not 4, 7 or 8 bytes, or a number
 *         that no chip has: zeros first, or 8 bytes that do not begin with E0 (ISO 14443-3 and
 *         ISO 15693; the ten bytes that ISO 14443-3 allows too are not used by any tag known here).
 */
enum lm_err lm_eid_from_uid(const char *hex, size_t len, struct lm_eid *out);

/** Bytes of a UID: 4, 7 or 8; 0 for a code that is none. */
unsigned lm_eid_uid_bytes(struct lm_eid e);

/** Whether it is a UID that the chip makes up anew each time (ISO 14443-3): it names nothing. */
static inline bool lm_eid_uid_is_random(struct lm_eid e)
{
    return e.known == LM_EID_UID && e.bits >> 24 == 0x08;
}

/**
 * The part of a code that names the animal: country and national code, 48 bits; or the chip's UID
 * with LM_EID_KEY_UID. 0 means none.
 */
static inline uint64_t lm_eid_key(struct lm_eid e)
{
    if (e.known == LM_EID_UID)
        return e.bits | LM_EID_KEY_UID;
    return e.bits & ((UINT64_C(1) << 48) - 1);
}

/** A code with this key: LM_EID_CODE or LM_EID_UID, or none for 0. */
struct lm_eid lm_eid_from_key(uint64_t key);

/** Retagging counter of a code, 0-7; 0 when it is not known. */
static inline unsigned lm_eid_retag(struct lm_eid e)
{
    return e.known == LM_EID_FULL ? (unsigned) (e.bits >> 60) & 7u : 0u;
}

/** Country or manufacturer number of a code, 0-1023. Means nothing for a UID. */
static inline unsigned lm_eid_country(struct lm_eid e)
{
    return (unsigned) (e.bits >> 38) & 1023u;
}

/** National code, 0 to LM_NATIONAL_MAX. Means nothing for a UID. */
static inline uint64_t lm_eid_national(struct lm_eid e)
{
    return e.bits & LM_NATIONAL_MAX;
}

/**
 * Write the 15 digits (16 for the countries 1000-1023), or `uid:` and the UID in upper-case hex; no
 * code gives "". @return @p out.
 */
char *lm_eid_format(struct lm_eid e, char out[LM_EID_TEXT_SIZE]);

/** Class of a country number 0-1023. */
enum lm_country_class lm_country_class(unsigned country);

/** English name of an assigned country, or a phrase for the other classes; never NULL. */
const char *lm_country_name(unsigned country);

/** Two-letter code of an assigned country, or NULL. */
const char *lm_country_alpha2(unsigned country);

/**
 * Numeric code of a two-letter country. Also takes UK, EL and XI, which animal-health law uses in
 * place of GB, GR and 899 (Regulation (EU) 2021/520 art. 12 for EL and XI).
 * @return 1-899, or 0 when there is none. Case is ignored.
 */
unsigned lm_country_numeric(const char alpha2[2]);

#endif
