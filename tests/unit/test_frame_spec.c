/** Descriptions of frames: every mistake is named with its key and word, and how to mend it. */
#include "sink_log.h"

#include "drivers/frame.h"
#include "drivers/list.h"

#define START                                                                                      \
    {                                                                                              \
        "start", "02"                                                                              \
    }
#define GOOD_FIELDS                                                                                \
    {                                                                                              \
        "fields", "block:8"                                                                        \
    }

static const struct {
    struct lm_setting s[4];
    const char *what; /* the key and the word */
    const char *mend;
} bad[] = {
    {{GOOD_FIELDS}, "start:", "start = 02"},
    {{{"start", ""}, GOOD_FIELDS}, "start: a byte is missing", "02"},
    {{{"start", "2"}, GOOD_FIELDS}, "start: '2'", "two hex digits"},
    {{{"start", "0G"}, GOOD_FIELDS}, "start: '0G'", "two hex digits"},
    {{{"start", "01 02 03 04 05 06 07 08 09"}, GOOD_FIELDS}, "start: '09'", "two hex digits"},
    {{{"start", "02 or 03"}, GOOD_FIELDS}, "start: '02 or 03'", "two frames"},
    {{START}, "fields: there is no code", "country and national"},
    {{START, {"fields", ""}}, "fields: there is no code", "block"},
    {{START, {"fields", "country:2"}}, "fields: there is a country", "national"},
    {{START, {"fields", "national:5 animal:1"}}, "fields: there is a national", "country"},
    {{START, {"fields", "natonal:5 country:2"}}, "fields: 'natonal:5'", "choose from country"},
    {{START, {"fields", "national country:2"}}, "fields: 'national' has no width", "national:10"},
    {{START, {"fields", "national:x country:2"}}, "fields: 'national:x'", "national:10"},
    {{START, {"fields", "national:0 country:2"}}, "fields: 'national:0'", "national:10"},
    {{START, {"fields", "national:9 country:2"}}, "'national:9' has a width", "national:10"},
    {{START, {"fields", "national:5:hxe country:2"}}, "says 'hxe'", "binary hex decimal"},
    {{START, {"fields", "national:5:big:little country:2"}}, "little and the contrary", "one of"},
    {{START, {"fields", "national:5:lsb country:2"}}, "lsb, which cannot be said", "national:10"},
    {{START, {"fields", "national:5:reversed country:2"}}, "'national:5:reversed'", "national:5"},
    {{START, {"fields", "national:12:decimal:little country:2"}}, "reversed", "national:"},
    {{START, {"fields", "national:9:hex:little country:2"}}, "odd number", "national:"},
    {{START, {"fields", "block:7"}}, "fields: 'block:7'", "block:8:little"},
    {{START, {"fields", "block:8:bcd"}}, "fields: 'block:8:bcd'", "block:8"},
    {{START, {"fields", "telegram:8"}}, "fields: 'telegram:8'", "telegram:16"},
    {{START, {"fields", "block:8 animal:1"}}, "two ways", "keep one"},
    {{START, {"fields", "block:8 telegram:16"}}, "two ways", "keep one"},
    {{START, {"fields", "block:8 block:8"}}, "'block:8' is there already", "one of the two"},
    {{START, {"fields", "crc16code:2 block:8"}}, "crc16code", "behind block"},
    {{START, {"fields", "national:5 country:2 crc16code:2"}}, "crc16code", "skip:2"},
    {{START, {"fields", "block:8 rest:5"}}, "'rest' has no length", "length before"},
    {{START, {"fields", "rest:5 length:1 block:8"}}, "'rest' has no length", "length before"},
    {{START, {"fields", "block:8 rest:513"}}, "fields: 'rest:513'", "512"},
    {{START, {"fields", "block:8 literal:1"}}, "fields: 'literal:1'", "literal:0F08"},
    {{START, {"fields", "block:8 literal"}}, "fields: 'literal'", "literal:0F08"},
    {{START, {"fields", "national:5 country:2 animal:2"}}, "'animal:2'", "animal:1"},
    {{START, {"fields", "national:5 country:2 animal:1:bit8"}}, "'bit8'", "bit0 to bit7"},
    {{START, {"fields", "national:5 country:2 animal:1:hex:bit1"}}, "one bit", "animal:1"},
    {{START, {"fields", "skip:500 skip:500 block:8 skip:100"}}, "1109 bytes", "shorter"},
    {{START, GOOD_FIELDS, {"fields2", "skip:x"}}, "fields2: 'skip:x'", "skip:10"},
    {{START, GOOD_FIELDS, {"fields3", "block:8"}}, "fields3: 'block:8'", "one of the two"},
    {{START, GOOD_FIELDS, {"length_counts", "start through end"}}, "length_counts:", "length:1"},
    {{START, {"fields", "length:1 block:8"}, {"length_counts", "start to end"}},
        "length_counts: 'start to end'", "after-length through fields"},
    {{START, {"fields", "length:1 block:8"}, {"length_counts", "end through start"}},
        "length_counts:", "after-length through fields"},
    {{START, {"fields", "length:1 block:8"}, {"length_counts", "start through end now"}},
        "length_counts:", "after-length through fields"},
    {{START, GOOD_FIELDS, {"check", "xro"}}, "check: 'xro'", "none xor sum8"},
    {{START, GOOD_FIELDS, {"check", ""}}, "check: ''", "none xor sum8"},
    {{START, GOOD_FIELDS, {"check", "none hex"}}, "check: 'hex'", "choose from"},
    {{START, GOOD_FIELDS, {"check", "xor poly:1021"}}, "check: 'poly:1021'", "for crc16"},
    {{START, GOOD_FIELDS, {"check", "xor reflect-in"}}, "check: 'reflect-in'", "for crc16"},
    {{START, GOOD_FIELDS, {"check", "crc16"}}, "check: 'crc16' needs", "poly:1021"},
    {{START, GOOD_FIELDS, {"check", "crc16 poly:21"}}, "check: 'poly:21'", "poly:1021"},
    {{START, GOOD_FIELDS, {"check_over", "start"}}, "check_over: 'start'", "check = xor"},
    {{START, GOOD_FIELDS, {"check", "xor"}, {"check_over", "country"}}, "check_over: 'country'",
        "name of a field"},
    {{START, GOOD_FIELDS, {"check", "xor"}, {"check_over", "field 2"}}, "check_over: 'field 2'",
        "field 3"},
    {{START, GOOD_FIELDS, {"check", "xor"}, {"check_over", "start now"}}, "check_over:", "start"},
    {{START, GOOD_FIELDS, {"end", ""}}, "end:", "03 or 07"},
    {{START, GOOD_FIELDS, {"end", "3"}}, "end: '3'", "two hex digits"},
    {{START, GOOD_FIELDS, {"end", "03 or"}}, "end: '03 or'", "03 or 07"},
    {{START, GOOD_FIELDS, {"end", "03 or 0D 0A"}}, "different lengths", "both sides"},
    {{START, GOOD_FIELDS, {"end", "03 or 04 or 05 or 06 or 07"}}, "too many", "four"},
};

static void test_bad_descriptions(void **unused)
{
    (void) unused;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        size_t n = 0;
        struct lm_problem p = {0};
        while (n < 4 && bad[i].s[n].key != NULL)
            n++;
        void *state = lm_decoder_frame.new_(bad[i].s, n, &p);
        if (state != NULL || p.err != LM_EINPUT || strstr(p.what, bad[i].what) == NULL ||
            strstr(p.mend, bad[i].mend) == NULL)
            fail_msg("row %zu: %s; to mend: %s (want '%s', '%s')", i, p.what, p.mend, bad[i].what,
                bad[i].mend);
    }
    char fields[LM_FRAME_FIELDS * 8 + 32] = "block:8", word[100];
    for (size_t i = 0; i < LM_FRAME_FIELDS; i++)
        strcat(fields, " skip:1");
    const struct lm_setting many[] = {START, {"fields", fields}};
    struct lm_problem p = {0};
    assert_null(lm_decoder_frame.new_(many, 2, &p));
    assert_non_null(strstr(p.what, "one field more"));
    memset(word, 'x', sizeof word - 1);
    word[sizeof word - 1] = '\0';
    const struct lm_setting wide[] = {START, {"fields", word}};
    assert_null(lm_decoder_frame.new_(wide, 2, &p));
    assert_non_null(strstr(p.what, "too long for one word"));
    assert_null(lm_decoder_frame.new_(NULL, 0, &p));
}

/** What guards a frame, for those who describe one. */
static void test_guarded(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_setting s[3];
        bool guarded;
    } cases[] = {
        {{START, GOOD_FIELDS, {"end", "03"}}, false},
        {{START, GOOD_FIELDS, {"check", "none"}}, false},
        {{START, GOOD_FIELDS, {"check", "sum8"}}, true},
        {{START, {"fields", "telegram:16"}, {"end", "03"}}, true},
        {{START, {"fields", "block:8 crc16code:2"}, {"end", "03"}}, true},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_frame_spec spec;
        assert_int_equal(lm_frame_spec_read(&spec, cases[i].s, 3, NULL), LM_OK);
        assert_int_equal(lm_frame_is_guarded(&spec), cases[i].guarded);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bad_descriptions),
        cmocka_unit_test(test_guarded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
