/** @file test_eid.c
 * The 64 bits, put together and taken apart.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "lugmark/eid.h"

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static void make_and_format(void **state)
{
    (void) state;
    static const struct {
        unsigned country;
        uint64_t national;
        enum lm_err want;
        const char *text;
    } cases[] = {
        {999, 12345, LM_OK, "999000000012345"},
        {36, 1, LM_OK, "036000000000001"},
        {4, 0, LM_OK, "004000000000000"},
        {0, 1, LM_OK, "000000000000001"},
        {899, LM_NATIONAL_MAX, LM_OK, "899274877906943"},
        {1023, LM_NATIONAL_MAX, LM_OK, "1023274877906943"},
        {999, LM_NATIONAL_MAX + 1, LM_ERANGE, ""},
        {999, UINT64_MAX, LM_ERANGE, ""},
        {1024, 1, LM_ERANGE, ""},
        {0, 0, LM_ERANGE, ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_eid e = {0, LM_EID_NONE};
        char text[LM_EID_TEXT_SIZE];
        assert_int_equal(lm_eid_make(cases[i].country, cases[i].national, &e), cases[i].want);
        assert_string_equal(lm_eid_format(e, text), cases[i].text);
        if (cases[i].want != LM_OK)
            continue;
        assert_int_equal(e.known, LM_EID_CODE);
        assert_int_equal(e.bits >> 48, 0x8000);
        assert_int_equal(lm_eid_country(e), cases[i].country);
        assert_true(lm_eid_national(e) == cases[i].national);
        assert_int_equal(lm_eid_retag(e), 0);
    }
}

/** Each field alone must land on exactly its own ISO bits. */
static void each_field_has_its_own_bits(void **state)
{
    (void) state;
    static const struct {
        struct lm_eid_fields f;
        uint64_t bits;
    } cases[] = {
        {{.animal = true}, UINT64_C(0x8000000000000000)},
        {{.retag = 7}, UINT64_C(0x7000000000000000)},
        {{.user = 31}, UINT64_C(0x0F80000000000000)},
        {{.reserved = 3}, UINT64_C(0x0060000000000000)},
        {{.visual_start = 7}, UINT64_C(0x001C000000000000)},
        {{.rudi = true}, UINT64_C(0x0002000000000000)},
        {{.data_block = true}, UINT64_C(0x0001000000000000)},
        {{.country = 1023}, UINT64_C(0x0000FFC000000000)},
        {{.national = LM_NATIONAL_MAX}, UINT64_C(0x0000003FFFFFFFFF)},
    };
    uint64_t all = 0;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_eid e;
        assert_int_equal(lm_eid_pack(&cases[i].f, &e), LM_OK);
        assert_true(e.bits == cases[i].bits);
        assert_true((all & e.bits) == 0);
        all |= e.bits;
    }
    assert_true(all == UINT64_MAX);
}

static void any_64_bits_round_trip(void **state)
{
    (void) state;
    uint64_t seed = 88172645463325252u;
    for (int i = 0; i < 20000; i++) {
        struct lm_eid e = lm_eid_from_bits(next(&seed)), back;
        struct lm_eid_fields f = lm_eid_unpack(e);
        assert_int_equal(lm_eid_pack(&f, &back), LM_OK);
        assert_true(back.bits == e.bits);
        assert_int_equal(back.known, LM_EID_FULL);
        assert_int_equal(lm_eid_retag(e), f.retag);
    }
}

static void pack_refuses_what_does_not_fit(void **state)
{
    (void) state;
    static const struct lm_eid_fields bad[] = {{.retag = 8}, {.user = 32}, {.reserved = 4},
        {.visual_start = 8}, {.country = 1024}, {.national = LM_NATIONAL_MAX + 1}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct lm_eid e;
        assert_int_equal(lm_eid_pack(&bad[i], &e), LM_ERANGE);
    }
}

static void printed_digits_leave_the_rest_unknown(void **state)
{
    (void) state;
    struct lm_eid e = {UINT64_C(0xFFFFF9C000003039), LM_EID_CODE};
    struct lm_eid_fields f = lm_eid_unpack(e);
    assert_true(f.animal);
    assert_int_equal(f.retag + f.user + f.reserved + f.visual_start + f.rudi + f.data_block, 0);
    assert_int_equal(f.country, 999);
    assert_true(f.national == 12345);
    assert_int_equal(lm_eid_retag(e), 0);
    e.known = LM_EID_FULL;
    assert_int_equal(lm_eid_retag(e), 7);
}

/** A replaced device keeps its 15 digits: the key must not see anything else. */
static void key_sees_country_and_number_only(void **state)
{
    (void) state;
    struct lm_eid printed;
    assert_int_equal(lm_eid_make(999, 12345, &printed), LM_OK);
    for (unsigned upper = 0; upper < 0x10000; upper += 0x111) {
        struct lm_eid read =
            lm_eid_from_bits((uint64_t) upper << 48 | (printed.bits & UINT64_C(0xFFFFFFFFFFFF)));
        assert_true(lm_eid_key(read) == lm_eid_key(printed));
    }
    assert_true(lm_eid_key((struct lm_eid){0, LM_EID_NONE}) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(make_and_format),
        cmocka_unit_test(each_field_has_its_own_bits),
        cmocka_unit_test(any_64_bits_round_trip),
        cmocka_unit_test(pack_refuses_what_does_not_fit),
        cmocka_unit_test(printed_digits_leave_the_rest_unknown),
        cmocka_unit_test(key_sees_country_and_number_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
