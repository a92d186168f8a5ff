/** @file telegram.h
 * What travels through the air: ISO 11785 telegrams, FDX-B and HDX, both ways.
 *
 * FDX-B, 128 bits in the order sent: header 00000000001, then 13 groups of 8 data bits (least
 * significant first) each followed by a control bit 1: 8 groups code, 2 CRC, 3 trailer.
 * HDX, 112 bits: header 01111110, 64 code bits least significant first, 16 CRC bits, 24 trailer
 * bits, no control bits. The CRC (CRC-16/KERMIT) covers the 64 code bits only.
 * In buffers the first bit sent is the most significant bit of the first byte.
 */
#ifndef LUGMARK_TELEGRAM_H
#define LUGMARK_TELEGRAM_H

#include "lugmark/eid.h"

#define LM_FDXB_BITS 128u
#define LM_FDXB_BYTES 16u
#define LM_HDX_BITS 112u
#define LM_HDX_BYTES 14u

enum lm_coding { LM_CODING_FDXB, LM_CODING_HDX };

/** A telegram, decoded. */
struct lm_telegram {
    enum lm_coding coding;
    struct lm_eid eid; /**< all 64 bits */
    uint16_t crc;      /**< as received */
    uint32_t trailer;  /**< 24 bits, first sent = least significant; not covered by the CRC */
};

/** CRC-16/KERMIT (polynomial x16+x12+x5+1, reflected, initial value 0) over @p len bytes. */
uint16_t lm_crc16_kermit(const uint8_t *data, size_t len);

/** Encode an FDX-B telegram. @p trailer has 24 bits. */
void lm_fdxb_encode(uint64_t bits, uint32_t trailer, uint8_t out[LM_FDXB_BYTES]);

/**
 * Decode an FDX-B telegram whose header is at the front.
 * @return LM_OK; LM_EFRAME when header or a control bit is wrong; LM_ECHECK when the CRC is wrong;
 *         LM_ERANGE when country and national code are both zero: the all-zero code passes every
 *         check, and no animal has one.
 */
enum lm_err lm_fdxb_decode(const uint8_t in[LM_FDXB_BYTES], struct lm_telegram *out);

/** Encode an HDX telegram. @p trailer has 24 bits. */
void lm_hdx_encode(uint64_t bits, uint32_t trailer, uint8_t out[LM_HDX_BYTES]);

/** Decode an HDX telegram whose header is at the front. Returns as lm_fdxb_decode(). */
enum lm_err lm_hdx_decode(const uint8_t in[LM_HDX_BYTES], struct lm_telegram *out);

/**
 * A decoder for an endless stream of bits: any phase, garbage before and between, cut anywhere.
 * Holds the last 128 bits and looks for a whole telegram after each new one. Plain value: a copy
 * is a second decoder. Zero-initialise, then set `codings`.
 */
struct lm_bitstream {
    uint64_t hi, lo;    /**< the last 128 bits, newest = bit 0 of lo */
    uint32_t filled;    /**< bits seen since the last reset, saturating */
    unsigned codings;   /**< bit LM_CODING_FDXB and/or bit LM_CODING_HDX, as 1u << coding */
    uint64_t bad_check; /**< framed telegrams whose CRC was wrong */
    uint64_t bad_value; /**< telegrams refused by value: the all-zero code, impossible HDX */
};

/**
 * Feed one bit.
 * A framed FDX-B telegram with a wrong CRC is counted in `bad_check`. HDX has no control bits and
 * its header occurs inside 12 % of codes, so an HDX candidate that fails its CRC is not counted and
 * the hunt goes on; a passing one must also name a possible country.
 * @return true when @p out holds a telegram that this bit completed.
 */
bool lm_bitstream_push(struct lm_bitstream *s, unsigned bit, struct lm_telegram *out);

/** Callback of lm_bitstream_feed(). */
typedef void lm_telegram_fn(const struct lm_telegram *t, void *ctx);

/** Feed @p len bytes, first bit = most significant. Calls @p fn for each telegram found. */
void lm_bitstream_feed(
    struct lm_bitstream *s, const uint8_t *data, size_t len, lm_telegram_fn *fn, void *ctx);

#endif
