/** @file decode_raw.c
 * Codes as bits: the 64-bit block, and whole telegrams in hex or in 0 and 1.
 */
#include "core/decode_parts.h"
#include "core/window.h"

#include <inttypes.h>
#include <string.h>

#define FRAME_BITS 24u /**< 11 of the header and 13 control bits */
#define NEAR_ENOUGH 3u /**< so few wrong frame bits do not come about in arbitrary data */

static const char read_again[] = "read the device again; nothing may be left out or changed";

static unsigned hex_value(char c)
{
    return lm_is_digit(c) ? (unsigned) (c - '0') : ((unsigned) c | 32u) - 'a' + 10u;
}

/** Load hex digits (4 bits each) or the characters 0 and 1 (1 bit each). */
static struct lm_window load(const char *text, size_t n, unsigned bits_each)
{
    struct lm_window w = {0, 0};
    for (size_t i = 0; i < n; i++) {
        w.hi = w.hi << bits_each | w.lo >> (64 - bits_each);
        w.lo = w.lo << bits_each | hex_value(text[i]);
    }
    return w;
}

static unsigned ones(uint64_t v)
{
    return (unsigned) __builtin_popcountll(v);
}

/** How many header and control bits are wrong as it stands. */
static unsigned frame_errors(struct lm_window w)
{
    uint64_t hi =
        (w.hi ^ (LM_FDXB_HEADER | LM_FDXB_CONTROL_HI)) & (LM_FDXB_HEADER_MASK | LM_FDXB_CONTROL_HI);
    return ones(hi) + ones(~w.lo & LM_FDXB_CONTROL_LO);
}

/** No rotation has a right frame: name the nearest, or say that there is none. */
static enum lm_err no_frame(const struct lm_code_text *t, struct lm_window w)
{
    unsigned best = 0, best_errors = FRAME_BITS + 1;
    bool header = false;
    for (unsigned r = 0; r < LM_FDXB_BITS; r++) {
        struct lm_window turned = lm_window_turn(w, r);
        bool whole = (turned.hi & LM_FDXB_HEADER_MASK) == LM_FDXB_HEADER;
        unsigned errors = frame_errors(turned);
        if (whole > header || (whole == header && errors < best_errors)) {
            best = r;
            best_errors = errors;
            header = whole;
        }
    }
    if (header || best_errors <= NEAR_ENOUGH)
        return lm_problem_set(t->p, LM_ECHECK, read_again,
            "telegram \"%s\": %u of its 24 header and control bits are wrong (nearest when turned "
            "by %u bits)",
            t->quote, best_errors, best);
    return lm_problem_set(t->p, LM_EFRAME,
        "give 128 bits of one FDX-B telegram, 16 hex digits of a code, or its 15 digits",
        "\"%s\" holds no FDX-B telegram: no header 00000000001 with its control bits", t->quote);
}

/** What is wrong with a telegram whose frame is right. */
static enum lm_err refuse(
    const struct lm_code_text *t, enum lm_err err, const struct lm_telegram *telegram)
{
    if (err == LM_ERANGE)
        return lm_problem_set(t->p, LM_ERANGE, read_again,
            "telegram \"%s\" is right in form, but its country and number are zero", t->quote);
    return lm_problem_set(t->p, LM_ECHECK, read_again,
        "telegram \"%s\": its CRC 0x%04X does not belong to its code 0x%016" PRIX64, t->quote,
        telegram->crc, telegram->eid.bits);
}

static enum lm_err fdxb(const struct lm_code_text *t, struct lm_window w, struct lm_decoded *out)
{
    enum lm_err err = LM_EFRAME;
    struct lm_telegram bad = {0};
    for (unsigned r = 0; r < LM_FDXB_BITS && err != LM_OK; r++) {
        struct lm_window turned = lm_window_turn(w, r);
        if (!lm_window_is_fdxb(turned))
            continue;
        err = lm_window_fdxb(turned, &out->telegram);
        out->rotation = r;
        bad = out->telegram;
    }
    if (err == LM_EFRAME)
        return no_frame(t, w);
    if (err != LM_OK)
        return refuse(t, err, &bad);
    out->eid = out->telegram.eid;
    out->has_telegram = true;
    return LM_OK;
}

static enum lm_err hdx(const struct lm_code_text *t, struct lm_window w, struct lm_decoded *out)
{
    if (!lm_window_is_hdx(w))
        return lm_problem_set(t->p, LM_EFRAME,
            "give an HDX telegram from its start byte 7E on, or the 15 digits",
            "\"%s\" is as long as an HDX telegram but does not begin with 01111110", t->quote);
    enum lm_err err = lm_window_hdx(w, &out->telegram);
    if (err != LM_OK)
        return refuse(t, err, &out->telegram);
    out->eid = out->telegram.eid;
    out->has_telegram = true;
    return LM_OK;
}

/** Whether 16 decimal digits can also be meant as 0 or 1 + country + 12 digits. */
static bool has_four_digit_country(const char *digits)
{
    return lm_decimal(digits, 4) <= LM_COUNTRY_MAX && lm_decimal(digits + 4, 12) <= LM_NATIONAL_MAX;
}

static enum lm_err ambiguous(const struct lm_code_text *t)
{
    const char *d = t->compact;
    if (d[0] == '0')
        return lm_problem_set(t->p, LM_EAMBIGUOUS,
            "write the country's 3 digits and 12 more, or put 0x before a hex block",
            "\"%s\" can be hex, or %.3s %.12s with a zero before the country", t->quote, d + 1,
            d + 4);
    return lm_problem_set(t->p, LM_EAMBIGUOUS,
        "put a blank behind the country, or 0x before a hex block",
        "\"%s\" can be hex, or the invalid country %.4s and %.12s", t->quote, d, d + 4);
}

/** Whether 16 decimal digits are hardly a block: it would be no animal's, or of no country. */
static bool is_hardly_hex(struct lm_eid eid)
{
    enum lm_country_class class = lm_country_class(lm_eid_country(eid));
    return class == LM_COUNTRY_INVALID || class == LM_COUNTRY_UNASSIGNED ||
           !lm_eid_unpack(eid).animal || lm_eid_unpack(eid).reserved != 0;
}

static enum lm_err hex64(const struct lm_code_text *t, struct lm_decoded *out)
{
    uint64_t bits = load(t->compact, 16, 4).lo;
    if (bits != 0 && t->decimal && !t->prefixed && has_four_digit_country(t->compact))
        return ambiguous(t);
    out->form = LM_FORM_HEX64;
    out->eid = lm_eid_from_bits(bits);
    if (lm_eid_key(out->eid) == 0)
        return lm_problem_set(t->p, LM_ERANGE,
            "read the device again; all zeros is what a reader gives without one",
            "the country and the number in \"%s\" are zero, which is no code", t->quote);
    if (!t->decimal || t->prefixed || !is_hardly_hex(out->eid))
        return LM_OK;
    out->form = LM_FORM_NONE;
    return lm_problem_set(t->p, LM_EDAMAGED,
        "give the device's 15 digits, or put 0x before a hex block",
        "\"%s\" has 16 digits where a code has 15", t->quote);
}

static bool all_bits(const struct lm_code_text *t)
{
    for (size_t i = 0; i < t->n_compact; i++)
        if (t->compact[i] != '0' && t->compact[i] != '1')
            return false;
    return true;
}

/** Telegrams by their length. LM_EAGAIN: it is none. */
static enum lm_err telegram(const struct lm_code_text *t, struct lm_decoded *out)
{
    struct lm_window hex =
        t->n_compact <= 32 ? load(t->compact, t->n_compact, 4) : load(t->compact, t->n_compact, 1);
    switch (t->n_compact) {
    case 28:
        out->form = LM_FORM_HDX_HEX;
        return hdx(t, hex, out);
    case 32:
        out->form = LM_FORM_FDXB_HEX;
        return fdxb(t, hex, out);
    case LM_HDX_BITS:
        out->form = LM_FORM_HDX_BITS;
        return all_bits(t) ? hdx(t, hex, out) : LM_EAGAIN;
    case LM_FDXB_BITS:
        out->form = LM_FORM_FDXB_BITS;
        return all_bits(t) ? fdxb(t, hex, out) : LM_EAGAIN;
    default:
        return LM_EAGAIN;
    }
}

enum lm_err lm_decode_raw(const struct lm_code_text *t, struct lm_decoded *out)
{
    if (t->n_compact == 16 && !t->blanks)
        return hex64(t, out);
    enum lm_err err = telegram(t, out);
    if (err == LM_EFRAME && t->decimal && !t->prefixed && t->n_compact <= 32)
        err = LM_EAGAIN; /* digits that are no telegram were meant as digits */
    if (err == LM_EAGAIN)
        out->form = LM_FORM_NONE;
    if (err == LM_EAGAIN && t->prefixed)
        return lm_problem_set(t->p, LM_EFRAME, "write 16 hex digits behind 0x",
            "\"%s\" begins like hex but is no code of 16 hex digits", t->quote);
    return err;
}
