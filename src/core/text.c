/** @file text.c
 * UTF-8 from outside, looked at once and cleaned.
 */
#include "lugmark/text.h"

#include <stdint.h>
#include <string.h>

#include "core/ascii.h"

/**
 * Length of the well-formed UTF-8 character at the front, 1-4, or 0.
 * Table 3-7 of the Unicode standard: it leaves out overlong forms, surrogates and all past
 * U+10FFFF.
 */
static size_t utf8_length(const unsigned char *s, size_t len)
{
    unsigned char lead = s[0];
    if (lead < 0x80)
        return 1;
    size_t want = lead >= 0xC2 && lead <= 0xDF ? 2 : (lead & 0xF0) == 0xE0 ? 3 : 0;
    if (lead >= 0xF0 && lead <= 0xF4)
        want = 4;
    if (want == 0 || len < want)
        return 0;
    unsigned char low = lead == 0xE0 ? 0xA0 : lead == 0xF0 ? 0x90 : 0x80;
    unsigned char high = lead == 0xED ? 0x9F : lead == 0xF4 ? 0x8F : 0xBF;
    if (s[1] < low || s[1] > high)
        return 0;
    for (size_t i = 2; i < want; i++)
        if ((s[i] & 0xC0) != 0x80)
            return 0;
    return want;
}

/** Whether a well-formed character is one of C0, DEL or C1, which can drive a terminal. */
static bool is_control(const unsigned char *s, size_t n)
{
    if (n == 1)
        return s[0] < 0x20 || s[0] == 0x7F;
    return n == 2 && s[0] == 0xC2 && s[1] < 0xA0;
}

bool lm_text_clean(const char *text, size_t len)
{
    const unsigned char *s = (const unsigned char *) text;
    for (size_t i = 0; i < len;) {
        size_t n = utf8_length(s + i, len - i);
        if (n == 0 || is_control(s + i, n))
            return false;
        i += n;
    }
    return true;
}

static size_t trim(const char **text, size_t len)
{
    while (len > 0 && lm_is_blank((*text)[0])) {
        ++*text;
        len--;
    }
    while (len > 0 && lm_is_blank((*text)[len - 1]))
        len--;
    return len;
}

bool lm_text_copy(char *out, size_t size, const char *text, size_t len)
{
    if (size == 0)
        return false;
    len = trim(&text, len);
    const unsigned char *s = (const unsigned char *) text;
    bool whole = true;
    size_t used = 0;
    for (size_t i = 0; i < len;) {
        size_t n = utf8_length(s + i, len - i);
        bool keep = n > 0 && !is_control(s + i, n);
        size_t put = keep ? n : 1;
        if (used + put >= size) {
            whole = false;
            break;
        }
        if (keep)
            memcpy(out + used, s + i, n);
        else
            out[used] = '?';
        whole = whole && keep;
        used += put;
        i += n > 0 ? n : 1;
    }
    while (used > 0 && out[used - 1] == ' ') /* a cut can fall behind a blank */
        used--;
    out[used] = '\0';
    return whole;
}

bool lm_text_is_formula(const char *text)
{
    text += strspn(text, "'");
    return *text != '\0' && strchr("=+-@\t\r\n", *text) != NULL;
}
