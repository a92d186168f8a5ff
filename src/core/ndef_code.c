/** @file ndef_code.c
 * The one code in the records of an NDEF message, by the convention in lugmark/ndef.h.
 */
#include "lugmark/ndef.h"

#include "core/ascii.h"
#include "lugmark/decode.h"

#include <string.h>

#define NATIONAL_DIGITS 12u
#define URI_MAX (LM_NDEF_MAX + 32u)

/** What was found so far. */
struct finder {
    struct lm_eid eid;
    unsigned codes; /**< 0, 1, or 2 for "more than one, and different" */
    bool range;     /**< digits that fit in no chip were there */
};

static void found(struct finder *f, struct lm_eid eid)
{
    if (f->codes == 0) {
        f->eid = eid;
        f->codes = 1;
    } else if (lm_eid_key(f->eid) != lm_eid_key(eid)) {
        f->codes = 2;
    } else if (eid.known > f->eid.known) {
        f->eid = eid; /* the same code, and more is known of it */
    }
}

/** Numbers that are no country's and no maker's come from hex or digits that are something else. */
static bool has_country(struct lm_eid eid)
{
    return lm_country_class(lm_eid_country(eid)) != LM_COUNTRY_INVALID;
}

static bool is_alnum(char c)
{
    return lm_is_digit(c) || (lm_upper(c) >= 'A' && lm_upper(c) <= 'Z');
}

/** 15 digits in a row with no letter or digit beside: such a run inside a hex word is chance. */
static void look_for_runs(struct finder *f, const char *text, size_t len)
{
    for (size_t i = 0; i < len;) {
        size_t n = 0;
        while (i + n < len && is_alnum(text[i + n]))
            n++;
        struct lm_eid eid;
        enum lm_err err = lm_decode_digits15(text + i, n, &eid);
        if (err == LM_OK && has_country(eid))
            found(f, eid);
        else if (err == LM_ERANGE)
            f->range = true;
        i += n > 0 ? n : 1;
    }
}

static size_t digits_in(const char *text, size_t len)
{
    size_t n = 0;
    for (size_t i = 0; i < len; i++)
        n += lm_is_digit(text[i]);
    return n;
}

static void look_at_text(struct finder *f, const char *text, size_t len)
{
    struct lm_decoded d;
    enum lm_err err = lm_decode(text, len, &d, NULL);
    bool short_letters = d.form == LM_FORM_ALPHA2 && digits_in(text, len) < NATIONAL_DIGITS;
    if (err == LM_OK && d.eid.known != LM_EID_UID && has_country(d.eid) && !short_letters)
        found(f, d.eid);
    else if (err == LM_ERANGE && d.form != LM_FORM_UID && !short_letters)
        f->range = true;
    else if (err != LM_OK)
        look_for_runs(f, text, len);
}

/* --- Text --- */

/** UTF-16 to one byte a unit; what is not ASCII cannot be part of a code and becomes `?`. */
static size_t narrow(const uint8_t *wide, size_t len, char *out)
{
    bool little = len >= 2 && wide[0] == 0xFF && wide[1] == 0xFE;
    bool marked = little || (len >= 2 && wide[0] == 0xFE && wide[1] == 0xFF);
    size_t n = 0;
    for (size_t i = marked ? 2 : 0; i + 1 < len; i += 2) {
        unsigned unit =
            little ? wide[i] | (unsigned) wide[i + 1] << 8 : (unsigned) wide[i] << 8 | wide[i + 1];
        out[n++] = unit < 0x80 ? (char) unit : '?';
    }
    return n;
}

static enum lm_ndef take_text(struct finder *f, const struct lm_ndef_record *rec)
{
    char ascii[LM_NDEF_MAX / 2];
    size_t language = rec->len > 0 ? rec->payload[0] & 0x3Fu : 0;
    if (rec->len < 1 + language)
        return LM_NDEF_BROKEN;
    const uint8_t *text = rec->payload + 1 + language;
    size_t len = rec->len - 1 - language;
    if ((rec->payload[0] & 0x80) == 0)
        look_at_text(f, (const char *) text, len);
    else if (len % 2 != 0)
        return LM_NDEF_BROKEN;
    else
        look_at_text(f, ascii, narrow(text, len, ascii));
    return LM_NDEF_OK;
}

/* --- URI --- */

static const char *prefix_of(uint8_t code)
{
    static const char *const prefixes[] = {"", "http://www.", "https://www.", "http://", "https://",
        "tel:", "mailto:", "ftp://anonymous:anonymous@", "ftp://ftp.", "ftps://", "sftp://",
        "smb://", "nfs://", "ftp://", "dav://", "news:", "telnet://", "imap:", "rtsp://",
        "urn:", "pop:", "sip:", "sips:", "tftp:", "btspp://", "btl2cap://", "btgoep://",
        "tcpobex://", "irdaobex://", "file://",
        "urn:epc:id:", "urn:epc:tag:", "urn:epc:pat:", "urn:epc:raw:", "urn:epc:", "urn:nfc:"};
    return code < sizeof prefixes / sizeof prefixes[0] ? prefixes[code] : "";
}

static bool begins_with(const char *text, size_t len, const char *word)
{
    size_t n = strlen(word);
    for (size_t i = 0; i < n; i++)
        if (i >= len || lm_upper(text[i]) != lm_upper(word[i]))
            return false;
    return true;
}

/** Sixteen hex digits are in many addresses; only an animal's code of a known country is taken. */
static bool plausible(const struct lm_decoded *d)
{
    struct lm_eid_fields f = lm_eid_unpack(d->eid);
    if (d->form == LM_FORM_DIGITS15 || d->form == LM_FORM_SPLIT)
        return true;
    return d->form == LM_FORM_HEX64 && f.animal && f.reserved == 0 && has_country(d->eid) &&
           lm_country_class(f.country) != LM_COUNTRY_UNASSIGNED;
}

static void look_at_uri(struct finder *f, const char *uri, size_t len)
{
    if (begins_with(uri, len, "tel:") || begins_with(uri, len, "sms:"))
        return; /* a telephone number can have 15 digits */
    size_t end = 0;
    while (end < len && uri[end] != '?' && uri[end] != '#')
        end++;
    while (end > 0 && uri[end - 1] == '/')
        end--;
    size_t start = end;
    while (start > 0 && uri[start - 1] != '/')
        start--;
    struct lm_decoded d;
    enum lm_err err = lm_decode(uri + start, end - start, &d, NULL);
    if (err == LM_OK && plausible(&d))
        found(f, d.eid);
    look_for_runs(f, uri, len);
}

static enum lm_ndef take_uri(struct finder *f, const struct lm_ndef_record *rec)
{
    char uri[URI_MAX];
    if (rec->len == 0 || rec->len > LM_NDEF_MAX)
        return LM_NDEF_BROKEN;
    const char *prefix = prefix_of(rec->payload[0]);
    size_t n = strlen(prefix);
    memcpy(uri, prefix, n);
    memcpy(uri + n, rec->payload + 1, rec->len - 1);
    look_at_uri(f, uri, n + rec->len - 1);
    return LM_NDEF_OK;
}

/* --- external type --- */

static bool ends_with(const uint8_t *type, size_t len, const char *word)
{
    size_t n = strlen(word);
    if (len < n)
        return false;
    for (size_t i = 0; i < n; i++)
        if (lm_upper((char) type[len - n + i]) != lm_upper(word[i]))
            return false;
    return true;
}

static void take_external(struct finder *f, const struct lm_ndef_record *rec)
{
    uint64_t bits = 0;
    if (!ends_with(rec->type, rec->type_len, ":iso11784"))
        return;
    if (rec->len != sizeof bits) {
        look_at_text(f, (const char *) rec->payload, rec->len);
        return;
    }
    for (size_t i = 0; i < sizeof bits; i++)
        bits = bits << 8 | rec->payload[i];
    struct lm_eid eid = lm_eid_from_bits(bits);
    if (lm_eid_key(eid) != 0)
        found(f, eid);
    else
        f->range = true;
}

static enum lm_ndef take_record(const struct lm_ndef_record *rec, void *ctx)
{
    struct finder *f = ctx;
    char letter = rec->type_len == 1 ? (char) rec->type[0] : '\0';
    if (rec->tnf == LM_TNF_WELL_KNOWN && letter == 'T')
        return take_text(f, rec);
    if (rec->tnf == LM_TNF_WELL_KNOWN && letter == 'U')
        return take_uri(f, rec);
    if (rec->tnf == LM_TNF_URI)
        look_at_uri(f, (const char *) rec->type, rec->type_len);
    if (rec->tnf == LM_TNF_EXTERNAL)
        take_external(f, rec);
    return LM_NDEF_OK;
}

enum lm_ndef lm_ndef_code(const uint8_t *message, size_t len, struct lm_eid *eid)
{
    struct finder f = {.codes = 0};
    enum lm_ndef why = lm_ndef_records(message, len, take_record, &f);
    if (why != LM_NDEF_OK)
        return why;
    if (f.codes == 0)
        return f.range ? LM_NDEF_RANGE : LM_NDEF_NO_CODE;
    if (f.codes > 1)
        return LM_NDEF_TWO_CODES;
    *eid = f.eid;
    return LM_NDEF_OK;
}

enum lm_ndef lm_t2t_code(const uint8_t *memory, size_t len, struct lm_eid *eid)
{
    uint8_t message[LM_NDEF_MAX];
    size_t n;
    enum lm_ndef why = lm_t2t_message(memory, len, message, &n);
    return why == LM_NDEF_OK ? lm_ndef_code(message, n, eid) : why;
}

const char *lm_ndef_say(enum lm_ndef why)
{
    switch (why) {
    case LM_NDEF_OK:
        return "the tag holds a code";
    case LM_NDEF_NO_TAG:
        return "the tag is not prepared for NDEF";
    case LM_NDEF_NEWER:
        return "the tag follows a version of the format that is not known here";
    case LM_NDEF_EMPTY:
        return "nothing is written on the tag";
    case LM_NDEF_CUT:
        return "the tag was not read to its end";
    case LM_NDEF_BROKEN:
        return "what is written on the tag is damaged";
    case LM_NDEF_TOO_DEEP:
        return "what is written on the tag is nested too deep";
    case LM_NDEF_NO_CODE:
        return "what is written on the tag holds no code";
    case LM_NDEF_RANGE:
        return "the digits on the tag fit in no chip";
    case LM_NDEF_TWO_CODES:
        return "the tag holds two different codes";
    case LM_NDEF_WHYS:
        break;
    }
    return "unknown";
}
