/** @file hdx.c
 * HDX telegrams (ISO 11785), whole buffers.
 */
#include "core/window.h"

#define START_BYTE 0x7E

enum lm_err lm_window_hdx(struct lm_window w, struct lm_telegram *out)
{
    /* 40 bits of code in `hi`, 24 in `lo`, then CRC and trailer; first sent = most significant. */
    uint64_t tail = lm_reverse64(w.lo) >> 24;
    *out = (struct lm_telegram){
        .coding = LM_CODING_HDX,
        .eid = lm_eid_from_bits(lm_reverse64(w.hi << 24 | w.lo >> 40)),
        .crc = (uint16_t) tail,
        .trailer = (uint32_t) (tail >> 16),
    };
    return lm_window_check(out);
}

/** Write the low @p n bytes of @p v, each with its least significant bit first. */
static uint8_t *send(uint8_t *out, uint64_t v, unsigned n)
{
    for (unsigned i = 0; i < n; i++)
        *out++ = (uint8_t) (lm_reverse64(v >> 8 * i & 0xFF) >> 56);
    return out;
}

void lm_hdx_encode(uint64_t bits, uint32_t trailer, uint8_t out[LM_HDX_BYTES])
{
    out[0] = START_BYTE;
    send(send(send(out + 1, bits, 8), lm_code_crc(bits), 2), trailer, 3);
}

enum lm_err lm_hdx_decode(const uint8_t in[LM_HDX_BYTES], struct lm_telegram *out)
{
    struct lm_window w = lm_window_load(in, LM_HDX_BYTES);
    return lm_window_is_hdx(w) ? lm_window_hdx(w, out) : LM_EFRAME;
}
