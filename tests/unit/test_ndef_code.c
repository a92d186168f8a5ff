/* The code in an NDEF message: the published examples, other forms, refusals, damage of any kind.
 */
#include "ndef_help.h"

static void reads_the_published_examples(void **state)
{
    (void) state;
    char text[LM_EID_TEXT_SIZE];
    static const char *const messages[] = {TEXT_RECORD, URI_RECORD, EXTERNAL_RECORD, POSTER_RECORD};
    for (size_t i = 0; i < 4; i++)
        assert_string_equal(code_of_message(messages[i], text), "999000000112233");
    /* The external record says all 64 bits. */
    struct bytes b = of_hex(EXTERNAL_RECORD);
    struct lm_eid eid = {0};
    assert_int_equal(lm_ndef_code(b.data, b.n, &eid), LM_NDEF_OK);
    assert_int_equal(eid.known, LM_EID_FULL);
    assert_true(eid.bits == UINT64_C(0x8000F9C00001B669));
    /* The Type 2 image, page by page, as it was published. */
    b = of_hex("04A1B29F C3D4E5F6 04480000 E1101200 0316D101 12540265 6E393939 30303030 "
               "30303131 32323333 FE000000");
    assert_string_equal(code_of_tag(b.data, b.n, text), "999000000112233");
}

/** One record with a type letter and a payload of a few binary bytes and a text. */
static struct bytes record_of(char type, const char *head_hex, const char *text)
{
    struct bytes payload = of_hex(head_hex), b = {.n = 0};
    char head[24];
    add_text(&payload, text);
    snprintf(head, sizeof head, "C101%08zX%02X", payload.n, (unsigned) type);
    add_hex(&b, head);
    memcpy(b.data + b.n, payload.data, payload.n);
    b.n += payload.n;
    return b;
}

struct row {
    const char *text;
    const char *want; /* a code; or NULL: no code */
};

static void check(const struct row *rows, size_t n, char type, const char *head_hex)
{
    char text[LM_EID_TEXT_SIZE];
    for (size_t i = 0; i < n; i++) {
        struct bytes b = record_of(type, head_hex, rows[i].text);
        struct lm_eid eid = {0};
        enum lm_ndef why = lm_ndef_code(b.data, b.n, &eid);
        const char *got = why == LM_NDEF_OK ? lm_eid_format(eid, text) : lm_ndef_say(why);
        const char *want = rows[i].want != NULL ? rows[i].want : lm_ndef_say(LM_NDEF_NO_CODE);
        if (strcmp(got, want) != 0)
            fail_msg("%c \"%s\": %s, not %s", type, rows[i].text, got, want);
    }
}

static void reads_texts(void **state)
{
    (void) state;
    static const struct row rows[] = {
        {"999000000112233", "999000000112233"},
        {" 999 000000112233\r\n", "999000000112233"},
        {"999-000000112233", "999000000112233"},
        {"0x8000F9C00001B669", "999000000112233"},
        {"DE 123456789012", "276123456789012"},
        {"goat A17, code 999000000112233.", "999000000112233"},
        {"999000000112233 / 999000000112233", "999000000112233"},
        {"999000000112233 999000000112234", "the tag holds two different codes"},
        {"999999999999999", "the digits on the tag fit in no chip"},
        {"000000000000000", "the digits on the tag fit in no chip"},
        {"No 417", NULL}, /* not a code of Norway */
        {"de 12345678901", NULL},
        {"A999000000112233", NULL},
        {"9990000001122330", NULL},
        {"000123456789012 is no country's", NULL},
        {"uid:04A1B2C3D4E5F6", NULL}, /* a label cannot pretend to be a chip */
        {"uid:00000000", NULL},
        {"hello", NULL},
        {"", NULL},
    };
    check(rows, sizeof rows / sizeof rows[0], 'T', "02656E");
    check(rows, sizeof rows / sizeof rows[0], 'T', "00"); /* no language */
}

static void reads_wide_texts(void **state)
{
    (void) state;
    char text[LM_EID_TEXT_SIZE];
    static const char *const tables[][2] = {{"FEFF", "big"}, {"", "big"}, {"FFFE", "little"}};
    for (size_t i = 0; i < 3; i++) {
        struct bytes payload = of_hex("82656E"), b = {.n = 0};
        add_hex(&payload, tables[i][0]);
        for (const char *c = "999000000112233"; *c != '\0'; c++) {
            bool little = tables[i][1][0] == 'l';
            payload.data[payload.n++] = little ? (uint8_t) *c : 0;
            payload.data[payload.n++] = little ? 0 : (uint8_t) *c;
        }
        char head[16];
        snprintf(head, sizeof head, "D101%02zX54", payload.n);
        add_hex(&b, head);
        memcpy(b.data + b.n, payload.data, payload.n);
        b.n += payload.n;
        struct lm_eid eid = {0};
        assert_int_equal(lm_ndef_code(b.data, b.n, &eid), LM_NDEF_OK);
        assert_string_equal(lm_eid_format(eid, text), "999000000112233");
    }
    /* Digits of another script are no digits; half a unit is damage. */
    assert_string_equal(code_of_message("D1010354 80 0639", text), lm_ndef_say(LM_NDEF_NO_CODE));
    assert_string_equal(code_of_message("D1010454 80 003900", text), lm_ndef_say(LM_NDEF_BROKEN));
    assert_string_equal(code_of_message("D1010054", text), lm_ndef_say(LM_NDEF_BROKEN));
    assert_string_equal(code_of_message("D1010254 0265", text), lm_ndef_say(LM_NDEF_BROKEN));
}

static void reads_addresses(void **state)
{
    (void) state;
    static const struct row rows[] = {
        {"example.org/a/999000000112233", "999000000112233"},
        {"example.org/a/999000000112233/", "999000000112233"},
        {"example.org/a/999-000000112233?x=1#y", "999000000112233"},
        {"example.org/a/8000F9C00001B669", "999000000112233"},
        {"example.org/?eid=999000000112233&x=2", "999000000112233"},
        {"example.org/999000000112233/herd", "999000000112233"},
        {"example.org/999000000112233/999000000112234", "the tag holds two different codes"},
        {"example.org/999999999999999", "the digits on the tag fit in no chip"},
        {"example.org/0000F9C00001B669", NULL}, /* not an animal's */
        {"example.org/8000000000000001", NULL}, /* no country */
        {"example.org/DE123456789012", NULL},   /* an article number */
        {"example.org/ab999000000112233cd", NULL},
        {"example.org/", NULL},
        {"", NULL},
    };
    check(rows, sizeof rows / sizeof rows[0], 'U', "04");
    check(rows, 10, 'U', "00");
    check(rows, 10, 'U', "FF"); /* a prefix that nobody has is none */
    static const struct row phones[] = {{"999000000112233", NULL}, {"+999000000112233", NULL}};
    check(phones, 2, 'U', "05");
    static const struct row written[] = {{"TEL:999000000112233", NULL}};
    check(written, 1, 'U', "00");
}

static void takes_only_its_own_external_type(void **state)
{
    (void) state;
    char text[LM_EID_TEXT_SIZE];
    assert_string_equal(
        code_of_message("D4140F" EXTERNAL_TYPE DIGITS, text), "999000000112233"); /* as text */
    assert_string_equal(code_of_message("D40B08 613A49534F3131373834 00 8000F9C00001B669", text),
        lm_ndef_say(LM_NDEF_NO_CODE)); /* the name goes on */
    assert_string_equal(code_of_message("D40B08 613A6B69736F3131373834 8000F9C00001B669", text),
        lm_ndef_say(LM_NDEF_NO_CODE)); /* a longer word */
    assert_string_equal(
        code_of_message("D40A08 613A49534F3131373834 8000F9C00001B669", text), "999000000112233");
    assert_string_equal(code_of_message("D40908 69736F313137383437 8000F9C00001B669", text),
        lm_ndef_say(LM_NDEF_NO_CODE));
    assert_string_equal(code_of_message("D40A08 613A49534F3131373834 FFFF000000000000", text),
        lm_ndef_say(LM_NDEF_RANGE));
    assert_string_equal(code_of_message("D41407" EXTERNAL_TYPE "8000F9C00001B6", text),
        lm_ndef_say(LM_NDEF_NO_CODE));
    /* An absolute address is the type itself. */
    assert_string_equal(code_of_message("D31300 783A2F2F" DIGITS, text), "999000000112233");
    /* Another code beside it. */
    assert_string_equal(code_of_message("9101125402656E" DIGITS "5101125402656E"
                                        "393939303030303030313132323334",
                            text),
        lm_ndef_say(LM_NDEF_TWO_CODES));
    /* The same code beside it: the one that says more is kept. */
    struct bytes b = of_hex("9101125402656E" DIGITS "541408" EXTERNAL_TYPE "8000F9C00001B669");
    struct lm_eid eid = {0};
    assert_int_equal(lm_ndef_code(b.data, b.n, &eid), LM_NDEF_OK);
    assert_int_equal(eid.known, LM_EID_FULL);
}

static void a_message_cut_anywhere_gives_no_code(void **state)
{
    (void) state;
    static const char *const messages[] = {TEXT_RECORD, URI_RECORD, EXTERNAL_RECORD, POSTER_RECORD};
    for (size_t i = 0; i < 4; i++) {
        struct bytes b = of_hex(messages[i]);
        for (size_t n = 0; n < b.n; n++) {
            struct lm_eid eid = {0};
            uint8_t *copy = tight(b.data, n);
            enum lm_ndef why = lm_ndef_code(copy, n, &eid);
            free(copy);
            assert_int_equal(why, n == 0 ? LM_NDEF_EMPTY : LM_NDEF_BROKEN);
            assert_int_equal(eid.known, LM_EID_NONE);
        }
    }
}

static uint64_t next_random(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *seed >> 33;
}

/** Random memory, and good tags with a few bytes of it changed. */
static void any_bytes_are_taken(void **state)
{
    (void) state;
    static const char *const good[] = {"0316" TEXT_RECORD "FE", "0322" URI_RECORD "FE",
        "0103A00C34 031F" EXTERNAL_RECORD "FE", "033D" POSTER_RECORD "FE",
        "0203280204 B1030CB101045402656E3956000439393030 FE"};
    uint64_t seed = 11784;
    size_t found = 0, tally[LM_NDEF_WHYS] = {0};
    for (unsigned i = 0; i < 200000; i++) {
        struct bytes tag = tag_of(good[i % 5]);
        size_t n = tag.n;
        if (i % 4 == 0) {
            n = (size_t) (next_random(&seed) % 400);
            for (size_t k = 0; k < n; k++)
                tag.data[k] = (uint8_t) next_random(&seed);
            memcpy(tag.data + 12, "\xE1\x10\xFF\x00\x03", 5);
        }
        for (uint64_t k = next_random(&seed) % 5; k > 0; k--)
            tag.data[next_random(&seed) % tag.n] = (uint8_t) next_random(&seed);
        struct lm_eid eid = {0};
        uint8_t *copy = tight(tag.data, n);
        enum lm_ndef why = lm_t2t_code(copy, n, &eid);
        free(copy);
        assert_in_range(why, LM_NDEF_OK, LM_NDEF_WHYS - 1);
        tally[why]++;
        found += why == LM_NDEF_OK;
        if (why == LM_NDEF_OK) {
            assert_true(eid.known == LM_EID_CODE || eid.known == LM_EID_FULL);
            assert_true(lm_eid_key(eid) != 0);
        } else {
            assert_int_equal(eid.known, LM_EID_NONE);
        }
    }
    assert_in_range(found, 1000, 199000);
    for (unsigned why = 0; why < LM_NDEF_WHYS; why++)
        if (why != LM_NDEF_TOO_DEEP) /* chance hardly nests */
            assert_true(tally[why] > 0);
}

static void everything_has_words(void **state)
{
    (void) state;
    for (unsigned why = 0; why <= LM_NDEF_WHYS; why++)
        assert_true(strlen(lm_ndef_say((enum lm_ndef) why)) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_the_published_examples),
        cmocka_unit_test(reads_texts),
        cmocka_unit_test(reads_wide_texts),
        cmocka_unit_test(reads_addresses),
        cmocka_unit_test(takes_only_its_own_external_type),
        cmocka_unit_test(a_message_cut_anywhere_gives_no_code),
        cmocka_unit_test(any_bytes_are_taken),
        cmocka_unit_test(everything_has_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
