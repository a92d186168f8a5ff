/** @file telegram.c
 * What FDX-B and HDX have in common: 64 bits of code, 16 of CRC, 24 of trailer.
 */
#include "core/checksum.h"
#include "core/window.h"

struct lm_window lm_window_load(const uint8_t *in, size_t n)
{
    struct lm_window w = {0, 0};
    for (size_t i = 0; i < n; i++) {
        w.hi = w.hi << 8 | w.lo >> 56;
        w.lo = w.lo << 8 | in[i];
    }
    return w;
}

uint16_t lm_code_crc(uint64_t bits)
{
    uint8_t data[8];
    for (unsigned i = 0; i < 8; i++)
        data[i] = (uint8_t) (bits >> 8 * i);
    return lm_crc16_kermit(data, sizeof data);
}

enum lm_err lm_window_check(const struct lm_telegram *t)
{
    if (!lm_checksum_fits(lm_code_crc(t->eid.bits) == t->crc))
        return LM_ECHECK;
    /* A silent antenna reads as zeros, and zeros pass the CRC. */
    return lm_eid_key(t->eid) == 0 ? LM_ERANGE : LM_OK;
}
