/** @file frame.c
 * Decoder `frame`: a frame of bytes as a reader module sends it, described in the configuration.
 *
 * Link:      any line settings; whatever the module is set to.
 * Framing:   start, fields in order, check, end; lengths are counted, the end is never looked for:
 *            checksum bytes may have any value, those of start and end too. A common frame and its
 *            description (= 900 250000023921):
 *
 *              02 | 31 37 31 41 39 32 35 33 41 33 | 34 38 33 30 | 30 | 31 | 30 x 10 | 07 | F8 | 03
 *              ^    ^ national, 10 digits, the      ^ country     ^    ^    ^ not     ^    ^    ^
 *              |      last one the highest            likewise    data |      used    XOR  |    end
 *              start                                                   animal              inverse
 *
 *              [frame ascii30]
 *              start = 02
 *              fields = national:10:hex:reversed country:4:hex:reversed data:1 animal:1 skip:10
 *              check = xor then-inverted
 *              end = 03 or 07
 *
 * Settings:  start = bytes in hex, two digits each, 1 to 8 of them
 *            fields, fields2, fields3, fields4 = words KIND:WIDTH:HOW, in the order of the frame;
 *              WIDTH is bytes of the frame, HOW any of the words behind the kinds:
 *              country, national   the two parts of the code      base, order, digits
 *              block               its 64 bits, 8 bytes           hex, order, digits, bits
 *              telegram            128 bits FDX-B, 16 bytes       hex, order, digits, bits
 *              crc16code           the code's CRC, behind block   hex, order, digits, bits
 *              animal, data        flags: byte 0, 1 or ASCII      base, or bit0 to bit7 of it
 *              retag, user         counter 0-7, user bits 0-31    base, order, digits
 *              length              what length_counts says        base, order, digits
 *              skip                bytes of no interest
 *              rest:MOST           whatever else the length counts, up to so many bytes
 *              literal:0F08        bytes that must stand there
 *              base: binary (if not said), hex, decimal (both ASCII), bcd; order of bytes: big (if
 *              not said), little; digits: normal (if not said), reversed; bits within a byte: msb
 *              (if not said), lsb, where the lowest one is the first.
 *            length_counts = FROM through TO; from start, after-start, length, after-length;
 *              through fields, check, end. If not said: after-length through fields
 *            check = none, xor, sum8, sum16 or crc16, and words: hex; little; inverted (every bit);
 *              negated (so that the sum is zero); then-inverted (an inverted copy follows); for
 *              crc16 poly:1021 init:FFFF xorout:0000 reflect-in reflect-out
 *            check_over = start, after-start (if not said), the name of a field, or field 3: from
 *              there up to the check
 *            end = bytes in hex; alternatives of one length with `or` between
 * Integrity: what the description says. Without check, crc16code or telegram nothing guards it,
 *            and `lugmark readers --try` says so. The all-zero code is refused.
 * Oddities:  what does not fit loses one byte and is looked at again from the next, so that a frame
 *            may begin inside a false one. With start, literals, length and end right and the
 *            check wrong it is counted as check; all else between frames is counted as no-code,
 *            once a gap or every 256 bytes. CR, LF and NUL between frames are silence.
 * Fixtures:  fixtures/serial/frame-*.bin with their descriptions beside them, all synthetic.
 */
#include "frame.h"

#include <stdlib.h>
#include <string.h>

#include "list.h"

/** A gap is told of after so many bytes, or a line at the wrong speed would look like silence. */
#define GAP_BYTES 256u

static void tell_gap(struct lm_frame_hunt *h, lm_frame_fn *fn, void *ctx)
{
    struct lm_frame_verdict gap = {.what = LM_FRAME_NOT};
    size_t lost = h->lost;
    h->lost = 0;
    if (lost > 0)
        fn(&gap, NULL, lost, ctx);
}

static void drop_byte(struct lm_frame_hunt *h)
{
    uint8_t byte = h->buf[h->head++];
    h->len--;
    if (h->told == 0 && (byte == '\r' || byte == '\n' || byte == '\0'))
        return;
    if (h->told > 0)
        h->told--;
    else
        h->lost++;
    h->astray = true;
}

static void take_frame(struct lm_frame_hunt *h, size_t len)
{
    h->head += len;
    h->len -= len;
    h->told = h->told > len ? h->told - len : 0;
    h->astray = false;
}

/* Where a whole frame with a right check stands behind a start that still waits for its end. A
 * false start with a long length would keep back the frames behind it until as many bytes have
 * come, while their animals walk away. 0 for none. */
static size_t overtakes(const struct lm_frame_hunt *h)
{
    const struct lm_frame_spec *spec = h->spec;
    const uint8_t *bytes = h->buf + h->head;
    if (spec->rest < 0 || !h->astray || spec->check.kind == LM_FRAME_NO_CHECK)
        return 0;
    for (size_t i = 1; i < h->len; i++) {
        struct lm_frame_verdict v = {.what = LM_FRAME_NOT};
        if (bytes[i] == spec->start[0])
            lm_frame_judge(spec, bytes + i, h->len - i, &v);
        if (v.what == LM_FRAME_GOOD)
            return i;
    }
    return 0;
}

/* With a right check it is a frame whatever it holds; without one it may be chance. A value is
 * judged after the code's own CRC. */
static bool is_sure(const struct lm_frame_spec *spec, enum lm_frame_what what)
{
    if (what == LM_FRAME_BAD_CHECK)
        return false;
    return spec->check.kind != LM_FRAME_NO_CHECK ||
           (what == LM_FRAME_BAD_VALUE && lm_frame_is_guarded(spec));
}

/* More is needed: unless a whole frame began meanwhile. @return false to wait for more. */
static bool overtaken(struct lm_frame_hunt *h)
{
    size_t before = overtakes(h);
    for (size_t i = 0; i < before; i++)
        drop_byte(h);
    return before > 0;
}

static void drop_noise(struct lm_frame_hunt *h, lm_frame_fn *fn, void *ctx)
{
    drop_byte(h);
    if (h->lost >= GAP_BYTES)
        tell_gap(h, fn, ctx);
}

/* Judge what is held, until more is needed. */
static void settle(struct lm_frame_hunt *h, lm_frame_fn *fn, void *ctx)
{
    while (h->len > 0) {
        struct lm_frame_verdict v;
        const uint8_t *bytes = h->buf + h->head;
        lm_frame_judge(h->spec, bytes, h->len, &v);
        bool sure = is_sure(h->spec, v.what);
        if (v.what == LM_FRAME_MORE) {
            if (!overtaken(h))
                return;
            continue;
        }
        if (v.what == LM_FRAME_NOT || (v.what == LM_FRAME_NO_CODE && !sure)) {
            drop_noise(h, fn, ctx);
            continue;
        }
        tell_gap(h, fn, ctx);
        fn(&v, bytes, v.len, ctx);
        if (v.what == LM_FRAME_GOOD || sure) {
            take_frame(h, v.len);
        } else {
            h->told = h->told > v.len ? h->told : v.len;
            drop_byte(h);
        }
    }
}

void lm_frame_feed(
    struct lm_frame_hunt *hunt, const uint8_t *data, size_t len, lm_frame_fn *fn, void *ctx)
{
    for (size_t i = 0; i < len; i++) {
        if (hunt->head + hunt->len == sizeof hunt->buf) {
            memmove(hunt->buf, hunt->buf + hunt->head, hunt->len);
            hunt->head = 0;
        }
        hunt->buf[hunt->head + hunt->len++] = data[i];
        settle(hunt, fn, ctx);
    }
}

/** The decoder. */
struct frame_state {
    struct lm_frame_spec spec;
    struct lm_frame_hunt hunt;
};

static void on_frame(const struct lm_frame_verdict *v, const uint8_t *frame, size_t len, void *ctx)
{
    const struct lm_sink *sink = ctx;
    (void) frame;
    struct lm_event event = {
        .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE, .eid = v->eid};
    switch (v->what) {
    case LM_FRAME_GOOD:
        sink->reading(sink->ctx, &event);
        break;
    case LM_FRAME_BAD_CHECK:
        sink->reject(sink->ctx, LM_REJECT_CHECK, len);
        break;
    case LM_FRAME_BAD_VALUE:
        sink->reject(sink->ctx, LM_REJECT_RANGE, len);
        break;
    case LM_FRAME_NO_CODE:
    case LM_FRAME_NOT:
        sink->reject(sink->ctx, LM_REJECT_NO_CODE, len);
        break;
    case LM_FRAME_MORE:
        break;
    }
}

static void frame_feed(void *state, const uint8_t *data, size_t len, const struct lm_sink *sink)
{
    struct frame_state *s = state;
    struct lm_sink copy = *sink; /* the callback's context is not const */
    lm_frame_feed(&s->hunt, data, len, on_frame, &copy);
}

static void frame_reset(void *state)
{
    struct frame_state *s = state;
    s->hunt = (struct lm_frame_hunt){.spec = &s->spec};
}

static void *frame_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    struct lm_frame_spec spec;
    if (lm_frame_spec_read(&spec, settings, n, p) != LM_OK)
        return NULL;
    struct frame_state *s = malloc(sizeof *s);
    if (s == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    s->spec = spec;
    frame_reset(s);
    return s;
}

const struct lm_decoder_ops lm_decoder_frame = {
    .name = "frame",
    .new_ = frame_new,
    .feed = frame_feed,
    .reset = frame_reset,
    .free_ = free,
    .keys = lm_frame_keys,
};
