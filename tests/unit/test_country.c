/** @file test_country.c
 * The country table against the list of the package iso-codes, so that a stale table fails.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/eid.h"

#define LIST "/usr/share/iso-codes/json/iso_3166-1.json"

static void table_is_the_list(void **state)
{
    (void) state;
    json_error_t error;
    json_t *root = json_load_file(LIST, 0, &error);
    assert_non_null(root);
    json_t *list = json_object_get(root, "3166-1");
    bool assigned[1024] = {false};
    size_t i;
    json_t *entry;
    json_array_foreach(list, i, entry)
    {
        const char *alpha2 = json_string_value(json_object_get(entry, "alpha_2"));
        unsigned numeric = (unsigned) atoi(json_string_value(json_object_get(entry, "numeric")));
        const char *name = json_string_value(json_object_get(entry, "common_name"));
        if (name == NULL)
            name = json_string_value(json_object_get(entry, "name"));
        assert_in_range(numeric, 4, 894);
        assigned[numeric] = true;
        assert_int_equal(lm_country_class(numeric), LM_COUNTRY_ISO);
        assert_non_null(lm_country_alpha2(numeric));
        assert_string_equal(lm_country_alpha2(numeric), alpha2);
        assert_string_equal(lm_country_name(numeric), name);
        assert_int_equal(lm_country_numeric(alpha2), numeric);
    }
    assert_int_equal(i, 249);
    assert_true(assigned[4] && assigned[894]);
    for (unsigned n = 1; n < 899; n++)
        if (!assigned[n]) {
            assert_int_equal(lm_country_class(n), LM_COUNTRY_UNASSIGNED);
            assert_null(lm_country_alpha2(n));
            assert_string_equal(lm_country_name(n), "no country has this number today");
        }
    json_decref(root);
}

static void classes_at_their_edges(void **state)
{
    (void) state;
    static const struct {
        unsigned country;
        enum lm_country_class want;
        const char *name;
    } cases[] = {
        {0, LM_COUNTRY_INVALID, "not a valid country number"},
        {1, LM_COUNTRY_UNASSIGNED, "no country has this number today"},
        {4, LM_COUNTRY_ISO, "Afghanistan"},
        {826, LM_COUNTRY_ISO, "United Kingdom"},
        {894, LM_COUNTRY_ISO, "Zambia"},
        {898, LM_COUNTRY_UNASSIGNED, "no country has this number today"},
        {899, LM_COUNTRY_ISO, "Northern Ireland"},
        {900, LM_COUNTRY_MANUFACTURER, "a manufacturer's number, not a country"},
        {998, LM_COUNTRY_MANUFACTURER, "a manufacturer's number, not a country"},
        {999, LM_COUNTRY_IS_TEST, "test code"},
        {1000, LM_COUNTRY_INVALID, "not a valid country number"},
        {1023, LM_COUNTRY_INVALID, "not a valid country number"},
        {1024, LM_COUNTRY_INVALID, "not a valid country number"},
        {100000, LM_COUNTRY_INVALID, "not a valid country number"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(lm_country_class(cases[i].country), cases[i].want);
        assert_string_equal(lm_country_name(cases[i].country), cases[i].name);
    }
    assert_null(lm_country_alpha2(900));
    assert_null(lm_country_alpha2(0));
}

static void letters_of_any_case(void **state)
{
    (void) state;
    static const struct {
        const char *letters;
        unsigned want;
    } cases[] = {{"US", 840}, {"us", 840}, {"Au", 36}, {"GB", 826}, {"UK", 826}, {"uk", 826},
        {"GR", 300}, {"EL", 300}, {"XI", 899}, {"xi", 899}, {"ZZ", 0}, {"A", 0}, {"", 0},
        {"\0S", 0}, {"1A", 0}, {"@@", 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_int_equal(lm_country_numeric(cases[i].letters), cases[i].want);
    assert_string_equal(lm_country_alpha2(899), "XI");
    assert_string_equal(lm_country_alpha2(826), "GB");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table_is_the_list),
        cmocka_unit_test(classes_at_their_edges),
        cmocka_unit_test(letters_of_any_case),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
