/** @file decode.c
 * One code out of any text: prepares the text and asks the forms in turn.
 */
#include "core/decode_parts.h"

#include <inttypes.h>
#include <string.h>

#include "lugmark/text.h"

uint64_t lm_decimal(const char *digits, size_t n)
{
    uint64_t v = 0;
    for (size_t i = 0; i < n; i++)
        v = v * 10 + (uint64_t) (digits[i] - '0');
    return v;
}

const char *lm_code_form_name(enum lm_code_form form)
{
    switch (form) {
    case LM_FORM_NONE:
        break;
    case LM_FORM_DIGITS15:
        return "15 digits";
    case LM_FORM_SPLIT:
        return "country and 12 digits apart";
    case LM_FORM_ALPHA2:
        return "country letters and digits";
    case LM_FORM_HEX64:
        return "64 bits in hex";
    case LM_FORM_FDXB_HEX:
        return "FDX-B telegram in hex";
    case LM_FORM_FDXB_BITS:
        return "FDX-B telegram in bits";
    case LM_FORM_HDX_HEX:
        return "HDX telegram in hex";
    case LM_FORM_HDX_BITS:
        return "HDX telegram in bits";
    case LM_FORM_UID:
        return "UID of a 13.56 MHz chip";
    }
    return "no known form";
}

enum lm_err lm_decode_digits15(const char *text, size_t len, struct lm_eid *out)
{
    if (len != 15)
        return LM_EFRAME;
    for (size_t i = 0; i < 15; i++)
        if (!lm_is_digit(text[i]))
            return LM_EFRAME;
    return lm_eid_make((unsigned) lm_decimal(text, 3), lm_decimal(text + 3, 12), out);
}

enum lm_err lm_decode_make(const struct lm_code_text *t, enum lm_code_form form, unsigned country,
    uint64_t national, struct lm_decoded *out)
{
    out->form = form;
    if (lm_eid_make(country, national, &out->eid) == LM_OK)
        return LM_OK;
    if (country == 0 && national == 0)
        return lm_problem_set(t->p, LM_ERANGE,
            "read the device again; all zeros is what a reader gives without one",
            "\"%s\" is all zeros, which is no code", t->quote);
    if (country > LM_COUNTRY_MAX)
        return lm_problem_set(t->p, LM_ERANGE, "read the device again or correct the number",
            "country number %u of \"%s\" fits in no chip, which holds at most %u", country,
            t->quote, LM_COUNTRY_MAX);
    return lm_problem_set(t->p, LM_ERANGE, "read the device again or correct the number",
        "the last 12 digits of \"%s\" fit in no chip, which holds at most %" PRIu64, t->quote,
        LM_NATIONAL_MAX);
}

/** Trim, quote, and squeeze out blanks; everything the forms need to know about the text. */
static void prepare(struct lm_code_text *t, const char *text, size_t len)
{
    while (len > 0 && lm_is_blank(text[0])) {
        text++;
        len--;
    }
    while (len > 0 && lm_is_blank(text[len - 1]))
        len--;
    t->text = text;
    t->len = len;
    char quote[LM_QUOTE_SIZE - 3];
    lm_text_copy(quote, sizeof quote, text, len);
    size_t n = strlen(quote);
    memcpy(t->quote, quote, n + 1);
    if (len >= sizeof quote)
        memcpy(t->quote + n, "...", 4);
    t->prefixed = len > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X');
    t->decimal = true;
    for (size_t i = t->prefixed ? 2 : 0; i < len; i++) {
        if (lm_is_blank(text[i])) {
            t->blanks = true;
        } else if (lm_is_hex(text[i]) && t->n_compact < LM_COMPACT_MAX) {
            t->compact[t->n_compact++] = text[i];
            t->decimal = t->decimal && lm_is_digit(text[i]);
        } else {
            t->n_compact = 0;
            return;
        }
    }
}

enum lm_err lm_decode_uid(const struct lm_code_text *t, struct lm_decoded *out)
{
    static const char mend[] = "write uid: and the chip's 4, 7 or 8 bytes, two hex digits each";
    static const char word[] = "uid:";
    const size_t n = sizeof word - 1;
    if (t->len < n)
        return LM_EAGAIN;
    for (size_t i = 0; i < n; i++)
        if (lm_upper(t->text[i]) != lm_upper(word[i]))
            return LM_EAGAIN;
    out->form = LM_FORM_UID;
    size_t at = n;
    while (at < t->len && t->text[at] == ' ')
        at++;
    enum lm_err err = lm_eid_from_uid(t->text + at, t->len - at, &out->eid);
    if (at == t->len || err == LM_EFRAME)
        return lm_problem_set(
            t->p, LM_EFRAME, mend, "\"%s\" is no UID: not hex digits in pairs", t->quote);
    if (err == LM_ERANGE)
        return lm_problem_set(t->p, LM_ERANGE, mend, "\"%s\" is a UID that no chip has", t->quote);
    return err;
}

enum lm_err lm_decode(const char *text, size_t len, struct lm_decoded *out, struct lm_problem *p)
{
    struct lm_code_text t = {.p = p};
    *out = (struct lm_decoded){.form = LM_FORM_NONE};
    prepare(&t, text, len);
    if (t.len == 0)
        return lm_problem_set(
            p, LM_EFRAME, "give the 15 digits of a device", "no code, only blanks");
    enum lm_err err = lm_decode_uid(&t, out);
    if (err == LM_EAGAIN)
        err = lm_decode_raw(&t, out);
    if (err == LM_EAGAIN)
        err = lm_decode_letters(&t, out);
    if (err == LM_EAGAIN)
        err = lm_decode_decimal(&t, out);
    if (err == LM_EAGAIN)
        err = lm_problem_set(p, LM_EFRAME,
            "write the 15 digits, the country's two letters and the digits, or 16 hex digits",
            "\"%s\" is no electronic code", t.quote);
    if (err != LM_OK) /* of a refused text only the form is handed out */
        *out = (struct lm_decoded){.form = out->form};
    return err;
}
