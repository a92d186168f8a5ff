/** Decoder `frame`: published frames by description alone, cut anywhere, damaged, and in garbage.
 */
#include "sink_log.h"

#include <stdlib.h>

#include "drivers/frame.h"
#include "drivers/list.h"

#define KEYS 8

/** A description and one frame of it. */
struct row {
    const char *legend;
    struct lm_setting s[KEYS];
    const char *hex;
    const char *want;
};

#define ASCII30                                                                                    \
    {"start", "02"},                                                                               \
        {"fields", "national:10:hex:reversed country:4:hex:reversed data:1 animal:1 skip:10"},     \
        {"check", "xor then-inverted"},                                                            \
    {                                                                                              \
        "end", "03 or 07"                                                                          \
    }
#define PUBLISHED_A                                                                                \
    "02 31 37 31 41 39 32 35 33 41 33 34 38 33 30 30 31 30 30 30 30 30 30 30 30 30 30 07 F8 "

/* A to F are the framings of module datasheets; frames marked (made) are of our own making. */
static const struct row rows[] = {
    {"A", {ASCII30}, PUBLISHED_A "03", "900250000023921"},
    {"A, end as some modules send it for HDX", {ASCII30}, PUBLISHED_A "07", "900250000023921"},
    {"A, every byte said in single fields",
        {{"start", "02"}, {"fields", "national:10:hex:reversed"},
            {"fields2", "country:4:hex:reversed data:1:decimal"},
            {"fields3", "animal:1:hex literal:30303030"}, {"fields4", "skip:6"},
            {"check", "xor then-inverted"}, {"check_over", "from national"}, {"end", "03"}},
        PUBLISHED_A "03", "900250000023921"},
    {"B (made)",
        {{"start", "AA"}, {"fields", "literal:0F0800 country:2 national:5"}, {"check", "xor"},
            {"end", "BB"}},
        "AA 0F 08 00 03 84 3A 35 29 A1 71 76 BB", "900250000023921"},
    {"C, digits two a byte",
        {{"start", "02"},
            {"fields", "skip:1 literal:00 length:1 national:6:bcd country:2:bcd data:1:bit4"},
            {"fields2", "skip:2 animal:1:bit4"}, {"check", "xor"}, {"check_over", "start"},
            {"end", "03"}},
        "02 01 00 0C 11 22 33 44 55 66 01 23 00 00 00 10 4A 03", "123112233445566"},
    {"C, a raw telegram packed lowest bit first",
        {{"start", "02"}, {"fields", "skip:1 literal:00 length:1 telegram:16:lsb"},
            {"check", "xor"}, {"check_over", "start"}, {"end", "03"}},
        "02 01 00 10 00 F4 8D 57 74 48 ED 1E 01 02 B6 FE 10 20 40 80 49 03", "123112233445566"},
    {"C, the 64 bits and their CRC",
        {{"start", "02"},
            {"fields", "skip:1 literal:00 length:1 block:8:little crc16code:2:little"},
            {"check", "xor"}, {"check_over", "start"}, {"end", "03"}},
        "02 01 00 0A BE 78 A2 21 DA 1E 00 80 D6 0F D1 03", "123112233445566"},
    {"D (made)", {{"start", "01"}, {"fields", "length:1 skip:1 block:8:little"}, {"check", "xor"}},
        "01 09 0F 39 30 00 00 C0 F9 00 80 B6", "999000000012345"},
    {"E with a code (made)",
        {{"start", "02"}, {"fields", "skip:1 length:1 block:8"}, {"check", "xor"}, {"end", "03"}},
        "02 64 08 80 00 F9 C0 00 00 30 39 DC 03", "999000000012345"},
    {"E with more behind the code, of which start and end are a part (made)",
        {{"start", "02"}, {"fields", "skip:1 length:1 block:8 rest:40"}, {"check", "xor"},
            {"end", "03"}},
        "02 64 0B 80 00 F9 C0 00 00 30 39 02 03 02 DC 03", "999000000012345"},
    {"F (made)",
        {{"start", "AA BB"},
            {"fields", "length:2 skip:2 literal:0010 literal:00 national:5 country:2 data:1"},
            {"fields2", "animal:1 skip:2 skip:3"}, {"check", "xor"}, {"check_over", "field 2"}},
        "AA BB 00 13 00 01 00 10 00 00 00 00 30 39 03 E7 00 01 38 3A 00 00 00 FF",
        "999000000012345"},
    {"F, the length counts all of it (made)",
        {{"start", "AABB"},
            {"fields", "length:2:big skip:4 literal:00 national:5 country:2 data:1 animal:1"},
            {"fields2", "skip:5"}, {"length_counts", "from start through end"},
            {"check", "xor big"}, {"check_over", "skip"}},
        "AA BB 00 18 00 01 00 10 00 00 00 00 30 39 03 E7 00 01 38 3A 00 00 00 FF",
        "999000000012345"},
    {"CRC-16 over the block, low byte first, two bytes at either end (made)",
        {{"start", "A5 5A"}, {"fields", "block:8"}, {"check", "crc16 poly:1021 init:FFFF little"},
            {"check_over", "block"}, {"end", "0D 0A"}},
        "A5 5A 80 00 F9 C0 00 00 30 39 B6 84 0D 0A", "999000000012345"},
    {"decimal digits and a sum in hex (made)",
        {{"start", "02"}, {"fields", "country:3:decimal national:12:decimal"},
            {"check", "sum8 hex"}, {"end", "03"}},
        "02 39 39 39 30 30 30 30 30 30 30 31 32 33 34 35 46 41 03", "999000000012345"},
    {"a negated sum in small hex digits (made)",
        {{"start", "02"}, {"fields", "country:3:decimal national:12:decimal"},
            {"check", "sum8 negated hex"}, {"end", "03"}},
        "02 39 39 39 30 30 30 30 30 30 30 31 32 33 34 30 30 62 03", "999000000012340"},
    {"a sum of 16 bits, low byte first, turned over (made)",
        {{"start", "02"}, {"fields", "country:3:decimal national:12:decimal"},
            {"check", "sum16 inverted little"}, {"end", "03"}},
        "02 39 39 39 30 30 30 30 30 30 30 31 32 33 34 35 05 FD 03", "999000000012345"},
    {"the 64 bits in the order of the air, with their CRC for all check (made)",
        {{"start", "7E"}, {"fields", "block:8:little:lsb crc16code:2:little:lsb"}},
        "7E 9C 0C 00 00 03 9F 00 01 5C 1C", "999000000012345"},
    {"a telegram in hex (made)", {{"start", "3A"}, {"fields", "telegram:32:hex"}, {"end", "0D"}},
        "3A 30 30 32 46 42 31 45 41 32 45 31 32 42 37 37 38 38 30 34 30 36 44 37 46 30 38 30 34 30 "
        "32 30 31 0D",
        "123112233445566"},
    {"little-endian numbers, hex in the order of bytes (made)",
        {{"start", "24"}, {"fields", "length:2:hex national:10:hex:little country:4:hex:little"},
            {"length_counts", "length through fields"}, {"check", "sum8"}, {"end", "0A"}},
        "24 31 30 33 39 33 30 30 30 30 30 30 30 45 37 30 33 2F 0A", "999000000012345"},
};
#define ROWS (sizeof rows / sizeof rows[0])

static size_t settings_of(const struct row *row)
{
    size_t n = 0;
    while (n < KEYS && row->s[n].key != NULL)
        n++;
    return n;
}

static size_t unhex(const char *hex, uint8_t *out)
{
    size_t n = 0;
    for (char *end = NULL; *hex != '\0'; hex = end) {
        out[n++] = (uint8_t) strtoul(hex, &end, 16);
        end += strspn(end, " ");
    }
    return n;
}

static void feed(
    struct sink_log *log, const struct row *row, const uint8_t *bytes, size_t len, size_t piece)
{
    sink_log_feed(log, &lm_decoder_frame, row->s, settings_of(row), bytes, len, piece);
}

static void expect(const struct sink_log *log, const struct row *row, const char *want)
{
    if (strcmp(log->text, want) != 0)
        fail_msg("%s: want '%s', got '%s'", row->legend, want, log->text);
}

/** Twice back to back, whole and in pieces: two readings and nothing thrown away. */
static void test_frames(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < ROWS; i++) {
        uint8_t bytes[256];
        char want[64];
        struct sink_log log;
        size_t len = unhex(rows[i].hex, bytes);
        memcpy(bytes + len, bytes, len);
        snprintf(want, sizeof want, "%s %s", rows[i].want, rows[i].want);
        for (size_t piece = 0; piece <= 7; piece++) {
            feed(&log, &rows[i], bytes, 2 * len, piece);
            expect(&log, &rows[i], want);
        }
    }
}

/** What the worked frame says beside its digits. */
static void test_flags(void **unused)
{
    (void) unused;
    static const struct {
        size_t row;
        size_t at; /* byte that is changed, 0 for none */
        uint8_t flip;
        uint64_t bits;
    } cases[] = {
        {0, 0, 0, UINT64_C(0x8000E13A3529A171)},
        {0, 15, 1, UINT64_C(0x8001E13A3529A171)}, /* data flag */
        {0, 16, 1, UINT64_C(0x0000E13A3529A171)}, /* not on an animal */
        {4, 15, 0x10, UINT64_C(0x00001EDA21A278BE)},
        {4, 12, 0x10, UINT64_C(0x80011EDA21A278BE)},
        {6, 0, 0, UINT64_C(0x80001EDA21A278BE)},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct row *row = &rows[cases[i].row];
        uint8_t bytes[256];
        struct sink_log log;
        size_t len = unhex(row->hex, bytes);
        bytes[cases[i].at] ^= cases[i].flip;
        if (cases[i].row == 0 && cases[i].at > 0) { /* mend its checks */
            bytes[len - 3] ^= cases[i].flip;
            bytes[len - 2] ^= cases[i].flip;
        } else if (cases[i].at > 0) {
            bytes[len - 2] ^= cases[i].flip;
        }
        feed(&log, row, bytes, len, 0);
        expect(&log, row, row->want);
        assert_int_equal(log.last.eid.known, LM_EID_FULL);
        assert_true(log.last.eid.bits == cases[i].bits);
    }
    struct sink_log log;
    uint8_t bytes[256];
    feed(&log, &rows[3], bytes, unhex(rows[3].hex, bytes), 0);
    assert_int_equal(log.last.eid.known, LM_EID_CODE); /* B has the 15 digits only */
}

/** Garbage before, between and behind: each gap is counted once, and costs no frame. */
static void test_garbage(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < ROWS; i++) {
        uint8_t frame[128], bytes[1024];
        char want[128];
        struct sink_log log;
        size_t len = unhex(rows[i].hex, frame);
        for (size_t garbage = 1; garbage < 40; garbage++) {
            size_t at = 0;
            for (int times = 0; times < 2; times++) {
                memset(bytes + at, 0x55, garbage);
                memcpy(bytes + at + garbage, frame, len);
                at += garbage + len;
            }
            snprintf(want, sizeof want, "!no-code %s !no-code %s", rows[i].want, rows[i].want);
            feed(&log, &rows[i], bytes, at, 1 + garbage % 5);
            expect(&log, &rows[i], want);
            assert_int_equal(log.bytes, 2 * garbage);
        }
        memcpy(bytes, "\r\n\0\0", 4);
        memcpy(bytes + 4, frame, len);
        memcpy(bytes + 4 + len, "\r\n", 2);
        feed(&log, &rows[i], bytes, len + 6, 0);
        expect(&log, &rows[i], rows[i].want); /* line ends around it are silence */
    }
}

/** Cut off at every byte, the next frame is read all the same. */
static void test_cut(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < ROWS; i++) {
        uint8_t frame[128], bytes[512];
        struct sink_log log;
        size_t len = unhex(rows[i].hex, frame);
        for (size_t cut = 1; cut < len; cut++) {
            memcpy(bytes, frame, cut);
            memcpy(bytes + cut, frame, len);
            memcpy(bytes + cut + len, frame, len);
            feed(&log, &rows[i], bytes, cut + 2 * len, 1);
            assert_in_range(log.readings, 1, 2);
            const char *last = strrchr(log.text, ' ');
            assert_string_equal(last != NULL ? last + 1 : log.text, rows[i].want);
            memcpy(bytes, frame + cut, len - cut); /* and one that lost its front */
            memcpy(bytes + len - cut, frame, len);
            feed(&log, &rows[i], bytes, 2 * len - cut, 0);
            assert_int_equal(log.readings, 1);
            assert_non_null(strstr(log.text, rows[i].want));
        }
    }
}

/** A single wrong bit gives no other code, and the frame behind it is read. */
static void test_one_wrong_bit(void **unused)
{
    (void) unused;
    size_t checks = 0;
    for (size_t i = 0; i < ROWS; i++) {
        uint8_t bytes[512];
        struct sink_log log;
        size_t len = unhex(rows[i].hex, bytes);
        memcpy(bytes + len, bytes, len);
        memcpy(bytes + 2 * len, bytes, len);
        for (size_t bit = 0; bit < 8 * len; bit++) {
            bytes[bit / 8] ^= (uint8_t) (1u << bit % 8);
            feed(&log, &rows[i], bytes, 3 * len, 0);
            bytes[bit / 8] ^= (uint8_t) (1u << bit % 8);
            size_t readings = 0;
            for (const char *at = log.text; *at != '\0'; at += strspn(at, " ")) {
                size_t word = strcspn(at, " ");
                if (*at != '!' && strncmp(at, rows[i].want, word) != 0)
                    fail_msg("%s, bit %zu: '%s'", rows[i].legend, bit, log.text);
                readings += *at != '!';
                at += word;
            }
            if (readings < 1 ||
                readings > 3) /* a wrong length may swallow the next one, not both */
                fail_msg("%s, bit %zu: '%s'", rows[i].legend, bit, log.text);
            checks += log.rejects[LM_REJECT_CHECK];
        }
    }
    assert_true(checks > 500);
}

/** Each wrong checksum value of the worked frame is counted as such, once. */
static void test_wrong_check(void **unused)
{
    (void) unused;
    uint8_t bytes[64];
    struct sink_log log;
    size_t len = unhex(rows[0].hex, bytes);
    for (unsigned wrong = 1; wrong < 256; wrong++) {
        bytes[27] ^= (uint8_t) wrong;
        feed(&log, &rows[0], bytes, len, 0);
        expect(&log, &rows[0], "!check");
        assert_int_equal(log.bytes, len);
        bytes[27] ^= (uint8_t) wrong;
        bytes[28] ^= (uint8_t) wrong;
        feed(&log, &rows[0], bytes, len, 0);
        expect(&log, &rows[0], "!check");
        bytes[28] ^= (uint8_t) wrong;
    }
}

static void make_frame(const struct row *row, uint8_t *frame, size_t check_at)
{
    struct lm_frame_spec spec;
    assert_int_equal(lm_frame_spec_read(&spec, row->s, settings_of(row), NULL), LM_OK);
    lm_frame_check_make(
        &spec.check, frame + spec.start_len, check_at - spec.start_len, frame + check_at);
}

/** Start and end bytes inside the code and the checksum, and codes that no chip can hold. */
static void test_values(void **unused)
{
    (void) unused;
    static const struct {
        const char *hex; /* of framing B, its checksum made */
        const char *want;
    } cases[] = {
        {"AA 0F 08 00 03 84 0A AA BB AA BB 00 BB", "900045814098619"},
        {"AA 0F 08 00 03 84 3F FF FF FF FF 00 BB", "900274877906943"},
        {"AA 0F 08 00 03 84 40 00 00 00 00 00 BB", "!range"},
        {"AA 0F 08 00 04 00 00 00 00 00 01 00 BB", "!range"},
        {"AA 0F 08 00 00 00 00 00 00 00 00 00 BB", "!range"},
        {"AA 0F 08 00 03 E7 00 00 00 00 00 00 BB", "999000000000000"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint8_t bytes[64];
        char want[64];
        struct sink_log log;
        size_t len = unhex(cases[i].hex, bytes);
        make_frame(&rows[3], bytes, len - 2);
        memcpy(bytes + len, bytes, len);
        snprintf(want, sizeof want, "%s %s", cases[i].want, cases[i].want);
        feed(&log, &rows[3], bytes, 2 * len, 1);
        if (strcmp(log.text, want) != 0)
            fail_msg("%s: want '%s', got '%s'", cases[i].hex, want, log.text);
    }
    uint8_t bytes[64]; /* a letter that is no digit, under a right check: a frame without a code */
    struct sink_log log;
    size_t len = unhex(rows[0].hex, bytes);
    bytes[3] = 'G';
    make_frame(&rows[0], bytes, 27);
    feed(&log, &rows[0], bytes, len, 0);
    expect(&log, &rows[0], "!no-code");
    assert_int_equal(log.bytes, len);
}

/** Numbers that do not fit their field are refused, never cut down to ones that fit. */
static void test_wide_numbers(void **unused)
{
    (void) unused;
    static const struct row row = {"wide",
        {{"start", "02"}, {"fields", "retag:2 user:2 country:4 national:8"}, {"check", "sum8"}}, "",
        ""};
    static const struct {
        const char *hex;
        const char *want;
    } cases[] = {
        {"02 00 07 00 1F 00 00 03 E7 00 00 00 00 00 00 30 39 00", "999000000012345"},
        {"02 01 00 00 00 00 00 03 E7 00 00 00 00 00 00 30 39 00", "!range"},
        {"02 00 08 00 00 00 00 03 E7 00 00 00 00 00 00 30 39 00", "!range"},
        {"02 00 00 01 00 00 00 03 E7 00 00 00 00 00 00 30 39 00", "!range"},
        {"02 00 00 00 20 00 00 03 E7 00 00 00 00 00 00 30 39 00", "!range"},
        {"02 00 00 00 00 00 01 03 E7 00 00 00 00 00 00 30 39 00", "!range"},
        {"02 00 00 00 00 00 00 03 E7 00 00 01 00 00 00 30 39 00", "!range"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint8_t bytes[64];
        struct sink_log log;
        size_t len = unhex(cases[i].hex, bytes);
        make_frame(&row, bytes, len - 1);
        feed(&log, &row, bytes, len, 0);
        expect(&log, &row, cases[i].want);
        if (i == 0)
            assert_true(log.last.eid.bits == UINT64_C(0xFF80F9C000003039));
    }
}

/** A wrong end is no frame, and what was refused once is not counted again as garbage. */
static void test_accounts(void **unused)
{
    (void) unused;
    static const struct row row = {"varying",
        {{"start", "02"}, {"fields", "length:1 block:8 rest:40"}, {"check", "xor"}, {"end", "03"}},
        "", ""};
    uint8_t bytes[64];
    struct sink_log log;
    size_t len = unhex(rows[0].hex, bytes);
    memcpy(bytes + len, bytes, len);
    bytes[len - 1] = 4;
    feed(&log, &rows[0], bytes, 2 * len, 0);
    expect(&log, &rows[0], "!no-code 900250000023921");
    assert_int_equal(log.bytes, len);
    /* 24 bytes with a wrong check, inside which 12 with a wrong check begin and end */
    len = unhex("02 14 00 00 00 02 08 01 02 03 04 05 06 07 08 FF 03 00 01 02 03 04 FF 03", bytes);
    len += unhex("02 08 80 00 F9 C0 00 00 30 39 B8 03", bytes + len);
    feed(&log, &row, bytes, len, 0);
    expect(&log, &row, "!check !check 999000000012345");
    assert_int_equal(log.rejects[LM_REJECT_NO_CODE], 0);
}

/** What else the modules of framings C and E say is no frame with a code. */
static void test_other_messages(void **unused)
{
    (void) unused;
    static const char *const others[] = {"02 64 01 78 1D 03", "02 01 A7 01 00 A5 03"};
    for (size_t i = 0; i < 2; i++) {
        uint8_t bytes[64], sum[8];
        struct sink_log log;
        size_t len = unhex(others[i], bytes);
        struct lm_frame_check xor = {.kind = LM_FRAME_XOR};
        lm_frame_check_make(&xor, bytes + (i == 0), len - 2 - (i == 0), sum);
        assert_int_equal(sum[0], bytes[len - 2]); /* the published sums */
        for (size_t row = 4; row <= 9; row++) {
            size_t more = unhex(rows[row].hex, bytes + len);
            feed(&log, &rows[row], bytes, len + more, 0);
            assert_int_equal(log.readings, 1);
            assert_non_null(strstr(log.text, rows[row].want));
        }
    }
}

/** The catalogue's check values, for "123456789". */
static void test_sums(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_setting check;
        const char *hex;
    } cases[] = {
        {{"check", "crc16 poly:1021 reflect-in reflect-out"}, "21 89"},
        {{"check", "crc16 poly:1021"}, "31 C3"},
        {{"check", "crc16 poly:1021 init:FFFF"}, "29 B1"},
        {{"check", "crc16 poly:1021 init:FFFF xorout:FFFF reflect-in reflect-out"}, "90 6E"},
        {{"check", "crc16 poly:8005 reflect-in reflect-out"}, "BB 3D"},
        {{"check", "crc16 poly:8005 init:FFFF reflect-in reflect-out little"}, "37 4B"},
        {{"check", "xor"}, "31"},
        {{"check", "xor inverted"}, "CE"},
        {{"check", "sum8"}, "DD"},
        {{"check", "sum8 negated"}, "23"},
        {{"check", "sum8 then-inverted"}, "DD 22"},
        {{"check", "sum16"}, "01 DD"},
        {{"check", "sum16 little hex"}, "44 44 30 31"},
        {{"check", "sum16 negated then-inverted"}, "FE 23 01 DC"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct lm_setting s[] = {{"start", "02"}, {"fields", "block:8"}, cases[i].check};
        struct lm_frame_spec spec;
        uint8_t want[8], got[8];
        assert_int_equal(lm_frame_spec_read(&spec, s, 3, NULL), LM_OK);
        size_t len = unhex(cases[i].hex, want);
        assert_int_equal(lm_frame_check_bytes(&spec.check), len);
        lm_frame_check_make(&spec.check, (const uint8_t *) "123456789", 9, got);
        assert_memory_equal(got, want, len);
    }
}

/** A megabyte of chance gives nothing where 16 bits or more guard the frame. */
static void test_chance(void **unused)
{
    (void) unused;
    static const size_t guarded[] = {0, 5, 6, 12, 15, 16, 17};
    enum { LEN = 1 << 20 };
    uint8_t *bytes = malloc(LEN);
    uint64_t seed = 1;
    assert_non_null(bytes);
    for (size_t i = 0; i < LEN; i++)
        bytes[i] = sink_log_random(&seed);
    for (size_t i = 0; i < sizeof guarded / sizeof guarded[0]; i++) {
        struct sink_log log;
        feed(&log, &rows[guarded[i]], bytes, LEN, 4096);
        assert_int_equal(log.readings, 0);
        assert_true(log.rejects[LM_REJECT_NO_CODE] > 1000);
        assert_in_range(log.bytes, LEN * 9 / 10, LEN + 4096); /* all but NUL, CR, LF are told of */
    }
    free(bytes);
}

/** What was begun before a hang-up does not run together with what comes after. */
static void test_reset(void **unused)
{
    (void) unused;
    uint8_t bytes[64];
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    size_t len = unhex(rows[0].hex, bytes);
    void *state = lm_decoder_frame.new_(rows[0].s, settings_of(&rows[0]), NULL);
    assert_non_null(state);
    lm_decoder_frame.feed(state, bytes, 12, &sink);
    lm_decoder_frame.reset(state);
    lm_decoder_frame.feed(state, bytes + 12, len - 12, &sink);
    assert_int_equal(log.readings, 0);
    lm_decoder_frame.feed(state, bytes, len, &sink);
    expect(&log, &rows[0], "!no-code 900250000023921");
    lm_decoder_frame.free_(state);
}

/** Longest frame and longest rest: the buffer is bounded and never runs over. */
static void test_longest(void **unused)
{
    (void) unused;
    static const struct row row = {
        "longest", {{"start", "02"}, {"fields", "length:2 block:8 skip:500 rest:512"}}, "", ""};
    static uint8_t bytes[8 * LM_FRAME_MAX];
    struct sink_log log;
    memset(bytes, 0x02, sizeof bytes); /* false starts whose length, 0x0202, fits */
    feed(&log, &row, bytes, sizeof bytes, 100);
    assert_true(log.readings > 0);
    uint64_t seed = 2;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = sink_log_random(&seed) & 3;
    feed(&log, &row, bytes, sizeof bytes, 1);
    assert_true(log.bytes > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frames),
        cmocka_unit_test(test_flags),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_cut),
        cmocka_unit_test(test_one_wrong_bit),
        cmocka_unit_test(test_wrong_check),
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_wide_numbers),
        cmocka_unit_test(test_accounts),
        cmocka_unit_test(test_other_messages),
        cmocka_unit_test(test_sums),
        cmocka_unit_test(test_chance),
        cmocka_unit_test(test_reset),
        cmocka_unit_test(test_longest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
