/** @file frame_judge.c
 * Bytes judged as a frame, and the code in it.
 */
#include <string.h>

#include "core/checksum.h"
#include "frame.h"
#include "lugmark/telegram.h"

/** How a frame of a certain rest lies: where each piece begins. */
struct lay {
    const struct lm_frame_spec *spec;
    size_t rest;  /**< bytes of the rest */
    size_t check; /**< where the check begins, which is behind the last field */
    size_t end;   /**< where the end begins */
    size_t len;
};

static size_t width_of(const struct lay *lay, size_t field)
{
    return (int) field == lay->spec->rest ? lay->rest : lay->spec->fields[field].width;
}

static size_t place_of(const struct lay *lay, size_t field)
{
    size_t at = lay->spec->start_len;
    for (size_t i = 0; i < field; i++)
        at += width_of(lay, i);
    return at;
}

static struct lay lay_out(const struct lm_frame_spec *spec, size_t rest)
{
    struct lay lay = {.spec = spec, .rest = rest};
    lay.check = place_of(&lay, spec->n_fields);
    lay.end = lay.check + lm_frame_check_bytes(&spec->check);
    lay.len = lay.end + spec->end_len;
    return lay;
}

static size_t place(const struct lay *lay, enum lm_frame_place place, size_t field)
{
    const struct lm_frame_spec *spec = lay->spec;
    switch (place) {
    case LM_FRAME_START:
        return 0;
    case LM_FRAME_AFTER_START:
        return spec->start_len;
    case LM_FRAME_AT_LENGTH:
        return place_of(lay, (size_t) spec->length);
    case LM_FRAME_AFTER_LENGTH:
        return place_of(lay, (size_t) spec->length + 1);
    case LM_FRAME_AT_FIELD:
        return place_of(lay, field);
    case LM_FRAME_TO_FIELDS:
        return lay->check;
    case LM_FRAME_TO_CHECK:
        return lay->end;
    case LM_FRAME_TO_END:
        break;
    }
    return lay->len;
}

static unsigned digit_of(unsigned c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                  : 16;
}

/* The digits of a field, most significant first. Returns how many, 0 when a byte is no digit. */
static size_t digits_of(
    const struct lm_frame_field *f, const uint8_t *bytes, uint8_t out[LM_FRAME_DIGITS])
{
    bool ascii = f->base == LM_FRAME_HEX || f->base == LM_FRAME_DECIMAL;
    unsigned most = f->base == LM_FRAME_DECIMAL || f->base == LM_FRAME_BCD ? 9 : 15;
    size_t n = 0;
    for (size_t i = 0; i < f->width; i++) {
        unsigned c = bytes[i];
        if (ascii) {
            out[n++] = (uint8_t) digit_of(c);
        } else {
            out[n++] = (uint8_t) (c >> 4);
            out[n++] = (uint8_t) (c & 15u);
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (out[i] > most)
            return 0;
    }
    return n;
}

static void swap(uint8_t *a, uint8_t *b)
{
    uint8_t was = *a;
    *a = *b;
    *b = was;
}

/* Put digits that came in another order right. A byte is two digits. */
static void set_order(const struct lm_frame_field *f, uint8_t *digits, size_t n)
{
    for (size_t i = 0; f->reversed && i < n / 2; i++)
        swap(&digits[i], &digits[n - 1 - i]);
    for (size_t i = 0; f->little && i + 1 < n / 2; i += 2) {
        swap(&digits[i], &digits[n - 2 - i]);
        swap(&digits[i + 1], &digits[n - 1 - i]);
    }
    for (size_t i = 0; f->lsb && i + 1 < n; i += 2) {
        static const uint8_t turned[16] = {0, 8, 4, 12, 2, 10, 6, 14, 1, 9, 5, 13, 3, 11, 7, 15};
        uint8_t high = turned[digits[i + 1]];
        digits[i + 1] = turned[digits[i]];
        digits[i] = high;
    }
}

static bool is_flag(enum lm_frame_kind kind)
{
    return kind == LM_FRAME_ANIMAL || kind == LM_FRAME_DATA;
}

static bool flag_of(const struct lm_frame_field *f, unsigned byte, uint64_t *value)
{
    if (f->bit >= 0) {
        *value = byte >> f->bit & 1u;
        return true;
    }
    bool ascii = byte == '0' || byte == '1';
    bool binary = byte <= 1;
    *value = byte & 1u;
    return f->base == LM_FRAME_PLAIN                                ? ascii || binary
           : f->base == LM_FRAME_HEX || f->base == LM_FRAME_DECIMAL ? ascii
                                                                    : binary;
}

bool lm_frame_number(const struct lm_frame_field *field, const uint8_t *bytes, uint64_t *value)
{
    uint8_t digits[LM_FRAME_DIGITS];
    if (is_flag(field->kind))
        return flag_of(field, bytes[0], value);
    size_t n = digits_of(field, bytes, digits);
    set_order(field, digits, n);
    bool decimal = field->base == LM_FRAME_DECIMAL || field->base == LM_FRAME_BCD;
    *value = 0;
    for (size_t i = 0; i < n; i++)
        *value = *value * (decimal ? 10u : 16u) + digits[i];
    return n > 0;
}

bool lm_frame_binary(const struct lm_frame_field *field, const uint8_t *bytes, uint8_t *out)
{
    uint8_t digits[LM_FRAME_DIGITS];
    size_t n = digits_of(field, bytes, digits);
    set_order(field, digits, n);
    for (size_t i = 0; i < n / 2; i++)
        out[i] = (uint8_t) (digits[2 * i] << 4 | digits[2 * i + 1]);
    return n > 0;
}

/** The code of a frame as it is put together. */
struct code {
    struct lm_eid_fields fields;
    bool whole; /**< `bits` holds all of it */
    bool parts; /**< more is known than the 15 digits */
    uint64_t bits;
};

static enum lm_frame_what take_telegram(const uint8_t in[LM_FDXB_BYTES], struct code *code)
{
    struct lm_telegram telegram;
    enum lm_err err = lm_fdxb_decode(in, &telegram);
    if (err != LM_OK)
        return err == LM_ERANGE ? LM_FRAME_BAD_VALUE : LM_FRAME_BAD_CHECK;
    code->whole = true;
    code->bits = telegram.eid.bits;
    return LM_FRAME_GOOD;
}

/* The CRC runs over the code in the order of the air: its lowest byte first. */
static enum lm_frame_what check_crc(const struct code *code, uint64_t crc)
{
    uint8_t bytes[8];
    for (unsigned i = 0; i < 8; i++)
        bytes[i] = (uint8_t) (code->bits >> 8 * i);
    bool right = crc == lm_crc16_kermit(bytes, sizeof bytes);
    return lm_checksum_fits(right) ? LM_FRAME_GOOD : LM_FRAME_BAD_CHECK;
}

static enum lm_frame_what take_value(enum lm_frame_kind kind, uint64_t value, struct code *code)
{
    static const uint64_t most[LM_FRAME_KINDS] = {[LM_FRAME_COUNTRY] = LM_COUNTRY_MAX,
        [LM_FRAME_NATIONAL] = LM_NATIONAL_MAX,
        [LM_FRAME_BLOCK] = UINT64_MAX,
        [LM_FRAME_ANIMAL] = 1,
        [LM_FRAME_DATA] = 1,
        [LM_FRAME_RETAG] = 7,
        [LM_FRAME_USER] = 31};
    if (value > most[kind])
        return LM_FRAME_BAD_VALUE;
    code->parts = code->parts || (kind != LM_FRAME_COUNTRY && kind != LM_FRAME_NATIONAL);
    if (kind == LM_FRAME_COUNTRY) {
        code->fields.country = (uint16_t) value;
    } else if (kind == LM_FRAME_NATIONAL) {
        code->fields.national = value;
    } else if (kind == LM_FRAME_ANIMAL) {
        code->fields.animal = value != 0;
    } else if (kind == LM_FRAME_DATA) {
        code->fields.data_block = value != 0;
    } else if (kind == LM_FRAME_RETAG) {
        code->fields.retag = (uint8_t) value;
    } else if (kind == LM_FRAME_USER) {
        code->fields.user = (uint8_t) value;
    } else {
        code->whole = true;
        code->bits = value;
    }
    return LM_FRAME_GOOD;
}

static enum lm_frame_what take_field(
    const struct lm_frame_field *f, const uint8_t *bytes, struct code *code)
{
    uint64_t value = 0;
    uint8_t telegram[LM_FDXB_BYTES];
    switch (f->kind) {
    case LM_FRAME_TELEGRAM:
        return lm_frame_binary(f, bytes, telegram) ? take_telegram(telegram, code)
                                                   : LM_FRAME_NO_CODE;
    case LM_FRAME_CRC:
        return lm_frame_number(f, bytes, &value) ? check_crc(code, value) : LM_FRAME_NO_CODE;
    case LM_FRAME_COUNTRY:
    case LM_FRAME_NATIONAL:
    case LM_FRAME_BLOCK:
    case LM_FRAME_ANIMAL:
    case LM_FRAME_DATA:
    case LM_FRAME_RETAG:
    case LM_FRAME_USER:
        return lm_frame_number(f, bytes, &value) ? take_value(f->kind, value, code)
                                                 : LM_FRAME_NO_CODE;
    case LM_FRAME_LENGTH:
    case LM_FRAME_SKIP:
    case LM_FRAME_REST:
    case LM_FRAME_LITERAL:
    case LM_FRAME_KINDS:
        break;
    }
    return LM_FRAME_GOOD;
}

static bool make_eid(const struct code *code, struct lm_eid *eid)
{
    if (code->whole)
        *eid = lm_eid_from_bits(code->bits);
    else if (!code->parts)
        return lm_eid_make(code->fields.country, code->fields.national, eid) == LM_OK;
    else if (lm_eid_pack(&code->fields, eid) != LM_OK)
        return false;
    return lm_eid_key(*eid) != 0;
}

/* Everything around the code fits: take the code out. */
static void read_code(const struct lay *lay, const uint8_t *bytes, struct lm_frame_verdict *v)
{
    struct code code = {.fields = {.animal = true}};
    for (size_t i = 0; i < lay->spec->n_fields && v->what == LM_FRAME_GOOD; i++) {
        v->part = i + 1;
        v->what = take_field(&lay->spec->fields[i], bytes + place_of(lay, i), &code);
    }
    if (v->what == LM_FRAME_GOOD && !make_eid(&code, &v->eid))
        v->what = LM_FRAME_BAD_VALUE;
}

/* Take the length: how much rest there is. Returns false when it fits no frame. */
static bool take_length(const struct lm_frame_spec *spec, const uint8_t *bytes, size_t *rest)
{
    uint64_t value = 0;
    struct lay lay = lay_out(spec, 0);
    size_t fixed = place(&lay, spec->counts_to, 0) - place(&lay, spec->counts_from, 0);
    if (!lm_frame_number(&spec->fields[spec->length], bytes, &value) || value < fixed)
        return false;
    *rest = (size_t) (value - fixed < LM_FRAME_MAX ? value - fixed : LM_FRAME_MAX);
    return *rest <= (spec->rest >= 0 ? spec->fields[spec->rest].width : 0);
}

/* Look at start, literals and length as far as they came. Returns MORE, NOT or GOOD. */
static enum lm_frame_what look_at_fields(
    const struct lm_frame_spec *spec, const uint8_t *bytes, size_t have, size_t *rest, size_t *part)
{
    size_t at = spec->start_len;
    *part = 0;
    if (memcmp(bytes, spec->start, have < at ? have : at) != 0)
        return LM_FRAME_NOT;
    for (size_t i = 0; i < spec->n_fields; i++) {
        const struct lm_frame_field *f = &spec->fields[i];
        size_t width = f->kind == LM_FRAME_REST ? *rest : f->width;
        *part = i + 1;
        if (have < at + width)
            return LM_FRAME_MORE;
        if (f->kind == LM_FRAME_LITERAL && memcmp(bytes + at, f->literal, width) != 0)
            return LM_FRAME_NOT;
        if (f->kind == LM_FRAME_LENGTH && !take_length(spec, bytes + at, rest))
            return LM_FRAME_NOT;
        at += width;
    }
    return LM_FRAME_GOOD;
}

static bool is_end(const struct lm_frame_spec *spec, const uint8_t *bytes)
{
    for (size_t i = 0; i < spec->n_ends; i++) {
        if (memcmp(bytes, spec->ends[i], spec->end_len) == 0)
            return true;
    }
    return spec->n_ends == 0;
}

void lm_frame_judge(const struct lm_frame_spec *spec, const uint8_t *bytes, size_t have,
    struct lm_frame_verdict *verdict)
{
    size_t rest = 0;
    *verdict = (struct lm_frame_verdict){.what = LM_FRAME_MORE};
    verdict->what = look_at_fields(spec, bytes, have, &rest, &verdict->part);
    if (verdict->what != LM_FRAME_GOOD)
        return;
    struct lay lay = lay_out(spec, rest);
    if (have < lay.len) {
        verdict->what = LM_FRAME_MORE;
        return;
    }
    size_t from = place(&lay, spec->check_from, spec->check_field);
    verdict->len = lay.len;
    if (!is_end(spec, bytes + lay.end)) {
        verdict->what = LM_FRAME_NOT;
        verdict->part = spec->n_fields + 2;
    } else if (!lm_frame_check_is(
                   &spec->check, bytes + from, lay.check - from, bytes + lay.check)) {
        verdict->what = LM_FRAME_BAD_CHECK;
        verdict->part = spec->n_fields + 1;
    } else {
        read_code(&lay, bytes, verdict);
    }
}

bool lm_frame_part(
    const struct lm_frame_spec *spec, size_t frame_len, size_t i, struct lm_frame_part *part)
{
    size_t least = lay_out(spec, 0).len;
    struct lay lay = lay_out(spec, frame_len > least ? frame_len - least : 0);
    if (i == 0) {
        *part = (struct lm_frame_part){"start", 0, spec->start_len, NULL};
    } else if (i <= spec->n_fields) {
        const struct lm_frame_field *f = &spec->fields[i - 1];
        *part = (struct lm_frame_part){
            lm_frame_kind_name(f->kind), place_of(&lay, i - 1), width_of(&lay, i - 1), f};
    } else if (i == spec->n_fields + 1) {
        *part = (struct lm_frame_part){"check", lay.check, lay.end - lay.check, NULL};
    } else if (i == spec->n_fields + 2) {
        *part = (struct lm_frame_part){"end", lay.end, spec->end_len, NULL};
    } else {
        return false;
    }
    return true;
}
