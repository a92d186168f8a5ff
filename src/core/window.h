/** @file window.h
 * Private to the core: a telegram held in 128 bits, first bit sent = top bit of `hi`.
 *
 * One place knows where header, groups and control bits lie; the whole-buffer functions and the bit
 * stream share it. HDX, 112 bits, is held at the low end: its first bit is bit 47 of `hi`.
 */
#ifndef LUGMARK_CORE_WINDOW_H
#define LUGMARK_CORE_WINDOW_H

#include "lugmark/telegram.h"

struct lm_window {
    uint64_t hi, lo;
};

/* Header 00000000001 and the control bits 1 at positions 19, 28, ... 127 of the bits sent. */
#define LM_AT(i) (UINT64_C(1) << (63 - (i) % 64))
#define LM_FDXB_HEADER_MASK UINT64_C(0xFFE0000000000000)
#define LM_FDXB_HEADER LM_AT(10)
#define LM_FDXB_CONTROL_HI (LM_AT(19) | LM_AT(28) | LM_AT(37) | LM_AT(46) | LM_AT(55))
#define LM_FDXB_CONTROL_LO                                                                         \
    (LM_AT(64) | LM_AT(73) | LM_AT(82) | LM_AT(91) | LM_AT(100) | LM_AT(109) | LM_AT(118) |        \
        LM_AT(127))

/** Whether header and all 13 control bits are right. Cheap: asked for every bit of a stream. */
static inline bool lm_window_is_fdxb(struct lm_window w)
{
    return (w.hi & (LM_FDXB_HEADER_MASK | LM_FDXB_CONTROL_HI)) ==
               (LM_FDXB_HEADER | LM_FDXB_CONTROL_HI) &&
           (w.lo & LM_FDXB_CONTROL_LO) == LM_FDXB_CONTROL_LO;
}

/** Whether the HDX start byte 01111110 stands 112 bits back. */
static inline bool lm_window_is_hdx(struct lm_window w)
{
    return (w.hi >> 40 & 0xFF) == 0x7E;
}

/** Turn left by @p n bits, 0-127. */
static inline struct lm_window lm_window_turn(struct lm_window w, unsigned n)
{
    if (n >= 64)
        w = (struct lm_window){w.lo, w.hi};
    n %= 64;
    if (n == 0)
        return w;
    return (struct lm_window){w.hi << n | w.lo >> (64 - n), w.lo << n | w.hi >> (64 - n)};
}

/** Take apart a window whose frame is right. Returns LM_OK, LM_ECHECK, LM_ERANGE. */
enum lm_err lm_window_fdxb(struct lm_window w, struct lm_telegram *out);
enum lm_err lm_window_hdx(struct lm_window w, struct lm_telegram *out);

/** Load @p n bytes (at most 16) so that the last bit is bit 0 of `lo`. */
struct lm_window lm_window_load(const uint8_t *in, size_t n);

/** Check CRC and value of what was taken apart. Returns LM_OK, LM_ECHECK, LM_ERANGE. */
enum lm_err lm_window_check(const struct lm_telegram *t);

/** CRC of a code: over its eight bytes in the order sent, which is least significant first. */
uint16_t lm_code_crc(uint64_t bits);

/** The same 64 bits in the other order: what is sent first is least significant. */
static inline uint64_t lm_reverse64(uint64_t v)
{
    v = (v & UINT64_C(0xAAAAAAAAAAAAAAAA)) >> 1 | (v & UINT64_C(0x5555555555555555)) << 1;
    v = (v & UINT64_C(0xCCCCCCCCCCCCCCCC)) >> 2 | (v & UINT64_C(0x3333333333333333)) << 2;
    v = (v & UINT64_C(0xF0F0F0F0F0F0F0F0)) >> 4 | (v & UINT64_C(0x0F0F0F0F0F0F0F0F)) << 4;
    return __builtin_bswap64(v);
}

#endif
