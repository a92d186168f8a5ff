/** @file test_decode.c
 * Every text form of a code, and every way of not being one.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/decode.h"
#include "lugmark/text.h"

#define TELEGRAM "0032D6DC0402079F80406253B8040201"
#define HDX "7E966D8000039F0001123B000000"

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

/** Decode a copy that ends where the text ends, so that a read past it is caught. */
static enum lm_err decode(const char *text, struct lm_decoded *out, struct lm_problem *p)
{
    size_t len = strlen(text);
    char *copy = malloc(len + 1);
    assert_non_null(copy);
    memcpy(copy, text, len);
    char *exact = realloc(copy, len > 0 ? len : 1);
    assert_non_null(exact);
    enum lm_err err = lm_decode(exact, len, out, p);
    free(exact);
    return err;
}

static const struct {
    const char *text;
    enum lm_code_form form;
    const char *digits;
    enum lm_eid_known known;
} taken[] = {
    {"999000000012345", LM_FORM_DIGITS15, "999000000012345", LM_EID_CODE},
    {"  999000000012345\r\n", LM_FORM_DIGITS15, "999000000012345", LM_EID_CODE},
    {"036000000000001", LM_FORM_DIGITS15, "036000000000001", LM_EID_CODE},
    {"000000000000001", LM_FORM_DIGITS15, "000000000000001", LM_EID_CODE},
    {"999274877906943", LM_FORM_DIGITS15, "999274877906943", LM_EID_CODE},
    {"999 000000012345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"999-000000012345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"999.000000012345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"999_000000012345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"999.000.000.012.345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"999  000000 012345", LM_FORM_SPLIT, "999000000012345", LM_EID_CODE},
    {"1022 000000084146", LM_FORM_SPLIT, "1022000000084146", LM_EID_CODE},
    {"0826-000000000001", LM_FORM_SPLIT, "826000000000001", LM_EID_CODE},
    {"GB 000000000012", LM_FORM_ALPHA2, "826000000000012", LM_EID_CODE},
    {"uk0000012", LM_FORM_ALPHA2, "826000000000012", LM_EID_CODE},
    {"EL 0 00012", LM_FORM_ALPHA2, "300000000000012", LM_EID_CODE},
    {"XI 12", LM_FORM_ALPHA2, "899000000000012", LM_EID_CODE},
    {"AU-12", LM_FORM_ALPHA2, "036000000000012", LM_EID_CODE},
    {"DE 0123 4567 8901", LM_FORM_ALPHA2, "276012345678901", LM_EID_CODE},
    {"USA003123456789", LM_FORM_ALPHA2, "840003123456789", LM_EID_CODE},
    {"US 003123456789", LM_FORM_ALPHA2, "840003123456789", LM_EID_CODE},
    {"usa 003 123 456 789", LM_FORM_ALPHA2, "840003123456789", LM_EID_CODE},
    {"8000F9C00001B669", LM_FORM_HEX64, "999000000112233", LM_EID_FULL},
    {"8000f9c00001b669", LM_FORM_HEX64, "999000000112233", LM_EID_FULL},
    {"0x8000F9C00001B669", LM_FORM_HEX64, "999000000112233", LM_EID_FULL},
    {"0X8000f9c00001b669", LM_FORM_HEX64, "999000000112233", LM_EID_FULL},
    {"8000842098291234", LM_FORM_HEX64, "528139991781940", LM_EID_FULL},
    {"0x9990000000123456", LM_FORM_HEX64, "000000001193046", LM_EID_FULL},
    {"0x0826000000000001", LM_FORM_HEX64, "000000000000001", LM_EID_FULL},
    {TELEGRAM, LM_FORM_FDXB_HEX, "999000000112233", LM_EID_FULL},
    {"0x" TELEGRAM, LM_FORM_FDXB_HEX, "999000000112233", LM_EID_FULL},
    {"0032d6dc0402079f80406253b8040201", LM_FORM_FDXB_HEX, "999000000112233", LM_EID_FULL},
    {"0032 D6DC 0402 079F 8040 6253 B804 0201", LM_FORM_FDXB_HEX, "999000000112233", LM_EID_FULL},
    {HDX, LM_FORM_HDX_HEX, "999000000112233", LM_EID_FULL},
    {"7E 966D8000039F0001 123B 000000", LM_FORM_HDX_HEX, "999000000112233", LM_EID_FULL},
};

static void forms_that_are_taken(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++) {
        struct lm_decoded d;
        struct lm_problem p = {0};
        char digits[LM_EID_TEXT_SIZE];
        if (decode(taken[i].text, &d, &p) != LM_OK)
            fail_msg("\"%s\" refused: %s", taken[i].text, p.what);
        assert_string_equal(lm_eid_format(d.eid, digits), taken[i].digits);
        assert_int_equal(d.form, taken[i].form);
        assert_int_equal(d.eid.known, taken[i].known);
        if (taken[i].known == LM_EID_CODE)
            assert_int_equal(d.eid.bits >> 48, 0x8000);
        assert_int_equal(d.has_telegram, d.form >= LM_FORM_FDXB_HEX);
    }
}

/** Text, error, and words that what and mend must hold. */
static const struct refusal {
    const char *text;
    enum lm_err want;
    const char *what, *mend;
} refusals[] = {
    {"", LM_EFRAME, "blanks", "15 digits"},
    {" \t\r\n", LM_EFRAME, "blanks", "15 digits"},
    {"hello", LM_EFRAME, "\"hello\"", "15 digits"},
    {"12345", LM_EFRAME, "5 digits", "15"},
    {"999000000012", LM_EFRAME, "12 digits", "15"},
    {"9990000O0012345", LM_EFRAME, "9990000O0012345", "15 digits"},
    {"99900 0000012345", LM_EFRAME, "grouped", "3 digits"},
    {"999-000000 012345", LM_EFRAME, "", ""},
    {"999--000000012345", LM_EFRAME, "", ""},
    {"-999000000012345", LM_EFRAME, "", ""},
    {"999000000012345-", LM_EFRAME, "", ""},
    {"ZZ 12", LM_EFRAME, "ZZ", "three digits"},
    {"GB", LM_EFRAME, "GB", ""},
    {"GB 1234567890123", LM_EFRAME, "13 digits", "12 digits"},
    {"USB 12", LM_EFRAME, "", ""},
    {"GB 12-", LM_EFRAME, "", ""},
    {"GB 1-2 3", LM_EFRAME, "", ""},
    {"0x123", LM_EFRAME, "0x123", "16 hex"},
    {"0x", LM_EFRAME, "", ""},
    {"8000F9C00001B66", LM_EFRAME, "", ""},
    {"00000000000000000000000000000000", LM_EDAMAGED, "32 digits", ""},
    {"FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF", LM_EFRAME, "no FDX-B telegram", "128 bits"},
    {"7F966D8000039F0001123B000000", LM_EFRAME, "01111110", "7E"},
    {"999000000012345 999000000012346", LM_EFRAME, "", ""},
    /* damage */
    {"9.99E+14", LM_EDAMAGED, "rounded", "column text"},
    {"9,99E+14", LM_EDAMAGED, "rounded", "column text"},
    {"9.99e14", LM_EDAMAGED, "rounded", "column text"},
    {"1E+15", LM_EDAMAGED, "rounded", "column text"},
    {"9.99000000012345E+14", LM_EDAMAGED, "rounded", "column text"},
    {"999000000012345.0", LM_EDAMAGED, "decimals", "column text"},
    {"999000000012345,00", LM_EDAMAGED, "decimals", "column text"},
    {"36000000012345.0", LM_EDAMAGED, "decimals", "column text"},
    {"########", LM_EDAMAGED, "narrow", "wider"},
    {"36000000012345", LM_EDAMAGED, "14 digits", "036000000012345"},
    {"4000000012345", LM_EDAMAGED, "13 digits", "004000000012345"},
    {"99999999999999", LM_EDAMAGED, "14 digits", "read the device again"},
    {"00000000012345", LM_EDAMAGED, "14 digits", "read the device again"},
    {"36 000000012345", LM_EDAMAGED, "14 digits", "036000000012345"},
    {"999 00000012345", LM_EDAMAGED, "14 digits", "999000000012345"},
    {"0999 0000012345", LM_EDAMAGED, "14 digits", "read the device again"},
    {"0036 000012345", LM_EDAMAGED, "13 digits", "read the device again"},
    {"9 0000000012345", LM_EDAMAGED, "14 digits", "read the device again"},
    {"99900000001234500", LM_EDAMAGED, "17 digits", "15 digits"},
    {"9990000000123456", LM_EDAMAGED, "16 digits", "15 digits"},
    {"1999000000012345", LM_EDAMAGED, "16 digits", "15 digits"},
    {"0826999999999999", LM_EDAMAGED, "16 digits", "15 digits"},
    {"8260000000001230", LM_EDAMAGED, "16 digits", "0x"},
    {"2760000000001230", LM_EDAMAGED, "16 digits", "0x"},
    {"999000000012345999000000012346", LM_EDAMAGED, "30 digits", "15 digits"},
    /* values */
    {"999274877906944", LM_ERANGE, "274877906943", "again"},
    {"999999999999999", LM_ERANGE, "274877906943", "again"},
    {"999-999999999999", LM_ERANGE, "274877906943", "again"},
    {"DE 999999999999", LM_ERANGE, "274877906943", "again"},
    {"1024-000000000001", LM_ERANGE, "1023", "again"},
    {"000000000000000", LM_ERANGE, "zeros", "again"},
    {"0000000000000000", LM_ERANGE, "zero", "again"},
    {"8000000000000000", LM_ERANGE, "zero", "again"},
    /* two meanings */
    {"0826000000000001", LM_EAMBIGUOUS, "826 000000000001", "0x"},
    {"0999000000012345", LM_EAMBIGUOUS, "999 000000012345", "3 digits"},
    {"0000000000000001", LM_EAMBIGUOUS, "hex", "0x"},
    {"1022000000084146", LM_EAMBIGUOUS, "1022", "blank"},
    {"1023274877906943", LM_EAMBIGUOUS, "1023", "0x"},
    /* telegrams */
    {"0032D6DC0402079F80406253B8040200", LM_ECHECK, "1 of its 24", "again"},
    {"0032D6DC0402079F80406213B8040201", LM_ECHECK, "CRC", "again"},
    {"7E966D8000039F0001133B000000", LM_ECHECK, "CRC", "again"},
    {"00201008040201008040201008040201", LM_ERANGE, "zero", "again"},
    {"7E00000000000000000000000000", LM_ERANGE, "zero", "again"},
};

static void texts_that_are_refused(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        const struct refusal *r = &refusals[i];
        struct lm_decoded d;
        struct lm_problem p = {.line = 12};
        enum lm_err got = decode(r->text, &d, &p);
        if (got != r->want)
            fail_msg("\"%s\": got %d (%s), want %d", r->text, got, p.what, r->want);
        assert_int_equal(p.err, r->want);
        assert_int_equal(d.eid.known, LM_EID_NONE);
        assert_true(p.what[0] != '\0' && p.mend[0] != '\0');
        if (strstr(p.what, r->what) == NULL || strstr(p.mend, r->mend) == NULL)
            fail_msg("\"%s\" gives: %s; to mend: %s", r->text, p.what, p.mend);
        assert_int_equal(p.line, 12);
        assert_int_equal(decode(r->text, &d, NULL), r->want);
    }
}

static void range_error_knows_the_form(void **state)
{
    (void) state;
    struct lm_decoded d;
    assert_int_equal(decode("999999999999999", &d, NULL), LM_ERANGE);
    assert_int_equal(d.form, LM_FORM_DIGITS15);
    assert_int_equal(decode("999 999999999999", &d, NULL), LM_ERANGE);
    assert_int_equal(d.form, LM_FORM_SPLIT);
}

static void quoted_text_is_cleaned_and_short(void **state)
{
    (void) state;
    struct lm_decoded d;
    struct lm_problem p;
    char text[5000];
    assert_int_equal(lm_decode("\033[2Jx\0y", 7, &d, &p), LM_EFRAME);
    assert_non_null(strstr(p.what, "\"?[2Jx?y\""));
    memset(text, 'x', sizeof text);
    assert_int_equal(lm_decode(text, sizeof text, &d, &p), LM_EFRAME);
    assert_non_null(strstr(p.what, "xxx...\""));
    memset(text, '1', sizeof text);
    assert_int_equal(lm_decode(text, sizeof text, &d, &p), LM_EDAMAGED);
    assert_non_null(strstr(p.what, "5000 digits"));
}

/** Bits as characters, turned by every amount. */
static void telegram_at_every_rotation(void **state)
{
    (void) state;
    uint8_t bytes[LM_FDXB_BYTES];
    lm_fdxb_encode(UINT64_C(0x9327E13FFFF0F31D), 0x123456, bytes);
    for (unsigned r = 0; r < LM_FDXB_BITS; r++) {
        char bits[129], hex[33];
        for (unsigned i = 0; i < LM_FDXB_BITS; i++) {
            unsigned from = (i + LM_FDXB_BITS - r) % LM_FDXB_BITS;
            bits[i] = (bytes[from / 8] >> (7 - from % 8) & 1) != 0 ? '1' : '0';
        }
        bits[128] = '\0';
        for (unsigned i = 0; i < 32; i++) {
            unsigned v = 0;
            for (unsigned b = 0; b < 4; b++)
                v = v << 1 | (unsigned) (bits[4 * i + b] - '0');
            snprintf(hex + i, 2, "%X", v);
        }
        const char *texts[2] = {bits, hex};
        for (unsigned k = 0; k < 2; k++) {
            struct lm_decoded d;
            assert_int_equal(decode(texts[k], &d, NULL), LM_OK);
            assert_int_equal(d.form, k == 0 ? LM_FORM_FDXB_BITS : LM_FORM_FDXB_HEX);
            assert_int_equal(d.rotation, r);
            assert_true(d.eid.bits == UINT64_C(0x9327E13FFFF0F31D));
            assert_int_equal(d.telegram.trailer, 0x123456);
        }
        /* A bit of the code turned over is found at that rotation, and named. */
        bits[(11 + r) % 128] ^= 1;
        struct lm_decoded d;
        struct lm_problem p;
        assert_int_equal(decode(bits, &d, &p), LM_ECHECK);
        assert_non_null(strstr(p.what, "CRC"));
        bits[(11 + r) % 128] ^= 1;
        bits[(127 + r) % 128] ^= 1;
        char nearest[40];
        assert_int_equal(decode(bits, &d, &p), LM_ECHECK);
        snprintf(nearest, sizeof nearest, "turned by %u bits", r);
        assert_non_null(strstr(p.what, nearest));
    }
}

static void hdx_in_bits(void **state)
{
    (void) state;
    char bits[LM_HDX_BITS + 1];
    for (size_t i = 0; i < LM_HDX_BITS; i++) {
        char digit[2] = {HDX[i / 4], '\0'};
        bits[i] = (strtoul(digit, NULL, 16) >> (3 - i % 4) & 1) != 0 ? '1' : '0';
    }
    bits[LM_HDX_BITS] = '\0';
    struct lm_decoded d;
    assert_int_equal(decode(bits, &d, NULL), LM_OK);
    assert_int_equal(d.form, LM_FORM_HDX_BITS);
    assert_int_equal(d.telegram.coding, LM_CODING_HDX);
    assert_true(d.eid.bits == UINT64_C(0x8000F9C00001B669));
    bits[30] ^= 1;
    assert_int_equal(decode(bits, &d, NULL), LM_ECHECK);
    bits[0] = '1';
    assert_int_equal(decode(bits, &d, NULL), LM_EFRAME);
}

/** All forms of a random code come back as the same code. */
static void every_form_round_trips(void **state)
{
    (void) state;
    uint64_t seed = 12;
    for (int i = 0; i < 5000; i++) {
        struct lm_eid e;
        struct lm_decoded d;
        char text[40], digits[LM_EID_TEXT_SIZE];
        assert_int_equal(
            lm_eid_make((unsigned) (next(&seed) % 999 + 1), next(&seed) & LM_NATIONAL_MAX, &e),
            LM_OK);
        lm_eid_format(e, digits);
        assert_int_equal(decode(digits, &d, NULL), LM_OK);
        assert_true(d.eid.bits == e.bits);
        snprintf(text, sizeof text, "%.3s%c%s", digits, " -._"[i % 4], digits + 3);
        assert_int_equal(decode(text, &d, NULL), LM_OK);
        assert_true(d.eid.bits == e.bits);
        snprintf(text, sizeof text, "0x%016llX", (unsigned long long) e.bits);
        assert_int_equal(decode(text, &d, NULL), LM_OK);
        assert_true(d.eid.bits == e.bits && d.eid.known == LM_EID_FULL);
        const char *letters = lm_country_alpha2(lm_eid_country(e));
        if (letters == NULL)
            continue;
        snprintf(text, sizeof text, "%s %s", letters, digits + 3);
        assert_int_equal(decode(text, &d, NULL), LM_OK);
        assert_true(d.eid.bits == e.bits);
    }
}

static void fast_path(void **state)
{
    (void) state;
    struct lm_eid e;
    assert_int_equal(lm_decode_digits15("999000000012345", 15, &e), LM_OK);
    assert_true(lm_eid_national(e) == 12345 && lm_eid_country(e) == 999);
    assert_int_equal(e.known, LM_EID_CODE);
    assert_int_equal(lm_decode_digits15("999000000012345", 14, &e), LM_EFRAME);
    assert_int_equal(lm_decode_digits15("9990000000123450", 16, &e), LM_EFRAME);
    assert_int_equal(lm_decode_digits15("99900000001234x", 15, &e), LM_EFRAME);
    assert_int_equal(lm_decode_digits15("999999999999999", 15, &e), LM_ERANGE);
    assert_int_equal(lm_decode_digits15("000000000000000", 15, &e), LM_ERANGE);
}

static void every_form_has_a_name(void **state)
{
    (void) state;
    for (int a = LM_FORM_NONE; a <= LM_FORM_HDX_BITS; a++)
        for (int b = LM_FORM_NONE; b < a; b++)
            assert_string_not_equal(
                lm_code_form_name((enum lm_code_form) a), lm_code_form_name((enum lm_code_form) b));
    assert_string_equal(lm_code_form_name((enum lm_code_form) 99), "no known form");
}

/** Bytes out of the alphabet that codes are written in: no crash, and errors have words. */
static void random_text_never_hurts(void **state)
{
    (void) state;
    static const char alphabet[] = "0123456789000111ABCDEFabcdefxXGUSK -._,+E#\t\r\n\x80\xC3\xA9";
    uint64_t seed = 77;
    for (int i = 0; i < 100000; i++) {
        char text[140];
        size_t len = (size_t) (next(&seed) % sizeof text);
        size_t letters = (size_t) (next(&seed) % (sizeof alphabet - 1)) + 1;
        for (size_t k = 0; k < len; k++)
            text[k] = alphabet[next(&seed) % letters];
        struct lm_decoded d;
        struct lm_problem p = {0};
        char *exact = malloc(len > 0 ? len : 1);
        assert_non_null(exact);
        memcpy(exact, text, len);
        enum lm_err err = lm_decode(exact, len, &d, &p);
        free(exact);
        if (err == LM_OK) {
            assert_true(lm_eid_key(d.eid) != 0);
        } else {
            assert_true(p.what[0] != '\0' && p.mend[0] != '\0' && p.err == err);
            assert_true(lm_text_clean(p.what, strlen(p.what)));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(forms_that_are_taken),
        cmocka_unit_test(texts_that_are_refused),
        cmocka_unit_test(range_error_knows_the_form),
        cmocka_unit_test(quoted_text_is_cleaned_and_short),
        cmocka_unit_test(telegram_at_every_rotation),
        cmocka_unit_test(hdx_in_bits),
        cmocka_unit_test(every_form_round_trips),
        cmocka_unit_test(fast_path),
        cmocka_unit_test(every_form_has_a_name),
        cmocka_unit_test(random_text_never_hurts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
