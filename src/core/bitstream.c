/** @file bitstream.c
 * Telegrams out of an endless stream of bits.
 */
#include "core/window.h"

static bool codes(const struct lm_bitstream *s, enum lm_coding coding)
{
    return (s->codings >> coding & 1u) != 0;
}

/** Bits of a found telegram are spent: none of them may take part in another one. */
static bool found(struct lm_bitstream *s)
{
    s->filled = 0;
    return true;
}

static bool take_fdxb(struct lm_bitstream *s, struct lm_window w, struct lm_telegram *out)
{
    enum lm_err err = lm_window_fdxb(w, out);
    if (err == LM_OK)
        return found(s);
    if (err == LM_ECHECK)
        s->bad_check++;
    else
        s->bad_value++;
    return false;
}

static bool take_hdx(struct lm_bitstream *s, struct lm_window w, struct lm_telegram *out)
{
    enum lm_err err = lm_window_hdx(w, out);
    if (err == LM_ECHECK)
        return false; /* most likely data that looks like a start: not worth counting */
    if (err != LM_OK || lm_country_class(lm_eid_country(out->eid)) == LM_COUNTRY_INVALID) {
        s->bad_value++;
        return false;
    }
    return found(s);
}

/** Take in @p n bits, 1-32, the first one in time uppermost. */
static void shift_in(struct lm_bitstream *s, uint64_t bits, unsigned n)
{
    s->hi = s->hi << n | s->lo >> (64 - n);
    s->lo = s->lo << n | bits;
    s->filled = s->filled + n < LM_FDXB_BITS ? s->filled + n : LM_FDXB_BITS;
}

/** Whether a telegram ends with the bit taken in last. */
static bool look(struct lm_bitstream *s, struct lm_telegram *out)
{
    struct lm_window w = {s->hi, s->lo};
    if (s->filled >= LM_FDXB_BITS && codes(s, LM_CODING_FDXB) && lm_window_is_fdxb(w) &&
        take_fdxb(s, w, out))
        return true;
    return s->filled >= LM_HDX_BITS && codes(s, LM_CODING_HDX) && lm_window_is_hdx(w) &&
           take_hdx(s, w, out);
}

bool lm_bitstream_push(struct lm_bitstream *s, unsigned bit, struct lm_telegram *out)
{
    shift_in(s, bit & 1u, 1);
    return look(s, out);
}

/**
 * After which of the next 32 bits a header will stand where a telegram's must: bit 63 - k for k.
 * All of it lies in `hi` already, since a header is 80 bits old or older when its telegram ends.
 * Every start of a run is found at once by and-ing the word with itself shifted.
 */
static uint64_t candidates(const struct lm_bitstream *s)
{
    uint64_t one = s->hi, zero = ~s->hi, at = 0;
    if (codes(s, LM_CODING_FDXB)) { /* ten zeros and a one */
        uint64_t two = zero & zero << 1, four = two & two << 2, eight = four & four << 4;
        at |= eight & two << 8 & one << 10;
    }
    if (codes(s, LM_CODING_HDX)) { /* a zero, six ones, a zero; 16 bits later in the window */
        uint64_t two = one & one << 1, six = two & two << 2 & two << 4;
        at |= (zero & six << 1 & zero << 7) << 16;
    }
    return at & UINT64_C(0x7FFFFFFF80000000);
}

/** The next 32 bits at once: looks only where a header stands, which in noise is seldom. */
static void feed_word(struct lm_bitstream *s, uint64_t word, lm_telegram_fn *fn, void *ctx)
{
    unsigned done = 0;
    for (uint64_t at = candidates(s); at != 0;) {
        unsigned k = (unsigned) __builtin_clzll(at);
        at &= ~(UINT64_C(1) << (63 - k));
        unsigned n = k - done;
        shift_in(s, word >> (32 - k) & ((UINT64_C(1) << n) - 1), n);
        done = k;
        struct lm_telegram t;
        if (look(s, &t))
            fn(&t, ctx);
    }
    if (done < 32)
        shift_in(s, word & ((UINT64_C(1) << (32 - done)) - 1), 32 - done);
}

void lm_bitstream_feed(
    struct lm_bitstream *s, const uint8_t *data, size_t len, lm_telegram_fn *fn, void *ctx)
{
    size_t i = 0;
    for (; len - i >= 4; i += 4)
        feed_word(s,
            (uint64_t) data[i] << 24 | (uint64_t) data[i + 1] << 16 | (uint64_t) data[i + 2] << 8 |
                data[i + 3],
            fn, ctx);
    struct lm_telegram t;
    for (; i < len; i++)
        for (unsigned b = 8; b-- > 0;)
            if (lm_bitstream_push(s, (unsigned) data[i] >> b, &t))
                fn(&t, ctx);
}
