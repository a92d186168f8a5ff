/** Drivers and decoders by name, settings, and the words for rejects. */
#include "sink_log.h"
#include "drivers/list.h"

#include <glob.h>

static void test_names(void **unused)
{
    (void) unused;
    const char *before = "";
    size_t n = 0;
    for (const char *const *name = lm_driver_names(); *name != NULL; name++, n++) {
        assert_true(strcmp(before, *name) < 0); /* in order, and none twice */
        before = *name;
        const struct lm_driver_ops *ops = lm_driver_find(*name);
        assert_non_null(ops);
        assert_string_equal(ops->name, *name);
        assert_true(ops->new_ && ops->open && ops->service && ops->close && ops->free_);
        assert_true(ops->describe != NULL && ops->keys != NULL);
        assert_true((ops->tick == NULL) == (ops->tick_ms == NULL));
    }
    assert_true(n >= 2);
    before = "";
    n = 0;
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++, n++) {
        assert_true(strcmp(before, *name) < 0);
        before = *name;
        const struct lm_decoder_ops *ops = lm_decoder_find(*name);
        assert_non_null(ops);
        assert_string_equal(ops->name, *name);
        assert_true(ops->new_ && ops->feed && ops->reset && ops->free_ && ops->keys);
    }
    assert_true(n >= 2);
}

static void test_find(void **unused)
{
    (void) unused;
    assert_ptr_equal(lm_driver_find("serial"), &lm_driver_serial);
    assert_ptr_equal(lm_driver_find("replay"), &lm_driver_replay);
    assert_ptr_equal(lm_decoder_find("text"), &lm_decoder_text);
    assert_ptr_equal(lm_decoder_find("telegram"), &lm_decoder_telegram);
    static const char *const unknown[] = {"", "Serial", "serial ", "seria", "template"};
    for (size_t i = 0; i < sizeof unknown / sizeof unknown[0]; i++) {
        assert_null(lm_driver_find(unknown[i]));
        assert_null(lm_decoder_find(unknown[i]));
    }
}

static bool has(const char *const *keys, const char *key)
{
    for (; *keys != NULL; keys++) {
        if (strcmp(*keys, key) == 0)
            return true;
    }
    return false;
}

/** A driver and a decoder share one block of settings: no key may mean two things. */
static void test_keys_do_not_clash(void **unused)
{
    (void) unused;
    for (const char *const *driver = lm_driver_names(); *driver != NULL; driver++) {
        const char *const *keys = lm_driver_find(*driver)->keys;
        for (const char *const *name = lm_decoder_names(); *name != NULL; name++) {
            for (const char *const *k = lm_decoder_find(*name)->keys; *k != NULL; k++)
                assert_false(has(keys, *k));
        }
        for (; *keys != NULL; keys++)
            assert_false(has(keys + 1, *keys));
    }
}

static void must_be_there(const char *begin, const char *name, const char *end)
{
    char path[128];
    glob_t found;
    snprintf(path, sizeof path, "%s%s%s", begin, name, end);
    if (glob(path, 0, NULL, &found) != 0)
        fail_msg("decoder %s has no %s (run it in the project's folder)", name, path);
    globfree(&found);
}

static void test_each_decoder_has_its_tests(void **unused)
{
    (void) unused;
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++) {
        must_be_there("fixtures/serial/", *name, "-*.want");
        must_be_there("tests/unit/test_", *name, "*.c");
        must_be_there("tests/fuzz/fuzz_", *name, ".c");
    }
}

static void test_settings(void **unused)
{
    (void) unused;
    static const struct lm_setting s[] = {{"port", "a"}, {"line", ""}, {"port", "b"}};
    assert_string_equal(lm_setting_get(s, 3, "port"), "b");
    assert_string_equal(lm_setting_get(s, 1, "port"), "a");
    assert_string_equal(lm_setting_get(s, 3, "line"), "");
    assert_null(lm_setting_get(s, 3, "por"));
    assert_null(lm_setting_get(NULL, 0, "port"));
}

static void test_reject_names(void **unused)
{
    (void) unused;
    static const char *const want[LM_REJECTS] = {
        "no-code", "two-codes", "check", "range", "too-long", "syntax", "no-reply"};
    for (int i = 0; i < LM_REJECTS; i++)
        assert_string_equal(lm_reject_name((enum lm_reject) i), want[i]);
    assert_non_null(lm_reject_name(LM_REJECTS));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_names),
        cmocka_unit_test(test_find),
        cmocka_unit_test(test_keys_do_not_clash),
        cmocka_unit_test(test_each_decoder_has_its_tests),
        cmocka_unit_test(test_settings),
        cmocka_unit_test(test_reject_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
