/** @file test_telegram.c
 * Whole telegrams, FDX-B and HDX, in both directions.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "lugmark/telegram.h"

#define CODE UINT64_C(0x9327E13FFFF0F31D) /**< no field reads the same in both directions */
#define TRAILER 0x123456u

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static void flip(uint8_t *bytes, unsigned bit)
{
    bytes[bit / 8] = (uint8_t) (bytes[bit / 8] ^ 0x80u >> bit % 8);
}

static void crc_of_the_catalogue(void **state)
{
    (void) state;
    assert_int_equal(lm_crc16_kermit((const uint8_t *) "123456789", 9), 0x2189);
    assert_int_equal(lm_crc16_kermit((const uint8_t *) "", 0), 0);
    uint8_t zeros[8] = {0};
    assert_int_equal(lm_crc16_kermit(zeros, 8), 0);
}

/** The serial shift register that chips use gives the same as the table. */
static void crc_as_the_chips_do_it(void **state)
{
    (void) state;
    uint64_t seed = 42;
    for (int i = 0; i < 2000; i++) {
        uint64_t v = next(&seed);
        uint8_t bytes[8];
        memcpy(bytes, &v, 8);
        unsigned reg = 0;
        for (unsigned b = 0; b < 64; b++) {
            unsigned in = ((unsigned) bytes[b / 8] >> b % 8 ^ reg) & 1u;
            reg = reg >> 1 ^ (in != 0 ? 0x8408u : 0u);
        }
        assert_int_equal(lm_crc16_kermit(bytes, 8), reg);
    }
}

static void both_codings_round_trip(void **state)
{
    (void) state;
    uint64_t seed = 7;
    for (int i = 0; i < 20000; i++) {
        uint64_t code = next(&seed) | 1; /* never the zero code */
        uint32_t trailer = (uint32_t) next(&seed) & 0xFFFFFFu;
        uint8_t fdxb[LM_FDXB_BYTES], hdx[LM_HDX_BYTES];
        struct lm_telegram a, b;
        lm_fdxb_encode(code, trailer, fdxb);
        lm_hdx_encode(code, trailer, hdx);
        assert_int_equal(lm_fdxb_decode(fdxb, &a), LM_OK);
        assert_int_equal(lm_hdx_decode(hdx, &b), LM_OK);
        assert_true(a.eid.bits == code && b.eid.bits == code);
        assert_true(a.trailer == trailer && b.trailer == trailer);
        assert_int_equal(a.crc, b.crc);
        assert_int_equal(a.eid.known, LM_EID_FULL);
        assert_int_equal(a.coding, LM_CODING_FDXB);
        assert_int_equal(b.coding, LM_CODING_HDX);
    }
}

/** What each bit sent belongs to, and so what its flip must do. */
static void every_flipped_fdxb_bit(void **state)
{
    (void) state;
    for (unsigned bit = 0; bit < LM_FDXB_BITS; bit++) {
        uint8_t t[LM_FDXB_BYTES];
        struct lm_telegram out;
        lm_fdxb_encode(CODE, TRAILER, t);
        flip(t, bit);
        bool frame = bit < 11 || (bit - 11) % 9 == 8;
        bool trailer = bit > 100;
        enum lm_err want = frame ? LM_EFRAME : trailer ? LM_OK : LM_ECHECK;
        assert_int_equal(lm_fdxb_decode(t, &out), want);
        if (want == LM_OK) {
            assert_true(out.eid.bits == CODE);
            uint32_t changed = out.trailer ^ TRAILER;
            assert_true(changed != 0 && (changed & (changed - 1)) == 0);
        }
    }
}

static void every_flipped_hdx_bit(void **state)
{
    (void) state;
    for (unsigned bit = 0; bit < LM_HDX_BITS; bit++) {
        uint8_t t[LM_HDX_BYTES];
        struct lm_telegram out;
        lm_hdx_encode(CODE, TRAILER, t);
        flip(t, bit);
        enum lm_err want = bit < 8 ? LM_EFRAME : bit < 88 ? LM_ECHECK : LM_OK;
        assert_int_equal(lm_hdx_decode(t, &out), want);
    }
}

static void nobody_is_refused_by_value(void **state)
{
    (void) state;
    static const struct {
        uint64_t code;
        enum lm_err want;
    } cases[] = {
        {0, LM_ERANGE},
        {UINT64_C(0x8000000000000000), LM_ERANGE}, /* only the animal flag */
        {UINT64_C(0xFFFF000000000000), LM_ERANGE},
        {1, LM_OK},
        {UINT64_C(1) << 47, LM_OK},
        {UINT64_MAX, LM_OK},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint8_t fdxb[LM_FDXB_BYTES], hdx[LM_HDX_BYTES];
        struct lm_telegram out;
        lm_fdxb_encode(cases[i].code, 0, fdxb);
        lm_hdx_encode(cases[i].code, 0, hdx);
        assert_int_equal(lm_fdxb_decode(fdxb, &out), cases[i].want);
        assert_int_equal(lm_hdx_decode(hdx, &out), cases[i].want);
    }
}

static void only_24_bits_of_trailer_are_sent(void **state)
{
    (void) state;
    uint8_t a[LM_FDXB_BYTES], b[LM_FDXB_BYTES];
    lm_fdxb_encode(CODE, 0xFF123456u, a);
    lm_fdxb_encode(CODE, 0x00123456u, b);
    assert_memory_equal(a, b, sizeof a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(crc_of_the_catalogue),
        cmocka_unit_test(crc_as_the_chips_do_it),
        cmocka_unit_test(both_codings_round_trip),
        cmocka_unit_test(every_flipped_fdxb_bit),
        cmocka_unit_test(every_flipped_hdx_bit),
        cmocka_unit_test(nobody_is_refused_by_value),
        cmocka_unit_test(only_24_bits_of_trailer_are_sent),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
