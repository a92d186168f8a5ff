/* Corners of the core that the other tests do not go round. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "lugmark/decode.h"
#include "lugmark/ndef.h"

#include <string.h>

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_row_of_hashes),
        cmocka_unit_test(nothing_but_blanks),
        cmocka_unit_test(chunks_that_grow_too_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
