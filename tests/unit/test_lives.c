/* How long devices stayed on: which of them are counted, and of which groups a curve is made. */
#include "flock.h"

#include "cli/explain_lives.h"

#include <math.h>

#define TODAY 20000
#define DAY_MS INT64_C(86400000)

/** A device put on @p on days ago; @p off days ago taken off, 0 for still worn. */
static struct lm_record wears(unsigned code, int on, int off, enum lm_device_form form)
{
    struct lm_record rec = animal_of("A", code, "");
    rec.devices[0].form = (uint8_t) form;
    rec.devices[0].applied = lm_date_of((TODAY - on) * DAY_MS);
    rec.devices[0].gone = off > 0;
    if (off > 0)
        rec.devices[0].removed = lm_date_of((TODAY - off) * DAY_MS);
    return rec;
}

static void add(struct lm_lives *l, struct lm_record rec)
{
    assert_int_equal(lm_lives_add(l, &rec), LM_OK);
}

/** The curve of a strip ("" for any) and form, or NULL. */
static const struct lm_explain_life *group(const struct lm_lives *l, const char *strip, unsigned f)
{
    for (uint32_t i = 0; i < l->n_groups; i++)
        if (strcmp(l->groups[i].strip, strip) == 0 && l->groups[i].form == f)
            return &l->groups[i];
    return NULL;
}

/* Curves of a strip, of a form, of all: from thirty devices on of which three ended. */
static void from_thirty_devices_on(void **state)
{
    (void) state;
    static const struct {
        unsigned devices, ended;
        bool curve;
    } rows[] = {{30, 3, true}, {29, 3, false}, {30, 2, false}, {60, 20, true}};
    struct lm_stock_item items[100];
    memset(items, 0, sizeof items);
    for (unsigned i = 0; i < 100; i++) {
        snprintf(items[i].strip, sizeof items[i].strip, "%s", i < 10 ? "S0" : "S1");
        items[i].eid = eid_of(i + 1);
    }
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lm_lives l = {0};
        for (unsigned k = 0; k < rows[i].devices; k++)
            add(&l, wears(11 + k, 1000, k < rows[i].ended ? (int) (500 - k) : 0, LM_FLAG_TAG));
        for (unsigned k = 0; k < 5; k++) /* of another strip and form, too few for themselves */
            add(&l, wears(1 + k, 2000, 0, LM_BOLUS));
        assert_int_equal(lm_lives_make(&l, items, 100, -INFINITY, TODAY), LM_OK);
        const struct lm_explain_life *strip = group(&l, "S1", LM_FLAG_TAG);
        assert_int_equal(strip != NULL, rows[i].curve);
        assert_int_equal(group(&l, "", LM_FLAG_TAG) != NULL, rows[i].curve);
        assert_null(group(&l, "S0", LM_BOLUS));
        assert_null(group(&l, "", LM_BOLUS));
        const struct lm_explain_life *all = group(&l, "", LM_EXPLAIN_ANY);
        assert_int_equal(all != NULL, rows[i].ended >= 3);
        if (strip) {
            assert_true(strip == &l.groups[0]); /* the narrowest comes first */
            assert_int_equal(strip->devices, rows[i].devices);
            assert_int_equal(strip->ended, rows[i].ended);
            assert_true(strip->until > 999.0 && strip->until < 1001.0);
            assert_int_equal(strip->n, rows[i].ended); /* each on a day of its own */
            assert_true(strip->steps[0].t > 499.0 && strip->steps[0].t < 501.0);
            assert_int_equal(all->devices, rows[i].devices + 5);
        }
        lm_lives_free(&l);
        assert_int_equal(l.n_groups, 0);
    }
}

/* What no life can be told of is left out: no code, no dates, written on the wrong animal. */
static void what_is_left_out(void **state)
{
    (void) state;
    struct lm_lives l = {0};
    struct lm_record rec = wears(1, 100, 50, LM_FLAG_TAG);
    snprintf(rec.devices[0].why, sizeof rec.devices[0].why, "swapped");
    add(&l, rec);
    snprintf(rec.devices[0].why, sizeof rec.devices[0].why, "wrong animal");
    add(&l, rec);
    add(&l, animal_of("B", 2, "")); /* nobody knows when it was put on */
    rec = wears(3, 100, 50, LM_FLAG_TAG);
    rec.devices[0].removed = (struct lm_date){0};
    add(&l, rec);
    rec = wears(4, 100, 0, LM_FLAG_TAG);
    rec.devices[0].eid = (struct lm_eid){0};
    add(&l, rec);
    assert_int_equal(l.n, 0);
    add(&l, wears(5, 100, 0, LM_FLAG_TAG));
    assert_int_equal(l.n, 1);
    lm_lives_free(&l);
}

/* A sale ends only the watching; what came off before the watching began is not known of; what
 * came off on its first day was on for half of one. */
static void what_was_watched(void **state)
{
    (void) state;
    struct lm_lives l = {0};
    for (unsigned k = 0; k < 300; k++) {
        struct lm_record rec = wears(1 + k, 1000, 0, LM_FLAG_TAG);
        if (k < 40) { /* sold after 400 days; a device that came off afterwards did not end here */
            rec = wears(1 + k, 1000, k < 10 ? 300 : 0, LM_FLAG_TAG);
            rec.status = LM_SOLD;
            rec.status_date = lm_date_of((TODAY - 600) * DAY_MS);
        } else if (k < 60) { /* off before the watching began */
            rec = wears(1 + k, 1000, 900, LM_FLAG_TAG);
        } else if (k < 65) { /* on and off on one day */
            rec = wears(1 + k, 200, 200, LM_FLAG_TAG);
        }
        add(&l, rec);
    }
    assert_int_equal(lm_lives_make(&l, NULL, 0, TODAY - 800, TODAY), LM_OK);
    const struct lm_explain_life *all = group(&l, "", LM_EXPLAIN_ANY);
    assert_non_null(all);
    assert_int_equal(all->devices, 280);
    assert_int_equal(all->ended, 5);
    assert_int_equal(all->n, 1);
    assert_true(all->steps[0].t > 0.4 && all->steps[0].t < 0.6);
    lm_lives_free(&l);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(from_thirty_devices_on),
        cmocka_unit_test(what_is_left_out),
        cmocka_unit_test(what_was_watched),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
