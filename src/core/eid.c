/** @file eid.c
 * The 64 bits of ISO 11784, put together and taken apart.
 */
#include "lugmark/eid.h"

#include "core/ascii.h"

#include <inttypes.h>
#include <stdio.h>

/* ISO bit n is bit 64 - n here; a field is named by the shift of its last ISO bit. */
#define SHIFT_ANIMAL 63
#define SHIFT_RETAG 60
#define SHIFT_USER 55
#define SHIFT_RESERVED 53
#define SHIFT_VISUAL 50
#define SHIFT_RUDI 49
#define SHIFT_DATA 48
#define SHIFT_COUNTRY 38

#define PRINTED_UPPER                                                                              \
    (UINT64_C(0x8000) << 48) /**< what 15 digits leave unsaid: an animal's code                    \
                              */
#define KEY_MASK ((UINT64_C(1) << 48) - 1)

enum lm_err lm_eid_make(unsigned country, uint64_t national, struct lm_eid *out)
{
    if (country > LM_COUNTRY_MAX || national > LM_NATIONAL_MAX)
        return LM_ERANGE;
    if (country == 0 && national == 0)
        return LM_ERANGE;
    out->bits = PRINTED_UPPER | (uint64_t) country << SHIFT_COUNTRY | national;
    out->known = LM_EID_CODE;
    return LM_OK;
}

struct lm_eid lm_eid_from_bits(uint64_t bits)
{
    return (struct lm_eid){.bits = bits, .known = LM_EID_FULL};
}

struct lm_eid_fields lm_eid_unpack(struct lm_eid eid)
{
    uint64_t b = eid.bits;
    if (eid.known == LM_EID_UID)
        b = 0;
    else if (eid.known != LM_EID_FULL)
        b = (b & KEY_MASK) | (eid.known == LM_EID_CODE ? PRINTED_UPPER : 0);
    return (struct lm_eid_fields){
        .animal = (b >> SHIFT_ANIMAL & 1) != 0,
        .retag = (uint8_t) (b >> SHIFT_RETAG & 7),
        .user = (uint8_t) (b >> SHIFT_USER & 31),
        .reserved = (uint8_t) (b >> SHIFT_RESERVED & 3),
        .visual_start = (uint8_t) (b >> SHIFT_VISUAL & 7),
        .rudi = (b >> SHIFT_RUDI & 1) != 0,
        .data_block = (b >> SHIFT_DATA & 1) != 0,
        .country = (uint16_t) (b >> SHIFT_COUNTRY & LM_COUNTRY_MAX),
        .national = b & LM_NATIONAL_MAX,
    };
}

enum lm_err lm_eid_pack(const struct lm_eid_fields *f, struct lm_eid *out)
{
    if (f->retag > 7 || f->user > 31 || f->reserved > 3 || f->visual_start > 7 ||
        f->country > LM_COUNTRY_MAX || f->national > LM_NATIONAL_MAX)
        return LM_ERANGE;
    *out = lm_eid_from_bits(
        (uint64_t) f->animal << SHIFT_ANIMAL | (uint64_t) f->retag << SHIFT_RETAG |
        (uint64_t) f->user << SHIFT_USER | (uint64_t) f->reserved << SHIFT_RESERVED |
        (uint64_t) f->visual_start << SHIFT_VISUAL | (uint64_t) f->rudi << SHIFT_RUDI |
        (uint64_t) f->data_block << SHIFT_DATA | (uint64_t) f->country << SHIFT_COUNTRY |
        f->national);
    return LM_OK;
}

/* --- UIDs --- */

#define UID_LONG_FIRST 0xE0u /**< first byte of every 8-byte UID, ISO 15693 */

static unsigned hex_value(char c)
{
    return lm_is_digit(c) ? (unsigned) (c - '0') : (unsigned) (lm_upper(c) - 'A') + 10u;
}

static bool may_stand_between(char c)
{
    return c == ':' || c == '-' || c == ' ';
}

enum lm_err lm_eid_from_uid(const char *hex, size_t len, struct lm_eid *out)
{
    uint64_t bits = 0;
    unsigned bytes = 0, first = 0;
    for (size_t i = 0; i < len; i += 2) {
        if (bytes > 0 && may_stand_between(hex[i]))
            i++;
        if (len - i < 2 || !lm_is_hex(hex[i]) || !lm_is_hex(hex[i + 1]))
            return LM_EFRAME;
        unsigned byte = hex_value(hex[i]) << 4 | hex_value(hex[i + 1]);
        if (bytes == 0)
            first = byte;
        if (++bytes > 8)
            return LM_ERANGE;
        bits = bits << 8 | byte;
    }
    if (bits == 0 || (bytes != 4 && bytes != 7 && bytes != 8))
        return LM_ERANGE;
    /* So that the number alone says how many bytes it has: no maker has the number 0. */
    if ((bytes == 7 && first == 0) || (bytes == 8 && first != UID_LONG_FIRST))
        return LM_ERANGE;
    *out = (struct lm_eid){.bits = bits, .known = LM_EID_UID};
    return LM_OK;
}

unsigned lm_eid_uid_bytes(struct lm_eid e)
{
    if (e.known != LM_EID_UID)
        return 0;
    if (e.bits >> 32 == 0)
        return 4;
    return e.bits >> 56 == 0 ? 7 : 8;
}

struct lm_eid lm_eid_from_key(uint64_t key)
{
    if (key == 0)
        return (struct lm_eid){0, LM_EID_NONE};
    if ((key & LM_EID_KEY_UID) == 0)
        return (struct lm_eid){PRINTED_UPPER | (key & KEY_MASK), LM_EID_CODE};
    /* The first byte of a long UID has that bit by itself. */
    bool is_long = key >> 56 == UID_LONG_FIRST;
    return (struct lm_eid){is_long ? key : key & ~LM_EID_KEY_UID, LM_EID_UID};
}

char *lm_eid_format(struct lm_eid e, char out[LM_EID_TEXT_SIZE])
{
    if (e.known == LM_EID_NONE)
        out[0] = '\0';
    else if (e.known == LM_EID_UID)
        snprintf(out, LM_EID_TEXT_SIZE, "uid:%0*" PRIX64, 2 * (int) lm_eid_uid_bytes(e), e.bits);
    else
        snprintf(out, LM_EID_TEXT_SIZE, "%03u%012" PRIu64, lm_eid_country(e), lm_eid_national(e));
    return out;
}
