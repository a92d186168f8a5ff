/** @file fdxb.c
 * FDX-B telegrams (ISO 11785), whole buffers.
 */
#include "core/window.h"

#define CODE_GROUPS 8u
#define CRC_GROUPS 2u
#define TRAILER_GROUPS 3u

/** Eight data bits, first sent = most significant. Bit 64 is control: no group straddles. */
static uint64_t group(struct lm_window w, unsigned g)
{
    return (g < 6 ? w.hi >> (45 - 9 * g) : w.lo >> (109 - 9 * g)) & 0xFF;
}

/** The data of @p n groups from @p g on; what was sent first is least significant. */
static uint64_t gather(struct lm_window w, unsigned g, unsigned n)
{
    uint64_t v = 0;
    for (unsigned i = 0; i < n; i++)
        v = v << 8 | group(w, g + i);
    return lm_reverse64(v) >> (64 - 8 * n);
}

enum lm_err lm_window_fdxb(struct lm_window w, struct lm_telegram *out)
{
    *out = (struct lm_telegram){
        .coding = LM_CODING_FDXB,
        .eid = lm_eid_from_bits(gather(w, 0, CODE_GROUPS)),
        .crc = (uint16_t) gather(w, CODE_GROUPS, CRC_GROUPS),
        .trailer = (uint32_t) gather(w, CODE_GROUPS + CRC_GROUPS, TRAILER_GROUPS),
    };
    return lm_window_check(out);
}

/** Push @p n groups of @p v behind what the window holds, each with its control bit. */
static void send(struct lm_window *w, uint64_t v, unsigned n)
{
    for (unsigned i = 0; i < n; i++) {
        uint64_t nine = lm_reverse64(v >> 8 * i & 0xFF) >> 55 | 1u;
        w->hi = w->hi << 9 | w->lo >> 55;
        w->lo = w->lo << 9 | nine;
    }
}

void lm_fdxb_encode(uint64_t bits, uint32_t trailer, uint8_t out[LM_FDXB_BYTES])
{
    struct lm_window w = {0, 1}; /* the header: ten zeros, a one, and 117 bits to come */
    send(&w, bits, CODE_GROUPS);
    send(&w, lm_code_crc(bits), CRC_GROUPS);
    send(&w, trailer, TRAILER_GROUPS);
    for (unsigned i = 0; i < 8; i++) {
        out[i] = (uint8_t) (w.hi >> (56 - 8 * i));
        out[8 + i] = (uint8_t) (w.lo >> (56 - 8 * i));
    }
}

enum lm_err lm_fdxb_decode(const uint8_t in[LM_FDXB_BYTES], struct lm_telegram *out)
{
    struct lm_window w = lm_window_load(in, LM_FDXB_BYTES);
    return lm_window_is_fdxb(w) ? lm_window_fdxb(w, out) : LM_EFRAME;
}
