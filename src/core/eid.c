/** @file eid.c
 * The 64 bits of ISO 11784, put together and taken apart.
 */
#include "lugmark/eid.h"

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
    if (eid.known != LM_EID_FULL)
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

char *lm_eid_format(struct lm_eid e, char out[LM_EID_TEXT_SIZE])
{
    if (e.known == LM_EID_NONE)
        out[0] = '\0';
    else
        snprintf(out, LM_EID_TEXT_SIZE, "%03u%012" PRIu64, lm_eid_country(e), lm_eid_national(e));
    return out;
}
