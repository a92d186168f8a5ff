/* Parentage that cannot be. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "lugmark/family.h"

struct row {
    const char *key, *dam, *sire, *born;
    enum lm_sex sex;
    long line;
};

struct told {
    char text[2048];
};

static void tell(const struct lm_family_problem *p, void *ctx)
{
    struct told *t = ctx;
    static const char *const faults[] = {"own", "younger", "young", "male", "female"};
    size_t len = strlen(t->text);
    snprintf(t->text + len, sizeof t->text - len, "%ld:%s:%s:%s ", p->line, p->animal, p->parent,
        faults[p->fault]);
}

static void add(struct lm_family *f, const struct row *row)
{
    struct lm_record rec = {.sex = (uint8_t) row->sex};
    snprintf(rec.key, sizeof rec.key, "%s", row->key);
    snprintf(rec.dam, sizeof rec.dam, "%s", row->dam);
    snprintf(rec.sire, sizeof rec.sire, "%s", row->sire);
    assert_int_equal(lm_date_parse(row->born, strlen(row->born), &rec.born), LM_OK);
    assert_int_equal(lm_family_add(f, &rec, row->line), LM_OK);
}

static void expect(const struct row *rows, size_t n, const char *want)
{
    struct lm_family *f = lm_family_new();
    struct told t = {""};
    assert_non_null(f);
    for (size_t i = 0; i < n; i++)
        add(f, &rows[i]);
    assert_int_equal(lm_family_check(f, tell, &t), LM_OK);
    assert_string_equal(t.text, want);
    lm_family_free(f);
}

#define EXPECT(want, ...)                                                                          \
    do {                                                                                           \
        const struct row rows[] = {__VA_ARGS__};                                                   \
        expect(rows, sizeof rows / sizeof *rows, want);                                            \
    } while (0)

static void test_circles(void **state)
{
    (void) state;
    EXPECT("1:A:A:own ", {"A", "A", "", "", 0, 1});
    EXPECT("1:A:A:own ", {"A", "B", "", "", 0, 1}, {"B", "", "A", "", 0, 2});
    EXPECT(
        "3:C:C:own ", {"A", "C", "", "", 0, 0}, {"B", "A", "", "", 0, 0}, {"C", "B", "", "", 0, 3});
    /* a circle that none of the animals looked at is in is not theirs */
    EXPECT("", {"A", "B", "", "", 0, 0}, {"B", "A", "", "", 0, 0}, {"C", "B", "", "", 0, 3});
    /* a forebear on both sides is no circle */
    EXPECT("", {"A", "B", "C", "", 0, 1}, {"B", "D", "", "", 0, 2}, {"C", "D", "", "", 0, 3},
        {"D", "", "", "", 0, 4});
    EXPECT("", {"A", "not there", "", "", 0, 1});
}

/* Common practice as the source: carrying a kid takes some 150 days, so a dam younger than that at
 * its birth was not yet born when it was begotten. */
static void test_ages(void **state)
{
    (void) state;
    EXPECT("1:K:D:younger ", {"K", "D", "", "2025-03-01", 0, 1}, {"D", "", "", "2025-03-02", 0, 0});
    EXPECT("1:K:D:young ", {"K", "D", "", "2025-03-01", 0, 1}, {"D", "", "", "2025-03-01", 0, 0});
    EXPECT("1:K:D:young ", {"K", "D", "", "2025-05-30", 0, 1}, {"D", "", "", "2025-01-01", 0, 0});
    EXPECT("", {"K", "D", "", "2025-05-31", 0, 1}, {"D", "", "", "2025-01-01", 0, 0});
    /* only what is sure */
    EXPECT("", {"K", "D", "", "2025", 0, 1}, {"D", "", "", "2025", 0, 0});
    EXPECT("", {"K", "D", "", "2025-03", 0, 1}, {"D", "", "", "2024", 0, 0});
    EXPECT("1:K:D:younger ", {"K", "D", "", "2025-02", 0, 1}, {"D", "", "", "2025-03", 0, 0});
    /* a sire is only ever younger */
    EXPECT("1:K:S:younger ", {"K", "", "S", "2025", 0, 1}, {"S", "", "", "2026", 0, 0});
    EXPECT("", {"K", "", "S", "2025-03-01", 0, 1}, {"S", "", "", "2025-01-01", 0, 0});
    /* told at the parent's line when only that one is looked at */
    EXPECT("9:K:D:younger ", {"D", "", "", "2026", 0, 9}, {"K", "D", "", "2025", 0, 0});
    EXPECT("", {"D", "", "", "2026", 0, 0}, {"K", "D", "", "2025", 0, 0});
}

static void test_sexes(void **state)
{
    (void) state;
    EXPECT("1:K:P:male ", {"K", "P", "", "", 0, 1}, {"P", "", "", "", LM_SEX_MALE, 0});
    EXPECT("1:K:P:female ", {"K", "", "P", "", 0, 1}, {"P", "", "", "", LM_SEX_FEMALE, 0});
}

static void test_the_first_of_a_key_counts(void **state)
{
    (void) state;
    EXPECT("", {"K", "D", "", "2025", 0, 1}, {"D", "", "", "2020", 0, 2},
        {"D", "", "", "2026", 0, 0}, {"K", "K", "", "2025", 0, 0});
}

/* A line of any length, up and down: no recursion that a file could exhaust. */
static void test_a_long_line(void **state)
{
    struct lm_family *f = lm_family_new();
    struct told t = {""};
    char key[16], dam[16];
    (void) state;
    for (int i = 0; i < 200000; i++) {
        snprintf(key, sizeof key, "%d", i);
        snprintf(dam, sizeof dam, "%d", i + 1);
        add(f, &(struct row){key, i == 199999 ? "0" : dam, "", "", 0, 1});
    }
    assert_int_equal(lm_family_check(f, tell, &t), LM_OK);
    assert_string_equal(t.text, "1:0:0:own ");
    lm_family_free(f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_circles),
        cmocka_unit_test(test_ages),
        cmocka_unit_test(test_sexes),
        cmocka_unit_test(test_the_first_of_a_key_counts),
        cmocka_unit_test(test_a_long_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
