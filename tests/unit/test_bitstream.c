/** @file test_bitstream.c
 * Telegrams out of a stream of bits: any phase, any garbage, any cut.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "lugmark/telegram.h"

#define FDXB (1u << LM_CODING_FDXB)
#define HDX (1u << LM_CODING_HDX)
#define CODE UINT64_C(0x8000F9C00001B669)
#define OTHER UINT64_C(0x9327E13FFFF0F31D)
#define TRAILER 0x123456u

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

/** A stream under construction, one bit a byte, and what was found in it. */
struct tape {
    uint8_t bits[4096];
    size_t n;
};

struct catch
{
    struct lm_telegram found[64];
    size_t n;
};

static void put_bits(struct tape *t, const uint8_t *bytes, size_t n_bits)
{
    for (size_t i = 0; i < n_bits; i++)
        t->bits[t->n++] = bytes[i / 8] >> (7 - i % 8) & 1;
}

static void put_fdxb(struct tape *t, uint64_t code)
{
    uint8_t bytes[LM_FDXB_BYTES];
    lm_fdxb_encode(code, TRAILER, bytes);
    put_bits(t, bytes, LM_FDXB_BITS);
}

static void put_hdx(struct tape *t, uint64_t code)
{
    uint8_t bytes[LM_HDX_BYTES];
    lm_hdx_encode(code, TRAILER, bytes);
    put_bits(t, bytes, LM_HDX_BITS);
}

static void put_noise(struct tape *t, size_t n, uint64_t *seed)
{
    for (size_t i = 0; i < n; i++)
        t->bits[t->n++] = next(seed) >> 40 & 1;
}

static void on_telegram(const struct lm_telegram *t, void *ctx)
{
    struct catch *c = ctx;
    assert_true(c->n < sizeof c->found / sizeof c->found[0]);
    c->found[c->n++] = *t;
}

static struct lm_bitstream push_all(const struct tape *t, unsigned codings, struct catch *c)
{
    struct lm_bitstream s = {.codings = codings};
    struct lm_telegram out;
    c->n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (lm_bitstream_push(&s, t->bits[i], &out))
            on_telegram(&out, c);
    return s;
}

/** The same tape in bytes, from its start on; the last bits that fill no byte are pushed singly. */
static struct lm_bitstream feed_all(const struct tape *t, unsigned codings, struct catch *c)
{
    struct lm_bitstream s = {.codings = codings};
    struct lm_telegram out;
    uint8_t bytes[sizeof t->bits / 8] = {0};
    size_t whole = t->n / 8;
    c->n = 0;
    for (size_t i = 0; i < whole * 8; i++)
        bytes[i / 8] = (uint8_t) (bytes[i / 8] | t->bits[i] << (7 - i % 8));
    size_t cut = whole / 3;
    lm_bitstream_feed(&s, bytes, cut, on_telegram, c);
    lm_bitstream_feed(&s, bytes + cut, whole - cut, on_telegram, c);
    for (size_t i = whole * 8; i < t->n; i++)
        if (lm_bitstream_push(&s, t->bits[i], &out))
            on_telegram(&out, c);
    return s;
}

static void assert_same(const struct catch *a, const struct catch *b)
{
    assert_int_equal(a->n, b->n);
    for (size_t i = 0; i < a->n; i++) {
        assert_true(a->found[i].eid.bits == b->found[i].eid.bits);
        assert_int_equal(a->found[i].coding, b->found[i].coding);
        assert_true(a->found[i].trailer == b->found[i].trailer);
        assert_int_equal(a->found[i].crc, b->found[i].crc);
    }
}

static void any_phase_behind_garbage(void **state)
{
    (void) state;
    uint64_t seed = 99;
    for (size_t garbage = 0; garbage < 300; garbage++) {
        struct tape t = {.n = 0};
        struct catch pushed, fed;
        put_noise(&t, garbage, &seed);
        put_fdxb(&t, CODE);
        put_noise(&t, garbage % 17, &seed);
        put_hdx(&t, OTHER);
        put_noise(&t, garbage % 5, &seed);
        push_all(&t, FDXB | HDX, &pushed);
        feed_all(&t, FDXB | HDX, &fed);
        assert_same(&pushed, &fed);
        assert_int_equal(pushed.n, 2);
        assert_true(pushed.found[0].eid.bits == CODE);
        assert_int_equal(pushed.found[0].coding, LM_CODING_FDXB);
        assert_true(pushed.found[1].eid.bits == OTHER);
        assert_int_equal(pushed.found[1].coding, LM_CODING_HDX);
        assert_int_equal(pushed.found[1].trailer, TRAILER);
    }
}

static void only_the_codings_asked_for(void **state)
{
    (void) state;
    static const unsigned codings[] = {0, FDXB, HDX, FDXB | HDX};
    struct tape t = {.n = 0};
    put_fdxb(&t, CODE);
    put_hdx(&t, OTHER);
    for (size_t i = 0; i < 4; i++) {
        struct catch c;
        push_all(&t, codings[i], &c);
        assert_int_equal(c.n, ((codings[i] & FDXB) != 0) + ((codings[i] & HDX) != 0));
    }
}

/** A telegram is found with its last bit and not before; one whose start was cut off never is. */
static void cut_at_every_bit(void **state)
{
    (void) state;
    for (size_t cut = 0; cut <= LM_FDXB_BITS; cut++) {
        struct tape whole = {.n = 0}, head = {.n = 0}, tail = {.n = 0};
        struct catch c;
        put_fdxb(&whole, CODE);
        memcpy(head.bits, whole.bits, head.n = cut);
        memcpy(tail.bits, whole.bits + cut, tail.n = LM_FDXB_BITS - cut);
        push_all(&head, FDXB | HDX, &c);
        assert_int_equal(c.n, cut == LM_FDXB_BITS ? 1 : 0);
        push_all(&tail, FDXB | HDX, &c);
        assert_int_equal(c.n, cut == 0 ? 1 : 0);
        put_fdxb(&tail, OTHER); /* half a telegram, then a whole one */
        push_all(&tail, FDXB | HDX, &c);
        assert_int_equal(c.n, cut == 0 ? 2 : 1);
        assert_true(c.found[c.n - 1].eid.bits == OTHER);
    }
}

static void back_to_back(void **state)
{
    (void) state;
    struct tape t = {.n = 0};
    struct catch pushed, fed;
    static const uint64_t codes[] = {CODE, OTHER, OTHER, CODE};
    for (size_t i = 0; i < 4; i++)
        put_fdxb(&t, codes[i]);
    for (size_t i = 0; i < 4; i++)
        put_hdx(&t, codes[i]);
    struct lm_bitstream s = push_all(&t, FDXB | HDX, &pushed);
    feed_all(&t, FDXB | HDX, &fed);
    assert_same(&pushed, &fed);
    assert_int_equal(pushed.n, 8);
    for (size_t i = 0; i < 8; i++)
        assert_true(pushed.found[i].eid.bits == codes[i % 4]);
    assert_int_equal(s.bad_check + s.bad_value, 0);
}

static void one_flipped_bit_anywhere(void **state)
{
    (void) state;
    for (size_t bit = 0; bit < LM_FDXB_BITS; bit++) {
        struct tape t = {.n = 0};
        struct catch c;
        put_fdxb(&t, CODE);
        t.bits[bit] ^= 1;
        struct lm_bitstream s = push_all(&t, FDXB, &c);
        bool frame = bit < 11 || (bit - 11) % 9 == 8;
        bool trailer = bit > 100 && !frame;
        assert_int_equal(c.n, trailer ? 1 : 0);
        assert_int_equal(s.bad_check, frame || trailer ? 0 : 1);
        put_fdxb(&t, OTHER); /* and the next one is read all the same */
        push_all(&t, FDXB, &c);
        assert_int_equal(c.n, trailer ? 2 : 1);
    }
    for (size_t bit = 0; bit < 88; bit++) {
        struct tape t = {.n = 0};
        struct catch c;
        put_hdx(&t, CODE);
        t.bits[bit] ^= 1;
        struct lm_bitstream s = push_all(&t, HDX, &c);
        assert_int_equal(c.n, 0);
        assert_int_equal(s.bad_check, 0); /* not framed by anything but 8 bits: not counted */
    }
}

static void refused_by_value_and_counted(void **state)
{
    (void) state;
    struct tape t = {.n = 0};
    struct catch c;
    put_fdxb(&t, UINT64_C(0x8000000000000000));
    put_fdxb(&t, CODE);
    put_hdx(&t, 0);
    put_hdx(&t, UINT64_C(0x8000FF80000148B2)); /* country 1022: too likely a chance hit in HDX */
    put_hdx(&t, OTHER);
    put_fdxb(&t, UINT64_C(0x8000FF80000148B2)); /* the same in FDX-B is read */
    struct lm_bitstream s = push_all(&t, FDXB | HDX, &c);
    assert_int_equal(c.n, 3);
    assert_true(c.found[0].eid.bits == CODE && c.found[1].eid.bits == OTHER);
    assert_int_equal(s.bad_value, 3);
}

/** Ten quiet bits before the first ones must not pass for the header's zeros. */
static void the_empty_register_is_no_data(void **state)
{
    (void) state;
    struct tape whole = {.n = 0}, t = {.n = 0};
    struct catch c;
    put_fdxb(&whole, CODE);
    memcpy(t.bits, whole.bits + 10, t.n = LM_FDXB_BITS - 10);
    push_all(&t, FDXB, &c);
    assert_int_equal(c.n, 0);
}

static void the_empty_register_is_no_hdx(void **state)
{
    (void) state;
    struct tape whole = {.n = 0}, t = {.n = 0};
    struct catch c;
    put_hdx(&whole, CODE);
    memcpy(t.bits, whole.bits + 1, t.n = LM_HDX_BITS - 1);
    push_all(&t, HDX, &c);
    assert_int_equal(c.n, 0);
}

/** A trailer that ends like an HDX start: what follows must not be read on top of it. */
static void bits_of_a_telegram_are_spent(void **state)
{
    (void) state;
    struct tape hdx = {.n = 0}, t = {.n = 0};
    struct catch c;
    uint8_t bytes[LM_FDXB_BYTES];
    lm_fdxb_encode(CODE, 0x7E0000, bytes);
    put_bits(&t, bytes, LM_FDXB_BITS);
    put_hdx(&hdx, OTHER); /* its first code bit is a 1, as the last control bit */
    for (size_t i = 0; i < 9; i++)
        assert_int_equal(t.bits[LM_FDXB_BITS - 9 + i], hdx.bits[i]);
    memcpy(t.bits + t.n, hdx.bits + 9, LM_HDX_BITS - 9);
    t.n += LM_HDX_BITS - 9;
    push_all(&t, FDXB | HDX, &c);
    assert_int_equal(c.n, 1);
    push_all(&t, HDX, &c); /* whoever does not know FDX-B may read it so */
    assert_int_equal(c.n, 1);
    assert_true(c.found[0].eid.bits == OTHER);
}

static void inverted_gives_nothing(void **state)
{
    (void) state;
    uint64_t seed = 4711;
    for (int i = 0; i < 5000; i++) {
        struct tape t = {.n = 0};
        struct catch c;
        uint64_t code = next(&seed);
        for (int k = 0; k < 3; k++)
            put_fdxb(&t, code);
        for (size_t b = 0; b < t.n; b++)
            t.bits[b] ^= 1;
        push_all(&t, FDXB, &c);
        assert_int_equal(c.n, 0);
    }
}

/** 12 % of codes hold an HDX start byte: each must be read, once, as itself. */
static void random_codes_in_streams(void **state)
{
    (void) state;
    uint64_t seed = 31337;
    for (int i = 0; i < 20000; i++) {
        struct tape t = {.n = 0};
        struct catch pushed, fed;
        uint64_t code = next(&seed);
        code = (code & ~(UINT64_C(1023) << 38)) | (1 + code % 999) << 38;
        put_noise(&t, next(&seed) % 64, &seed);
        if (i % 2 == 0)
            put_fdxb(&t, code);
        else
            put_hdx(&t, code);
        push_all(&t, i % 2 == 0 ? FDXB : HDX, &pushed);
        feed_all(&t, i % 2 == 0 ? FDXB : HDX, &fed);
        assert_same(&pushed, &fed);
        assert_int_equal(pushed.n, 1);
        assert_true(pushed.found[0].eid.bits == code);
    }
}

static void noise_gives_no_reading(void **state)
{
    (void) state;
    uint64_t seed = 20261102;
    struct lm_bitstream s = {.codings = FDXB};
    struct catch c = {.n = 0};
    for (size_t i = 0; i < 1000000 / 64; i++) {
        uint8_t bytes[8];
        uint64_t v = next(&seed);
        memcpy(bytes, &v, 8);
        lm_bitstream_feed(&s, bytes, sizeof bytes, on_telegram, &c);
    }
    assert_int_equal(c.n, 0);
}

/** feed() may take any short cut, but it must end in the state that single bits end in. */
static void feed_is_push(void **state)
{
    (void) state;
    uint64_t seed = 5;
    for (int i = 0; i < 3000; i++) {
        struct tape t = {.n = 0};
        struct catch pushed, fed;
        unsigned codings = i % 3 == 0 ? FDXB : i % 3 == 1 ? HDX : FDXB | HDX;
        while (t.n < 1500) {
            uint64_t v = next(&seed);
            switch (v >> 20 & 3) {
            case 0:
                put_noise(&t, v >> 30 & 127, &seed);
                break;
            case 1:
                put_fdxb(&t, (v >> 40 & 3) == 0 ? 0 : v);
                break;
            default:
                put_hdx(&t, (v >> 40 & 3) == 0 ? 0 : v);
                break;
            }
            if ((v >> 50 & 3) == 0 && t.n > 0)
                t.bits[v % t.n] ^= 1;
        }
        struct lm_bitstream a = push_all(&t, codings, &pushed);
        struct lm_bitstream b = feed_all(&t, codings, &fed);
        assert_same(&pushed, &fed);
        assert_true(a.hi == b.hi && a.lo == b.lo && a.filled == b.filled);
        assert_true(a.bad_check == b.bad_check && a.bad_value == b.bad_value);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_phase_behind_garbage),
        cmocka_unit_test(only_the_codings_asked_for),
        cmocka_unit_test(cut_at_every_bit),
        cmocka_unit_test(back_to_back),
        cmocka_unit_test(one_flipped_bit_anywhere),
        cmocka_unit_test(refused_by_value_and_counted),
        cmocka_unit_test(the_empty_register_is_no_data),
        cmocka_unit_test(the_empty_register_is_no_hdx),
        cmocka_unit_test(bits_of_a_telegram_are_spent),
        cmocka_unit_test(inverted_gives_nothing),
        cmocka_unit_test(random_codes_in_streams),
        cmocka_unit_test(noise_gives_no_reading),
        cmocka_unit_test(feed_is_push),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
