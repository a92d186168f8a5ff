/** @file frame_check.c
 * The checksums of module frames.
 */
#include "core/checksum.h"
#include "frame.h"

static unsigned turned(unsigned value, unsigned bits)
{
    unsigned out = 0;
    for (unsigned i = 0; i < bits; i++)
        out |= (value >> i & 1u) << (bits - 1 - i);
    return out;
}

/* Bit by bit: frames are short, and any polynomial may be asked for. */
static unsigned crc16(const struct lm_frame_check *check, const uint8_t *data, size_t len)
{
    unsigned crc = check->init;
    for (size_t i = 0; i < len; i++) {
        crc ^= (check->reflect_in ? turned(data[i], 8) : data[i]) << 8;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc << 1 ^ ((crc & 0x8000u) != 0 ? check->poly : 0u)) & 0xFFFFu;
    }
    return (check->reflect_out ? turned(crc, 16) : crc) ^ check->xorout;
}

static size_t sum_bytes(const struct lm_frame_check *check)
{
    switch (check->kind) {
    case LM_FRAME_XOR:
    case LM_FRAME_SUM8:
        return 1;
    case LM_FRAME_SUM16:
    case LM_FRAME_CRC16:
        return 2;
    case LM_FRAME_NO_CHECK:
    case LM_FRAME_CHECK_KINDS:
        break;
    }
    return 0;
}

static unsigned sum_of(const struct lm_frame_check *check, const uint8_t *data, size_t len)
{
    unsigned sum = 0;
    if (check->kind == LM_FRAME_CRC16) {
        sum = crc16(check, data, len);
    } else {
        for (size_t i = 0; i < len; i++)
            sum = check->kind == LM_FRAME_XOR ? sum ^ data[i] : sum + data[i];
    }
    if (check->negated)
        sum = 0u - sum;
    return check->inverted ? ~sum : sum;
}

size_t lm_frame_check_bytes(const struct lm_frame_check *check)
{
    return sum_bytes(check) * (check->hex ? 2u : 1u) * (check->copy ? 2u : 1u);
}

static size_t put(const struct lm_frame_check *check, unsigned sum, uint8_t *out)
{
    static const char digits[] = "0123456789ABCDEF";
    size_t bytes = sum_bytes(check), at = 0;
    for (size_t i = 0; i < bytes; i++) {
        unsigned byte = sum >> 8 * (check->little ? i : bytes - 1 - i) & 0xFFu;
        if (check->hex) {
            out[at++] = (uint8_t) digits[byte >> 4];
            out[at++] = (uint8_t) digits[byte & 15u];
        } else {
            out[at++] = (uint8_t) byte;
        }
    }
    return at;
}

void lm_frame_check_make(
    const struct lm_frame_check *check, const uint8_t *data, size_t len, uint8_t *out)
{
    unsigned sum = sum_of(check, data, len);
    size_t at = put(check, sum, out);
    if (check->copy)
        put(check, ~sum, out + at);
}

bool lm_frame_check_is(
    const struct lm_frame_check *check, const uint8_t *data, size_t len, const uint8_t *sent)
{
    uint8_t want[8];
    lm_frame_check_make(check, data, len, want);
    for (size_t i = 0; i < lm_frame_check_bytes(check); i++) {
        uint8_t got = sent[i];
        if (check->hex && got >= 'a' && got <= 'f')
            got = (uint8_t) (got - 'a' + 'A');
        if (!lm_checksum_fits(got == want[i]))
            return false;
    }
    return true;
}
