/* The roll: look-ups by code, number and key; who is expected; replaced entries. */
#include "flock.h"

static void finds_by_code_and_number(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    put(roll, animal_of("A1", 1, "0417"));
    put(roll, animal_of("A2", 2, "0418"));
    assert_true(lm_roll_code_first(roll, eid_of(2), &it, &d));
    assert_string_equal(lm_roll_animal(roll, d.animal).key, "A2");
    assert_false(lm_roll_code_next(roll, &it, &d));
    assert_false(lm_roll_code_first(roll, eid_of(3), &it, &d));
    assert_true(lm_roll_visual_first(roll, " 04-17 ", &it, &d));
    assert_int_equal(d.animal, 0);
    assert_int_equal(lm_roll_by_key(roll, "A2"), 1);
    assert_int_equal(lm_roll_by_key(roll, "A3"), LM_NO_ANIMAL);
    lm_roll_free(roll);
}

static void leading_zeros_only_when_unique(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    put(roll, animal_of("A1", 1, "0417"));
    assert_true(lm_roll_visual_first(roll, "417", &it, &d));
    put(roll, animal_of("A2", 2, "00417"));
    assert_false(lm_roll_visual_first(roll, "417", &it, &d));
    assert_true(lm_roll_visual_first(roll, "00417", &it, &d));
    assert_int_equal(d.animal, 1);
    assert_false(lm_roll_visual_next(roll, &it, &d));
    lm_roll_free(roll);
}

static void replaced_entry_forgets_old_devices(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    put(roll, animal_of("A1", 1, "0417"));
    put(roll, animal_of("A1", 9, "0900"));
    assert_int_equal(lm_roll_animals(roll), 1);
    assert_int_equal(lm_roll_devices(roll), 1);
    assert_false(lm_roll_code_first(roll, eid_of(1), &it, &d));
    assert_false(lm_roll_visual_first(roll, "0417", &it, &d));
    assert_true(lm_roll_code_first(roll, eid_of(9), &it, &d));
    lm_roll_free(roll);
}

static void expects_by_mob_lot_and_status(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = animal_of("A1", 1, "1");
    strcpy(rec.mob, "does");
    put(roll, rec);
    rec = animal_of("A2", 2, "2");
    put(roll, rec);
    rec = animal_of("A3", 3, "3");
    strcpy(rec.mob, "does");
    rec.status = LM_SOLD;
    put(roll, rec);
    lm_roll_expect_mob(roll, NULL);
    assert_int_equal(lm_roll_expected(roll), 2);
    lm_roll_expect_mob(roll, "does");
    assert_int_equal(lm_roll_expected(roll), 1);
    rec = animal_of("A2", 2, "2");
    strcpy(rec.mob, "does");
    put(roll, rec); /* moved into the mob */
    assert_int_equal(lm_roll_expected(roll), 2);
    lm_roll_expect_mob(roll, "nobody is in this one");
    assert_int_equal(lm_roll_expected(roll), 0);
    const char *keys[] = {"A1", "A3", "A9"};
    assert_int_equal(lm_roll_expect_keys(roll, keys, 3), 2);
    assert_int_equal(lm_roll_expected(roll), 2);
    put(roll, animal_of("A4", 4, "4")); /* not in the lot */
    assert_int_equal(lm_roll_expected(roll), 2);
    lm_roll_free(roll);
}

static void holds_many(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    char key[16];
    for (unsigned i = 1; i <= 20000; i++) {
        snprintf(key, sizeof key, "K%u", i);
        put(roll, animal_of(key, i, "SAME")); /* every number the same must not be slow */
    }
    struct lm_roll_hits it;
    struct lm_roll_device d;
    for (unsigned i = 1; i <= 20000; i++) {
        assert_true(lm_roll_code_first(roll, eid_of(i), &it, &d));
        assert_int_equal(d.animal, i - 1);
    }
    unsigned n = 0;
    for (bool ok = lm_roll_visual_first(roll, "same", &it, &d); ok;
         ok = lm_roll_visual_next(roll, &it, &d))
        assert_int_equal(d.animal, n++);
    assert_int_equal(n, 20000);
    assert_true(lm_roll_memory(roll) < 20000 * 200);
    lm_roll_free(roll);
}

static void loading_at_once_gives_the_same(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_roll_hits it;
    struct lm_roll_device d;
    char key[16];
    put(roll, animal_of("FIRST", 5000, "X1"));
    assert_int_equal(lm_roll_load_end(roll), LM_EARG);
    assert_int_equal(lm_roll_load_begin(roll, 1000, 0), LM_OK);
    for (unsigned i = 1; i <= 1000; i++) {
        snprintf(key, sizeof key, "K%u", i);
        put(roll, animal_of(key, i, i % 2 ? "" : key)); /* half of them have no number */
    }
    assert_int_equal(lm_roll_by_key(roll, "K7"), LM_NO_ANIMAL);
    assert_int_equal(lm_roll_load_end(roll), LM_OK);
    for (unsigned i = 1; i <= 1000; i++) {
        snprintf(key, sizeof key, "K%u", i);
        assert_int_equal(lm_roll_by_key(roll, key), i);
        assert_true(lm_roll_code_first(roll, eid_of(i), &it, &d));
        assert_int_equal(d.animal, i);
        assert_int_equal(lm_roll_visual_first(roll, key, &it, &d), i % 2 == 0);
        assert_true(lm_roll_code_alone(roll, i, 0));
    }
    assert_int_equal(lm_roll_by_key(roll, "FIRST"), 0);
    put(roll, animal_of("AGAIN", 3, "K4"));
    assert_false(lm_roll_code_alone(roll, 3, 0));
    assert_false(lm_roll_visual_alone(roll, 4, 0));
    lm_roll_free(roll);
}

static void refuses_nameless(void **state)
{
    (void) state;
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = animal_of("", 1, "1");
    assert_int_equal(lm_roll_put(roll, &rec, NULL), LM_EARG);
    lm_roll_free(roll);
    lm_roll_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_by_code_and_number),
        cmocka_unit_test(leading_zeros_only_when_unique),
        cmocka_unit_test(replaced_entry_forgets_old_devices),
        cmocka_unit_test(expects_by_mob_lot_and_status),
        cmocka_unit_test(holds_many),
        cmocka_unit_test(loading_at_once_gives_the_same),
        cmocka_unit_test(refuses_nameless),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
