/* The life of a reader: every state times every happening, written out by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "daemon/life.h"

#define A LIFE_ABSENT
#define O LIFE_OPENING
#define L LIFE_LIVE
#define S LIFE_SILENT
#define B LIFE_BACKING_OFF

static void every_step(void **state)
{
    (void) state;
    static const struct {
        enum life from;
        enum life to[LIFE_WHATS]; /* TRY OPENED NOT_THERE REFUSED BYTES QUIET GONE ENDED */
    } rows[] = {
        {A, {O, A, A, A, A, A, A, A}},
        {O, {O, L, A, B, O, O, B, A}},
        {L, {L, L, L, L, L, S, B, A}},
        {S, {S, S, S, S, L, S, B, A}},
        {B, {O, B, B, B, B, B, B, A}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int what = 0; what < LIFE_WHATS; what++) {
            assert_int_equal(life_next(rows[i].from, (enum life_what) what), rows[i].to[what]);
        }
    }
}

static void a_port_that_comes_and_goes(void **state)
{
    (void) state;
    static const enum life_what walk[] = {LIFE_TRY, LIFE_NOT_THERE, LIFE_TRY, LIFE_OPENED,
        LIFE_QUIET, LIFE_BYTES, LIFE_GONE, LIFE_TRY, LIFE_REFUSED, LIFE_TRY, LIFE_OPENED,
        LIFE_ENDED};
    static const char *const names[] = {"opening", "absent", "opening", "live", "silent", "live",
        "backing-off", "opening", "backing-off", "opening", "live", "absent"};
    enum life life = LIFE_ABSENT;
    for (size_t i = 0; i < sizeof walk / sizeof walk[0]; i++) {
        life = life_next(life, walk[i]);
        assert_string_equal(life_name(life), names[i]);
    }
}

static void out_of_range_changes_nothing(void **state)
{
    (void) state;
    assert_int_equal(life_next(LIFE_LIVE, LIFE_WHATS), LIFE_LIVE);
    assert_int_equal(life_next(LIFE_STATES, LIFE_TRY), LIFE_STATES);
}

static void back_off_doubles_to_its_limit(void **state)
{
    (void) state;
    static const int wanted[][10] = {
        {100, 200, 400, 800, 1600, 2000, 2000, 2000, 2000, 2000},
        {100, 200, 400, 800, 1600, 3200, 5000, 5000, 5000, 5000},
        {100, 200, 400, 800, 1600, 3200, 6400, 12800, 25600, 30000},
    };
    static const int last[] = {LIFE_RETRY_ABSENT_MS, LIFE_RETRY_LAST_MS, LIFE_RETRY_FALLING_MS};
    for (size_t k = 0; k < sizeof last / sizeof last[0]; k++) {
        int delay = 0;
        for (size_t i = 0; i < sizeof wanted[k] / sizeof wanted[k][0]; i++) {
            delay = life_delay_ms(delay, last[k]);
            assert_int_equal(delay, wanted[k][i]);
        }
    }
    assert_int_equal(life_delay_ms(-7, LIFE_RETRY_LAST_MS), 100);
    assert_int_equal(life_delay_ms(1 << 30, LIFE_RETRY_LAST_MS), 5000);
    /* it was falling, and is absent now: plugged in again it must not wait half a minute */
    assert_int_equal(life_delay_ms(30000, LIFE_RETRY_ABSENT_MS), 2000);
}

static void open_states(void **state)
{
    (void) state;
    static const int wanted[LIFE_STATES] = {[LIFE_LIVE] = 1, [LIFE_SILENT] = 1};
    for (int i = 0; i < LIFE_STATES; i++) {
        assert_int_equal(life_is_open((enum life) i), wanted[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_step),
        cmocka_unit_test(a_port_that_comes_and_goes),
        cmocka_unit_test(out_of_range_changes_nothing),
        cmocka_unit_test(back_off_doubles_to_its_limit),
        cmocka_unit_test(open_states),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
