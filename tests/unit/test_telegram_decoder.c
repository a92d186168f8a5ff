/** Decoder `telegram`: published telegrams at any phase, cut and damaged. */
#include "sink_log.h"
#include "drivers/list.h"
#include "lugmark/telegram.h"

/** Vectors of facts that are checked on their own in test_telegram.c; here they are only carried.
 */
static const struct {
    const char *legend;
    uint8_t bytes[LM_FDXB_BYTES];
    const char *want;
} published[] = {
    {"a reader module's datasheet",
        {0x00, 0x2F, 0xB1, 0xEA, 0x2E, 0x12, 0xB7, 0x78, 0x80, 0x40, 0x6D, 0x7F, 0x08, 0x04, 0x02,
            0x01},
        "123112233445566"},
    {"an open trace",
        {0x00, 0x32, 0xD6, 0xDC, 0x04, 0x02, 0x07, 0x9F, 0x80, 0x40, 0x62, 0x53, 0xB8, 0x04, 0x02,
            0x01},
        "999000000112233"},
};

static const struct lm_setting fdxb[] = {{"coding", "fdx-b"}};
static const struct lm_setting hdx[] = {{"coding", "hdx"}};
static const struct lm_setting both[] = {{"coding", "both"}};
static const struct lm_setting lsb[] = {{"bit_order", "lsb"}};

static uint64_t code(uint64_t national)
{
    struct lm_eid eid;
    assert_int_equal(lm_eid_make(999, national, &eid), LM_OK);
    return eid.bits;
}

/** Put @p bits bits of @p in behind the first @p at bits of @p out, which is zero from there. */
static void place(uint8_t *out, size_t at, const uint8_t *in, size_t bits)
{
    for (size_t i = 0; i < bits; i++, at++) {
        if (in[i / 8] >> (7 - i % 8) & 1)
            out[at / 8] = (uint8_t) (out[at / 8] | 0x80u >> at % 8);
    }
}

static void expect(const char *legend, const struct lm_setting *setting, const uint8_t *bytes,
    size_t len, const char *want)
{
    struct sink_log log;
    for (size_t piece = 0; piece < 4; piece++) {
        sink_log_feed(&log, &lm_decoder_telegram, setting, setting != NULL, bytes, len, piece);
        if (strcmp(log.text, want) != 0)
            fail_msg("%s (pieces of %zu): want '%s', got '%s'", legend, piece, want, log.text);
    }
}

static void test_published(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < sizeof published / sizeof published[0]; i++) {
        expect(published[i].legend, NULL, published[i].bytes, LM_FDXB_BYTES, published[i].want);
        expect(published[i].legend, fdxb, published[i].bytes, LM_FDXB_BYTES, published[i].want);
        expect(published[i].legend, both, published[i].bytes, LM_FDXB_BYTES, published[i].want);
        expect(published[i].legend, hdx, published[i].bytes, LM_FDXB_BYTES, "");
    }
}

static void test_all_64_bits(void **unused)
{
    (void) unused;
    struct sink_log log;
    uint8_t bytes[LM_FDXB_BYTES];
    lm_fdxb_encode(UINT64_C(0xB123F9C000003039), 0x16A, bytes);
    sink_log_feed(&log, &lm_decoder_telegram, NULL, 0, bytes, sizeof bytes, 0);
    assert_int_equal(log.readings, 1);
    assert_int_equal(log.last.eid.known, LM_EID_FULL);
    assert_true(log.last.eid.bits == UINT64_C(0xB123F9C000003039));
    assert_int_equal(log.last.t_ms, LM_TIME_NONE);
}

/** A telegram begins at any bit, after noise. */
static void test_any_phase(void **unused)
{
    (void) unused;
    for (size_t phase = 0; phase < 32; phase++) {
        uint8_t bytes[64] = {0x5A, 0xC3, 0xFF, 0x99}, one[LM_FDXB_BYTES];
        lm_fdxb_encode(code(12345), 0, one);
        place(bytes, 32 + phase, one, LM_FDXB_BITS);
        lm_fdxb_encode(code(67890), 0, one);
        place(bytes, 32 + phase + LM_FDXB_BITS + phase % 3, one, LM_FDXB_BITS);
        expect("any phase", fdxb, bytes, sizeof bytes, "999000000012345 999000000067890");
    }
}

static void test_every_damaged_bit(void **unused)
{
    (void) unused;
    const size_t crc_end = 11 + 10 * 9; /* header, then the groups of code and CRC */
    uint8_t good[LM_FDXB_BYTES];
    lm_fdxb_encode(code(12345), 0, good);
    for (size_t bit = 0; bit < LM_FDXB_BITS; bit++) {
        uint8_t bytes[3 * LM_FDXB_BYTES] = {0};
        memset(bytes, 0xFF, LM_FDXB_BYTES);
        memcpy(bytes + LM_FDXB_BYTES, good, sizeof good);
        memset(bytes + 2 * LM_FDXB_BYTES, 0xFF, LM_FDXB_BYTES);
        bytes[LM_FDXB_BYTES + bit / 8] ^= (uint8_t) (0x80u >> bit % 8);
        struct sink_log log;
        sink_log_feed(&log, &lm_decoder_telegram, fdxb, 1, bytes, sizeof bytes, 0);
        bool control = bit >= 11 && (bit - 11) % 9 == 8;
        if (bit >= crc_end && !control)
            assert_string_equal(log.text, "999000000012345"); /* the trailer is not covered */
        else if (bit < 11 || control)
            assert_int_equal(log.readings, 0); /* a lost control bit can make a false header */
        else
            assert_string_equal(log.text, "!check");
    }
}

static void test_truncated(void **unused)
{
    (void) unused;
    uint8_t one[LM_FDXB_BYTES];
    lm_fdxb_encode(code(12345), 0, one);
    for (size_t cut = 0; cut < sizeof one; cut++) {
        expect("truncated", both, one, cut, "");
        /* The rest of it, after a reset, is no telegram; the next whole one is. */
        struct sink_log log;
        struct lm_sink sink = sink_log_sink(&log);
        void *state = lm_decoder_telegram.new_(fdxb, 1, NULL);
        assert_non_null(state);
        lm_decoder_telegram.feed(state, one, cut, &sink);
        lm_decoder_telegram.reset(state);
        lm_decoder_telegram.feed(state, one + cut, sizeof one - cut, &sink);
        assert_int_equal(log.readings, cut == 0);
        lm_decoder_telegram.feed(state, one, sizeof one, &sink);
        assert_int_equal(log.readings, cut == 0 ? 2 : 1);
        lm_decoder_telegram.free_(state);
    }
}

static void test_refused_by_value(void **unused)
{
    (void) unused;
    uint8_t zero[LM_FDXB_BYTES];
    lm_fdxb_encode(0, 0, zero);
    expect("the all-zero code", fdxb, zero, sizeof zero, "!range");
}

static void test_hdx(void **unused)
{
    (void) unused;
    uint8_t one[LM_HDX_BYTES];
    uint8_t stream[3 * LM_HDX_BYTES] = {0xFF};
    lm_hdx_encode(code(12345), 0, one);
    place(stream, 13, one, LM_HDX_BITS);
    expect("asked for", hdx, stream, sizeof stream, "999000000012345");
    expect("among others", both, stream, sizeof stream, "999000000012345");
    expect("not asked for", NULL, stream, sizeof stream, "");
    one[5] ^= 4;
    expect("damaged", hdx, one, sizeof one, "");
}

static void test_bit_order(void **unused)
{
    (void) unused;
    uint8_t one[LM_FDXB_BYTES], turned[LM_FDXB_BYTES] = {0};
    lm_fdxb_encode(code(12345), 0, one);
    for (size_t i = 0; i < sizeof one; i++) {
        for (unsigned b = 0; b < 8; b++)
            turned[i] = (uint8_t) (turned[i] | ((unsigned) one[i] >> b & 1u) << (7 - b));
    }
    expect("lsb", lsb, turned, sizeof turned, "999000000012345");
    expect("lsb read as msb", NULL, turned, sizeof turned, "");
}

static void test_garbage(void **unused)
{
    (void) unused;
    enum { GARBAGE = 1 << 20 };
    static uint8_t bytes[GARBAGE];
    uint64_t seed = 11785;
    struct sink_log log;
    for (size_t i = 0; i < GARBAGE; i++)
        bytes[i] = sink_log_random(&seed);
    sink_log_feed(&log, &lm_decoder_telegram, fdxb, 1, bytes, GARBAGE, 0);
    assert_int_equal(log.readings, 0);
    /* A telegram in the midst of it is found all the same. */
    lm_fdxb_encode(code(12345), 0, bytes + GARBAGE / 2 + 7);
    sink_log_feed(&log, &lm_decoder_telegram, fdxb, 1, bytes, GARBAGE, 1000);
    assert_string_equal(log.text, "999000000012345");
}

static void test_bad_settings(void **unused)
{
    (void) unused;
    static const struct lm_setting bad[] = {
        {"coding", "fdxb"}, {"coding", ""}, {"bit_order", "big"}, {"bit_order", ""}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct lm_problem problem = {0};
        assert_null(lm_decoder_telegram.new_(&bad[i], 1, &problem));
        assert_int_equal(problem.err, LM_EINPUT);
        assert_non_null(strstr(problem.what, bad[i].key));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published),
        cmocka_unit_test(test_all_64_bits),
        cmocka_unit_test(test_any_phase),
        cmocka_unit_test(test_every_damaged_bit),
        cmocka_unit_test(test_truncated),
        cmocka_unit_test(test_refused_by_value),
        cmocka_unit_test(test_hdx),
        cmocka_unit_test(test_bit_order),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
