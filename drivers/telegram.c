/** @file telegram.c
 * Decoder `telegram`: raw ISO 11785 bits, as a demodulator without any wits of its own sends them.
 *
 * Link:      any; eight bits of the air a byte, first sent = most significant (`bit_order = lsb`
 *            for the other way round).
 * Framing:   none: a telegram begins at any bit. Each new bit ends a window of 128 (FDX-B) or 112
 *            (HDX) bits, and every window is looked at.
 *              FDX-B  00000000001 [8 code bits, 1] x8 [8 CRC bits, 1] x2 [8 trailer bits, 1] x3
 *              HDX    01111110 [64 code bits] [16 CRC bits] [24 trailer bits]
 * Settings:  coding = fdx-b (default), hdx or both.
 * Integrity: FDX-B by header, 13 control bits and a CRC of 16 bits. HDX by header and CRC only, so
 *            it also must name a possible country, and is taken only where it is asked for.
 * Oddities:  the all-zero code passes every check and is refused by value. An HDX candidate with a
 *            wrong CRC is not counted: its header occurs inside 12 % of good codes.
 * Fixtures:  fixtures/serial/telegram-*.bin, all synthetic.
 */
#include <stdlib.h>
#include <string.h>

#include "lugmark/telegram.h"
#include "list.h"

struct telegram_state {
    struct lm_bitstream bits;
    bool lsb_first;
};

/** Turn a byte round, so that the first bit sent is the most significant. */
static uint8_t turned(uint8_t byte)
{
    unsigned b = byte;
    b = (b & 0xf0u) >> 4 | (b & 0x0fu) << 4;
    b = (b & 0xccu) >> 2 | (b & 0x33u) << 2;
    b = (b & 0xaau) >> 1 | (b & 0x55u) << 1;
    return (uint8_t) b;
}

static void on_telegram(const struct lm_telegram *t, void *ctx)
{
    const struct lm_sink *sink = ctx;
    struct lm_event event = {
        .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE, .eid = t->eid};
    sink->reading(sink->ctx, &event);
}

/** Report what the bit stream counted since @p before. */
static void report(
    const struct lm_bitstream *before, const struct lm_bitstream *now, const struct lm_sink *sink)
{
    for (uint64_t n = before->bad_check; n < now->bad_check; n++)
        sink->reject(sink->ctx, LM_REJECT_CHECK, LM_FDXB_BYTES);
    for (uint64_t n = before->bad_value; n < now->bad_value; n++)
        sink->reject(sink->ctx, LM_REJECT_RANGE, LM_FDXB_BYTES);
}

static void telegram_feed(void *state, const uint8_t *data, size_t len, const struct lm_sink *sink)
{
    struct telegram_state *s = state;
    struct lm_sink copy = *sink; /* the callback's context is not const */
    for (size_t i = 0; i < len; i++) {
        struct lm_bitstream before = s->bits;
        uint8_t byte = s->lsb_first ? turned(data[i]) : data[i];
        lm_bitstream_feed(&s->bits, &byte, 1, on_telegram, &copy);
        report(&before, &s->bits, sink);
    }
}

static void telegram_reset(void *state)
{
    struct telegram_state *s = state;
    s->bits = (struct lm_bitstream){.codings = s->bits.codings};
}

static void telegram_free(void *state)
{
    free(state);
}

static enum lm_err read_coding(const char *word, unsigned *codings, struct lm_problem *p)
{
    const unsigned fdxb = 1u << LM_CODING_FDXB;
    const unsigned hdx = 1u << LM_CODING_HDX;
    if (word == NULL || strcmp(word, "fdx-b") == 0)
        *codings = fdxb;
    else if (strcmp(word, "hdx") == 0)
        *codings = hdx;
    else if (strcmp(word, "both") == 0)
        *codings = fdxb | hdx;
    else
        return lm_problem_set(
            p, LM_EINPUT, "write fdx-b, hdx or both", "coding '%.60s' is not known", word);
    return LM_OK;
}

static enum lm_err read_bit_order(const char *word, bool *lsb_first, struct lm_problem *p)
{
    *lsb_first = word != NULL && strcmp(word, "lsb") == 0;
    if (word == NULL || *lsb_first || strcmp(word, "msb") == 0)
        return LM_OK;
    return lm_problem_set(p, LM_EINPUT, "write msb (first bit sent is the highest) or lsb",
        "bit_order '%.60s' is not known", word);
}

static void *telegram_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    unsigned codings = 0;
    bool lsb_first = false;
    if (read_coding(lm_setting_get(settings, n, "coding"), &codings, p) != LM_OK ||
        read_bit_order(lm_setting_get(settings, n, "bit_order"), &lsb_first, p) != LM_OK)
        return NULL;
    struct telegram_state *s = calloc(1, sizeof *s);
    if (s == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    s->bits.codings = codings;
    s->lsb_first = lsb_first;
    return s;
}

static const char *const telegram_keys[] = {"coding", "bit_order", NULL};

const struct lm_decoder_ops lm_decoder_telegram = {
    .name = "telegram",
    .new_ = telegram_new,
    .feed = telegram_feed,
    .reset = telegram_reset,
    .free_ = telegram_free,
    .keys = telegram_keys,
};
