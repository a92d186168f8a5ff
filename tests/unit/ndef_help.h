/** @file ndef_help.h
 * Bytes from hex, and tags from messages, for the tests of NDEF.
 */
#ifndef TESTS_NDEF_HELP_H
#define TESTS_NDEF_HELP_H

#include "lugmark/ndef.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Published layouts, built by hand and checked with an independent NDEF library. */
#define DIGITS "393939303030303030313132323333"
#define TEXT_RECORD "D1011254 02656E" DIGITS
#define URI_REST "04 6578616D706C652E6F72672F612F" DIGITS
#define URI_RECORD "D1011E55" URI_REST
#define EXTERNAL_TYPE "6578616D706C652E6F72673A69736F3131373834"
#define EXTERNAL_RECORD "D41408" EXTERNAL_TYPE "8000F9C00001B669"
#define POSTER_RECORD "D102385370 91011E55" URI_REST "51011254 02656E" DIGITS

struct bytes {
    uint8_t data[2048];
    size_t n;
};

static inline int hex_digit(char c)
{
    return c <= '9' ? c - '0' : (c & ~0x20) - 'A' + 10;
}

/** Bytes of a hex text with blanks, put behind what is there. */
static inline void add_hex(struct bytes *b, const char *hex)
{
    while (*hex != '\0') {
        if (*hex == ' ') {
            hex++;
            continue;
        }
        assert_true(hex[1] != '\0' && b->n < sizeof b->data);
        b->data[b->n++] = (uint8_t) (hex_digit(hex[0]) << 4 | hex_digit(hex[1]));
        hex += 2;
    }
}

static inline struct bytes of_hex(const char *hex)
{
    struct bytes b = {.n = 0};
    add_hex(&b, hex);
    return b;
}

static inline void add_text(struct bytes *b, const char *text)
{
    assert_true(b->n + strlen(text) <= sizeof b->data);
    memcpy(b->data + b->n, text, strlen(text));
    b->n += strlen(text);
}

/** A tag of 144 data bytes with these bytes from page 4 on. */
static inline struct bytes tag_of(const char *data_hex)
{
    struct bytes b = of_hex("04A1B2 9F C3D4E5F6 04 48 0000 E1101200");
    add_hex(&b, data_hex);
    b.n = 16 + 144;
    return b;
}

/** A copy that ends where it ends, so that a read behind it is seen. */
static inline uint8_t *tight(const uint8_t *data, size_t n)
{
    uint8_t *copy = malloc(n > 0 ? n : 1);
    assert_non_null(copy);
    memcpy(copy, data, n);
    return copy;
}

/** The code of a tag as text, or the word of why there is none, from a tight copy. */
static inline const char *code_of_tag(const uint8_t *data, size_t n, char out[LM_EID_TEXT_SIZE])
{
    struct lm_eid eid = {0};
    uint8_t *copy = tight(data, n);
    enum lm_ndef why = lm_t2t_code(copy, n, &eid);
    free(copy);
    return why == LM_NDEF_OK ? lm_eid_format(eid, out) : lm_ndef_say(why);
}

static inline const char *code_of_message(const char *hex, char out[LM_EID_TEXT_SIZE])
{
    struct bytes b = of_hex(hex);
    struct lm_eid eid = {0};
    uint8_t *copy = tight(b.data, b.n);
    enum lm_ndef why = lm_ndef_code(copy, b.n, &eid);
    free(copy);
    return why == LM_NDEF_OK ? lm_eid_format(eid, out) : lm_ndef_say(why);
}

#endif
