/* Which animals a few characters may mean; the ring of lines. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/page_match.h"
#include "daemon/page_ring.h"

static void add(struct lm_roll *roll, const char *key, const char *visual, const char *gone)
{
    struct lm_record *r = calloc(1, sizeof *r);
    assert_non_null(r);
    snprintf(r->key, sizeof r->key, "%s", key);
    r->status = LM_ON_FARM;
    snprintf(r->devices[0].visual, sizeof r->devices[0].visual, "%s", visual);
    r->n_devices = 1;
    if (gone[0] != '\0') {
        snprintf(r->devices[1].visual, sizeof r->devices[1].visual, "%s", gone);
        r->devices[1].gone = true;
        r->n_devices = 2;
    }
    assert_int_equal(lm_roll_put(roll, r, NULL), LM_OK);
    free(r);
}

static void expect(const struct lm_roll *roll, const char *q, bool all, unsigned limit,
    unsigned total, const char *want)
{
    struct match_best *best = calloc(1, sizeof *best);
    char got[200] = "";
    unsigned n = 0;
    assert_non_null(best);
    match_begin(best, q, limit);
    for (uint32_t i = 0; i < lm_roll_animals(roll); i++) {
        n += match_animal(best, roll, i, all) ? 1u : 0u;
    }
    for (unsigned i = 0; i < best->n; i++) {
        size_t at = strlen(got);
        snprintf(got + at, sizeof got - at, "%s ", lm_roll_animal(roll, best->all[i].animal).key);
    }
    free(best);
    assert_string_equal(got, want);
    assert_int_equal(n, total);
}

static void test_match(void **state)
{
    struct lm_roll *roll = lm_roll_new();
    (void) state;
    assert_non_null(roll);
    add(roll, "e", "1040", "");
    add(roll, "d", "0400", "");
    add(roll, "c", "0041", "");
    add(roll, "b", "0040", "");
    add(roll, "a", "AB-0040", "7777");
    add(roll, "Daisy", "", "");
    expect(roll, "04", false, 10, 5, "d b c e a ");
    expect(roll, "004", false, 10, 3, "b c a ");
    expect(roll, "ab 00", false, 10, 1, "a ");
    expect(roll, "dai", false, 10, 1, "Daisy ");
    expect(roll, "7777", false, 10, 0, "");
    expect(roll, "7777", true, 10, 1, "a ");
    expect(roll, "", false, 10, 6, "b c d e a Daisy ");
    expect(roll, "", false, 2, 6, "b c ");
    expect(roll, "04", false, 1, 5, "d ");
    expect(roll, "<b>", true, 10, 0, "");
    lm_roll_free(roll);
}

static void test_order(void **state)
{
    static const char *const up[] = {"", "0", "1", "01", "2", "9", "10", "010", "99", "100", "A",
        "A1", "A2", "A10", "A10B", "B"};
    const int n = (int) (sizeof up / sizeof up[0]);
    (void) state;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
            int order = match_order(up[i], up[k]);
            bool tied = (i == 2 && k == 3) || (i == 3 && k == 2) || (i == 6 && k == 7) ||
                        (i == 7 && k == 6); /* only zeros differ: some order, but one */
            if (!tied) {
                assert_int_equal((order > 0) - (order < 0), (i > k) - (i < k));
            } else {
                assert_int_not_equal(order, 0);
                assert_true((order > 0) != (match_order(up[k], up[i]) > 0));
            }
        }
    }
}

static void test_ring(void **state)
{
    struct page_ring r;
    char line[2000];
    (void) state;
    memset(line, 'x', sizeof line);
    assert_int_equal(ring_begin(&r, 40), 0);
    for (int64_t seq = 41; seq < 41 + RING_LINES + 100; seq++) {
        ring_put(&r, line, 10, seq);
    }
    assert_int_equal(r.n, RING_LINES);
    assert_int_equal(r.from, 140);
    for (size_t i = 0; i < r.n; i++) {
        assert_int_equal(ring_at(&r, i)->seq, 141 + (int64_t) i);
    }
    /* Long lines of many lengths, three times round: what is still there is whole, and in order. */
    for (int64_t seq = 100000; seq < 100000 + 3 * RING_BYTES / 1900; seq++) {
        memset(line, 'a' + (int) (seq % 26), sizeof line);
        ring_put(&r, line, 1800 + (size_t) (seq * 7 % 200), seq);
    }
    assert_true(r.n > RING_BYTES / 2000 - 2 && r.n < RING_BYTES / 1800);
    assert_int_equal(ring_at(&r, 0)->seq, r.from + 1);
    for (size_t i = 0; i < r.n; i++) {
        const struct ring_line *l = ring_at(&r, i);
        memset(line, 'a' + (int) (l->seq % 26), sizeof line);
        assert_int_equal(l->seq, r.from + 1 + (int64_t) i);
        assert_int_equal(l->len, 1800 + (size_t) (l->seq * 7 % 200));
        assert_memory_equal(l->text, line, l->len);
    }
    ring_put(&r, line, RING_BYTES + 1, 900000);
    assert_int_equal(r.n, 0);
    assert_int_equal(r.from, 900000);
    ring_put(&r, line, 10, 900001);
    assert_int_equal(ring_at(&r, 0)->seq, 900001);
    ring_end(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_match),
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_ring),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
