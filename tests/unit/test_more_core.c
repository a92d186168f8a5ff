/* Corners of the core that the other tests do not go round. */
#include "lugmark/decode.h"
#include "lugmark/telegram.h"
#include "lugmark/text.h"
#include "lugmark/time.h"
#include "ndef_help.h"

static enum lm_err decode(const char *text, struct lm_problem *p)
{
    struct lm_decoded d;
    *p = (struct lm_problem){.err = LM_OK};
    return lm_decode(text, strlen(text), &d, p);
}

/* A column too narrow for its number is shown as a row of #. */
static void a_row_of_hashes(void **state)
{
    static const struct {
        const char *text;
        enum lm_err err;
    } rows[] = {
        {"##", LM_EFRAME}, {"###", LM_EDAMAGED}, {"##########", LM_EDAMAGED}, {"###1", LM_EFRAME}};
    struct lm_problem p;
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (decode(rows[i].text, &p) != rows[i].err)
            fail_msg("%s: %s", rows[i].text, p.what);
}

/* A chip's number may stand off from its word, and far off; without hex digits it is none. */
static void a_uid_and_blanks(void **state)
{
    static const struct {
        const char *text;
        enum lm_err err;
    } rows[] = {{"uid:04A1B2C3D4E5F6", LM_OK}, {"uid: 04A1B2C3D4E5F6", LM_OK},
        {"UID:   04:A1:B2:C3:D4:E5:F6", LM_OK}, {"uid:", LM_EFRAME}, {"uid:   ", LM_EFRAME},
        {"uid: xyz", LM_EFRAME}, {"uid: 04A1", LM_ERANGE}, {"uid:E004010203040506", LM_OK},
        {"uid:04A1B2C3", LM_OK}, {"uid:04A1B2C3D4E5F60718", LM_ERANGE},
        {"uid:E00401020304050607", LM_ERANGE}, {"uid:00000000", LM_ERANGE}};
    struct lm_problem p;
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (decode(rows[i].text, &p) != rows[i].err)
            fail_msg("%s: %s", rows[i].text, p.what);
}

/* Of words of three letters one stands for a country; the others are no code of any. */
static void three_letters(void **state)
{
    static const char *const words[] = {"TSA", "tsa", "VSA", "URA", "USB", "us`", "QSA", "ESA"};
    struct lm_problem p;
    (void) state;
    assert_int_equal(decode("uSa 003123456789", &p), LM_OK);
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        char text[32];
        snprintf(text, sizeof text, "%s003123456789", words[i]);
        if (decode(text, &p) == LM_OK || strstr(p.what, "no country has the letters") != NULL)
            fail_msg("%s: %s", text, p.what);
    }
}

static void times_of_other_zones(void **state)
{
    static const struct {
        const char *text;
        int64_t minutes; /* after noon, UTC */
    } rows[] = {{"2026-03-01T12:00:00Z", 0}, {"2026-03-01T12:00:00+00:00", 0},
        {"2026-03-01T12:00:00+01:30", -90}, {"2026-03-01T12:00:00-01:30", 90},
        {"2026-03-01T12:00:00+23:59", -1439}, {"2026-03-01T12:00:00-00:01", 1}};
    int64_t noon, t;
    (void) state;
    assert_int_equal(lm_time_parse(rows[0].text, strlen(rows[0].text), &noon), LM_OK);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_int_equal(lm_time_parse(rows[i].text, strlen(rows[i].text), &t), LM_OK);
        assert_int_equal((t - noon) / 60000, rows[i].minutes);
    }
    struct lm_date none = lm_date_of(INT64_C(86400000) * 5000000); /* beyond the years we write */
    assert_int_equal(none.year, 0);
    assert_int_equal(none.month, 0);
    assert_int_equal(none.day, 0);
}

static void how_long_a_uid_is(void **state)
{
    static const struct {
        const char *uid;
        unsigned bytes;
    } rows[] = {{"04A1B2C3", 4}, {"04A1B2C3D4E5F6", 7}, {"E004010203040506", 8}};
    struct lm_eid e;
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_int_equal(lm_eid_from_uid(rows[i].uid, strlen(rows[i].uid), &e), LM_OK);
        assert_int_equal(lm_eid_uid_bytes(e), rows[i].bytes);
        assert_true(lm_eid_from_key(lm_eid_key(e)).bits == e.bits);
    }
    assert_int_equal(lm_eid_make(999, 7, &e), LM_OK);
    assert_int_equal(lm_eid_uid_bytes(e), 0);
}

/* What follows a text is not of it, even where it would make a whole letter of a cut one. */
static void a_letter_cut_at_the_end(void **state)
{
    static const char text[] = "a\xC3\xA9"
                               "b\xE2\x82\xAC";
    (void) state;
    for (size_t len = 0; len + 1 < sizeof text; len++)
        assert_int_equal(lm_text_clean(text, len), len != 2 && len != 5 && len != 6);
}

static void a_path_that_ends_in_strokes(void **state)
{
    static const struct {
        const char *rest;
        bool found;
    } rows[] = {{"a/999000000112233", true}, {"a/999000000112233/", true},
        {"a/999000000112233///", true}, {"a/999000000112233/?x=1", true}, {"///", false},
        {"/", false}};
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct bytes b = of_hex("D101");
        struct lm_eid eid;
        b.data[b.n++] = (uint8_t) (1 + strlen(rows[i].rest));
        add_hex(&b, "55 04");
        add_text(&b, rows[i].rest);
        if ((lm_ndef_code(b.data, b.n, &eid) == LM_NDEF_OK) != rows[i].found)
            fail_msg("%s", rows[i].rest);
    }
}

static void nothing_but_blanks(void **state)
{
    struct lm_problem none, blank;
    (void) state;
    assert_int_equal(decode("", &none), decode(" ", &blank));
    assert_string_equal(none.what, blank.what);
    assert_int_equal(decode("   ", &blank), none.err);
    assert_string_equal(none.what, blank.what);
}

static enum lm_ndef count(const struct lm_ndef_record *rec, void *ctx)
{
    size_t *n = ctx;
    (void) rec;
    ++*n;
    return LM_NDEF_OK;
}

/* Chunks of 200 bytes: five make a record that fits, six one that is longer than any that is taken.
 */
static void chunks_that_grow_too_long(void **state)
{
    (void) state;
    for (unsigned chunks = 5; chunks <= 6; chunks++) {
        uint8_t message[6 * 204];
        size_t at = 0, n = 0;
        for (unsigned i = 0; i < chunks; i++) {
            bool first = i == 0, last = i + 1 == chunks;
            message[at++] = (uint8_t) ((first ? 0x80u | LM_TNF_WELL_KNOWN : LM_TNF_UNCHANGED) |
                                       0x10u | (last ? 0x40u : 0x20u));
            message[at++] = first ? 1 : 0;
            message[at++] = 200;
            if (first)
                message[at++] = 'T';
            memset(message + at, 'x', 200);
            at += 200;
        }
        enum lm_ndef why = lm_ndef_records(message, at, count, &n);
        assert_int_equal(why, chunks == 5 ? LM_NDEF_OK : LM_NDEF_BROKEN);
        assert_int_equal(n, chunks == 5);
    }
}

/* Lock bits are counted in bits, reserved bytes in bytes, and none said are 256; what follows them
 * is read on. */
static void reserved_in_the_midst(void **state)
{
    (void) state;
    static const struct {
        const char *control;
        unsigned count;
        size_t bytes;
    } rows[] = {{"01", 1, 1}, {"01", 7, 1}, {"01", 8, 1}, {"01", 9, 2}, {"01", 12, 2},
        {"01", 16, 2}, {"01", 17, 3}, {"01", 0, 32}, {"01", 255, 32}, {"02", 1, 1}, {"02", 5, 5},
        {"02", 17, 17}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char data[120], text[LM_EID_TEXT_SIZE];
        /* page 2 of 16 bytes, byte 8: byte 40, which lies in the message */
        snprintf(data, sizeof data, "%s0328%02X04 0316" TEXT_RECORD "FE", rows[i].control,
            rows[i].count);
        struct bytes tag = tag_of(data);
        memmove(tag.data + 40 + rows[i].bytes, tag.data + 40, 40);
        memset(tag.data + 40, 0xAA, rows[i].bytes);
        if (strcmp(code_of_tag(tag.data, tag.n, text), "999000000112233") != 0)
            fail_msg("row %zu: %s", i, text);
    }
}

/* A wide text that begins with half a mark has none: the letters after it are no country's. */
static void half_a_mark(void **state)
{
    (void) state;
    static const struct {
        const char *first;
        bool found;
    } rows[] = {{"FEFF", true}, {"FE39", false}, {"FF39", false}, {"00FE", false}, {"00FF", false},
        {"39FF", false}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct bytes payload = of_hex("82656E"), b = {.n = 0};
        char head[16];
        struct lm_eid eid = {0};
        add_hex(&payload, rows[i].first);
        for (const char *c = "DE 123456789012"; *c != '\0'; c++) {
            payload.data[payload.n++] = 0;
            payload.data[payload.n++] = (uint8_t) *c;
        }
        snprintf(head, sizeof head, "D101%02zX54", payload.n);
        add_hex(&b, head);
        memcpy(b.data + b.n, payload.data, payload.n);
        b.n += payload.n;
        assert_int_equal(
            lm_ndef_code(b.data, b.n, &eid), rows[i].found ? LM_NDEF_OK : LM_NDEF_NO_CODE);
    }
    /* digits follow: they stand alone, and would not in the other order of bytes */
    static const char *const firsts[] = {"FE39", "FF39", "00FE", "00FF"};
    for (size_t i = 0; i < sizeof firsts / sizeof *firsts; i++) {
        struct bytes b = of_hex("D1012354 82656E");
        struct lm_eid eid = {0};
        add_hex(&b, firsts[i]);
        for (const char *c = "999000000112233"; *c != '\0'; c++) {
            b.data[b.n++] = 0;
            b.data[b.n++] = (uint8_t) *c;
        }
        assert_int_equal(lm_ndef_code(b.data, b.n, &eid), LM_NDEF_OK);
    }
    struct lm_eid eid;
    struct bytes empty = of_hex("D1010154 80"), one = of_hex("D1010354 80 FEFF");
    uint8_t *copy = tight(empty.data, empty.n);
    assert_int_equal(lm_ndef_code(copy, empty.n, &eid), LM_NDEF_NO_CODE);
    free(copy);
    assert_int_equal(lm_ndef_code(one.data, one.n, &eid), LM_NDEF_NO_CODE);
}

static void keep(const struct lm_telegram *t, void *ctx)
{
    struct lm_telegram *found = ctx;
    *found = *t;
}

/* Two telegrams in one stream, the first at each phase: fed by bytes as pushed by bits. */
static void at_each_phase(void **state)
{
    (void) state;
    const uint64_t code = UINT64_C(0x8000F9C00001B669), other = UINT64_C(0x8000F9C00001B66A);
    for (unsigned phase = 0; phase < 64; phase++) {
        uint8_t first[LM_FDXB_BYTES], second[LM_FDXB_BYTES], stream[48];
        lm_fdxb_encode(code, 0, first);
        lm_fdxb_encode(other, 0, second);
        memset(stream, 0xFF, sizeof stream);
        for (unsigned i = 0; i < 2 * LM_FDXB_BITS; i++) {
            const uint8_t *from = i < LM_FDXB_BITS ? first : second;
            unsigned k = i % LM_FDXB_BITS, to = i + phase;
            unsigned bit = (unsigned) from[k / 8] >> (7 - k % 8) & 1u;
            if (!bit)
                stream[to / 8] = (uint8_t) (stream[to / 8] & ~(0x80u >> to % 8));
        }
        struct lm_bitstream s = {.codings = 1u << LM_CODING_FDXB};
        struct lm_telegram t = {0};
        lm_bitstream_feed(&s, stream, (phase + LM_FDXB_BITS + 7) / 8, keep, &t);
        assert_true(t.eid.bits == code);
        lm_bitstream_feed(&s, stream + (phase + LM_FDXB_BITS + 7) / 8,
            sizeof stream - (phase + LM_FDXB_BITS + 7) / 8, keep, &t);
        assert_true(t.eid.bits == other);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_row_of_hashes),
        cmocka_unit_test(nothing_but_blanks),
        cmocka_unit_test(a_uid_and_blanks),
        cmocka_unit_test(how_long_a_uid_is),
        cmocka_unit_test(a_letter_cut_at_the_end),
        cmocka_unit_test(a_path_that_ends_in_strokes),
        cmocka_unit_test(three_letters),
        cmocka_unit_test(times_of_other_zones),
        cmocka_unit_test(chunks_that_grow_too_long),
        cmocka_unit_test(reserved_in_the_midst),
        cmocka_unit_test(half_a_mark),
        cmocka_unit_test(at_each_phase),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
