/** Decoder `text`: every form of line, cut anywhere, and garbage. */
#include "sink_log.h"
#include "drivers/list.h"

#define A "999000000012345"
#define B "999000000067890"

struct row {
    const char *legend;
    const char *bytes;
    size_t len;
    const char *want;
};

#define ROW(legend, bytes, want)                                                                   \
    {                                                                                              \
        legend, bytes, sizeof bytes - 1, want                                                      \
    }

static const struct row rows[] = {
    /* how a line ends */
    ROW("CR LF", A "\r\n", A),
    ROW("CR alone", A "\r", A),
    ROW("LF alone", A "\n", A),
    ROW("NUL", A "\0", A),
    ROW("NUL padding", "\0\0\0" A "\0\0\0\0", A),
    ROW("STX and ETX", "\x02" A "\x03", A),
    ROW("STX and ETX CR LF", "\x02" A "\x03\r\n", A),
    ROW("STX, CR LF", "\x02" A "\r\n", A),
    ROW("no end yet", A, ""),
    ROW("nothing", "", ""),
    ROW("empty lines are silence", "\r\n\r\n\n\r\0\0 \t \r\n", ""),
    ROW("control bytes alone are silence", "\a\x1b\x7f\r", ""),
    ROW("blanks around", "  \t" A " \t\r", A),
    ROW("two lines", A "\r\n" B "\r\n", A " " B),
    ROW("three lines, three ends", A "\r" B "\n" A "\0", A " " B " " A),
    ROW("STX begins a line whose end was lost", A "\x02" B "\r", A " " B),
    ROW("STX after a broken line", "99900000001\x02" A "\r", "!no-code " A),
    /* how a code is written */
    ROW("blank between", "999 000000012345\r", A),
    ROW("dash between", "999-000000012345\r", A),
    ROW("dot between", "999.000000012345\r", A),
    ROW("underscore between", "999_000000012345\r", A),
    ROW("tab between", "999\t000000012345\r", A),
    ROW("slash is no separator", "999/000000012345\r", "!no-code"),
    ROW("two blanks are no separator", "999  000000012345\r", "!no-code"),
    ROW("country with leading zero", "036000000000001\r", "036000000000001"),
    ROW("3 + 11", "999 00000012345\r", "!no-code"),
    ROW("3 + 13", "999 0000000123456\r", "!no-code"),
    ROW("4 + 12", "0999 000000012345\r", "!no-code"),
    ROW("14 digits", "99900000001234\r", "!no-code"),
    ROW("16 digits", "9990000000123450\r", "!no-code"),
    ROW("17 digits", A "00\r", "!no-code"),
    ROW("30 digits", A B "\r", "!no-code"),
    ROW("a bare word", "hello\r", "!no-code"),
    ROW("country in letters is left to a pattern", "GB 000000012345\r", "!no-code"),
    /* what stands around it */
    ROW("letters in front", "LA " A "\r", A),
    ROW("letters close in front", "LA" A "\r", A),
    ROW("letters behind", A " OK\r", A),
    ROW("letters that are hex digits too", "A" A "\r", A),
    ROW("time before", "2026-11-02 08:00:01.250 " A "\r\n", A),
    ROW("time after", A " 2026-11-02T08:00:01Z\r\n", A),
    ROW("time of 14 digits", "20261102080001 " A "\r\n", A),
    ROW("epoch in milliseconds", "1793606401250 " A "\r\n", A),
    ROW("weight before", "45.500kg " A "\r\n", A),
    ROW("weight after", A ",45.500\r\n", A),
    ROW("counter and user information in front",
        "\x02"
        "1 08 " A " 00\r\n",
        A),
    ROW("quotes and commas", "\"1\",\"" A "\",\"x\"\r\n", A),
    ROW("a time and no code", "2026-11-02 08:00:01\r\n", "!no-code"),
    ROW("bytes above 127 around", "\xc3\xa9" A "\xff\r", A),
    ROW("bell inside the digits", "9990000\a00012345\r", "!no-code"),
    ROW("DEL inside the digits",
        "9990000\x7f"
        "00012345\r",
        "!no-code"),
    /* more than one */
    ROW("two different codes", A " " B "\r", "!two-codes"),
    ROW("two ways of two codes", A " 999 000000067890\r", "!two-codes"),
    ROW("three, two alike", A " " B " " A "\r", "!two-codes"),
    ROW("the same twice", A " " A "\r", A),
    ROW("the same in two ways", A " 999-000000012345\r", A),
    /* what fits in no chip */
    ROW("fifteen nines", "999999999999999\r", "?range"),
    ROW("one above the highest", "999274877906944\r", "?range"),
    ROW("the highest", "999274877906943\r", "999274877906943"),
    ROW("all zero", "000000000000000\r", "!range"),
    ROW("split and out of range", "999 999999999999\r", "?range"),
    ROW("out of range beside a good one", "999999999999999 " A "\r", A),
    /* a reader left in hexadecimal mode */
    ROW("64 bits whose hex has 15 digits in a row", "800012345678901A\r", "!no-code"),
    ROW("a telegram in hex", "002FB1EA2E12B77880406D7F08040201\r", "!no-code"),
    ROW("a telegram in hex with 15 digits inside", "0A123456789012345F0012345678901B\r",
        "!no-code"),
    /* after all that, the next line is read */
    ROW("a bad line, a good line", "???\r\n" A "\r\n", "!no-code " A),
};

static const struct lm_setting none[1] = {{"decoder", "text"}};

static void expect(const struct row *row, size_t piece)
{
    struct sink_log log;
    sink_log_feed(&log, &lm_decoder_text, none, 1, row->bytes, row->len, piece);
    if (strcmp(log.text, row->want) != 0)
        fail_msg(
            "%s (pieces of %zu): want '%s', got '%s'", row->legend, piece, row->want, log.text);
}

static void test_lines(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        expect(&rows[i], 0);
}

static void test_cut_anywhere(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (size_t piece = 1; piece <= 7; piece++)
            expect(&rows[i], piece);
    }
}

/** A line that breaks off at any byte gives no reading, and after a reset harms nothing. */
static void test_truncated(void **unused)
{
    (void) unused;
    static const char line[] = "\x02"
                               "1 08 " A " 45.5\r";
    struct sink_log log;
    for (size_t cut = 0; cut < sizeof line - 2; cut++) {
        struct lm_sink sink = sink_log_sink(&log);
        void *state = lm_decoder_text.new_(none, 1, NULL);
        assert_non_null(state);
        lm_decoder_text.feed(state, (const uint8_t *) line, cut, &sink);
        assert_int_equal(log.readings, 0);
        lm_decoder_text.reset(state);
        lm_decoder_text.feed(state, (const uint8_t *) line + 1, sizeof line - 2, &sink);
        assert_string_equal(log.text, A);
        lm_decoder_text.free_(state);
    }
}

/** Without a reset, the next line begins with STX and is read all the same. */
static void test_truncated_then_stx(void **unused)
{
    (void) unused;
    struct sink_log log;
    for (size_t cut = 0; cut < 15; cut++) {
        char bytes[64];
        int len = snprintf(bytes, sizeof bytes, "%.*s\x02" B "\r", (int) cut, A);
        sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, (size_t) len, 0);
        assert_string_equal(log.text, cut > 0 ? "!no-code " B : B);
    }
}

static void test_too_long(void **unused)
{
    (void) unused;
    struct sink_log log;
    char bytes[3000];
    memset(bytes, 'x', sizeof bytes);
    /* 512 bytes are a line still. */
    memcpy(bytes, A " ", 16);
    bytes[512] = '\r';
    sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, 513, 0);
    assert_string_equal(log.text, A);
    /* 513 are not; it is said once, and the code inside is not used. */
    bytes[512] = 'x';
    memcpy(bytes + 2000, "\r" B "\r", 17);
    sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, 2017, 0);
    assert_string_equal(log.text, "!too-long " B);
    /* A code in the tail of the long line is not used either. */
    memcpy(bytes + 2000, " " B "\r", 17);
    sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, 2017, 1);
    assert_string_equal(log.text, "!too-long");
}

static void test_garbage(void **unused)
{
    (void) unused;
    enum { GARBAGE = 1 << 20 };
    static uint8_t bytes[GARBAGE];
    uint64_t seed = 11784;
    struct sink_log log;
    for (size_t i = 0; i < GARBAGE; i++)
        bytes[i] = sink_log_random(&seed);
    sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, GARBAGE, 0);
    assert_int_equal(log.readings, 0);
    assert_true(log.rejects[LM_REJECT_NO_CODE] > 1000);
    /* Digits and line ends only: much nearer to a code. A reading may only be a line of 15. */
    static const char alphabet[] = "0123456789 -\r\x02";
    for (size_t i = 0; i < GARBAGE; i++)
        bytes[i] = (uint8_t) alphabet[bytes[i] % (sizeof alphabet - 1)];
    sink_log_feed(&log, &lm_decoder_text, none, 1, bytes, GARBAGE, 4096);
    assert_true(log.readings > 0);
    assert_true(log.doubtful > 0 && log.doubtful < log.readings);
}

static void test_event_is_plain(void **unused)
{
    (void) unused;
    struct sink_log log;
    sink_log_feed(&log, &lm_decoder_text, none, 1, A "\r", 16, 0);
    assert_int_equal(log.last.t_ms, LM_TIME_NONE);
    assert_int_equal(log.last.clock_ms, LM_TIME_NONE);
    assert_string_equal(log.last.lane, "");
    assert_string_equal(log.last.text, "");
    assert_int_equal(log.last.doubt, LM_DOUBT_NONE);
    assert_int_equal(log.last.eid.known, LM_EID_CODE);
}

static const struct {
    const char *pattern;
    struct row row;
} pattern_rows[] = {
    {"ID=([0-9]{15})", ROW("by its key", "N=" B " ID=" A "\r", A)},
    {"ID=([0-9]{15})", ROW("key not there", A "\r", "!no-code")},
    {"ID=([0-9]{15})", ROW("two of them", "ID=" A " ID=" B "\r", "!two-codes")},
    {"ID=([0-9]{15})", ROW("twice the same", "ID=" A " ID=" A "\r", A)},
    {"ID=([0-9]{15})", ROW("out of range", "ID=999999999999999\r", "?range")},
    {"^([0-9]{15})", ROW("only at the front", A " " B "\r", A)},
    {"^([0-9]{15})", ROW("only at the front of the line", A B "\r", A)},
    {"^[0-9]([0-9]{15})$", ROW("a check digit in front", "7" A "\r", A)},
    {"T([0-9A-F]{16})", ROW("hex", "T8000F9C000003039\r", A)},
    {"T([0-9A-F]{32})", ROW("telegram", "T002FB1EA2E12B77880406D7F08040201\r", "123112233445566")},
    {"T([0-9A-F]{32})", ROW("bad CRC", "T002FB1EA2E12B77880416D7F08040201\r", "?check")},
    {"([A-Z][A-Z] [0-9]+)", ROW("country in letters", "GB 000000012345\r", "826000000012345")},
    {"x*([0-9]{15})?", ROW("pattern that matches nothing at all", "abc\r", "!no-code")},
};

static void test_patterns(void **unused)
{
    (void) unused;
    struct sink_log log;
    for (size_t i = 0; i < sizeof pattern_rows / sizeof pattern_rows[0]; i++) {
        const struct lm_setting set = {"pattern", pattern_rows[i].pattern};
        const struct row *row = &pattern_rows[i].row;
        for (size_t piece = 0; piece < 2; piece++) {
            sink_log_feed(&log, &lm_decoder_text, &set, 1, row->bytes, row->len, piece);
            if (strcmp(log.text, row->want) != 0)
                fail_msg(
                    "%s, %s: want '%s', got '%s'", set.value, row->legend, row->want, log.text);
        }
    }
}

static void test_bad_patterns(void **unused)
{
    (void) unused;
    char longest[400];
    memset(longest, 'a', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    const char *const bad[] = {
        "([0-9]{15}", "[0-9]{15}", "(a)([0-9]{15})", "([0-9", "(a)\\1", "", longest};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        const struct lm_setting set = {"pattern", bad[i]};
        struct lm_problem problem = {0};
        void *state = lm_decoder_text.new_(&set, 1, &problem);
        if (state != NULL)
            fail_msg("pattern '%.40s' was taken", bad[i]);
        assert_int_equal(problem.err, LM_EINPUT);
        assert_non_null(strstr(problem.what, "pattern"));
        assert_non_null(strstr(problem.mend, "one group"));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lines),
        cmocka_unit_test(test_cut_anywhere),
        cmocka_unit_test(test_truncated),
        cmocka_unit_test(test_truncated_then_stx),
        cmocka_unit_test(test_too_long),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_event_is_plain),
        cmocka_unit_test(test_patterns),
        cmocka_unit_test(test_bad_patterns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
