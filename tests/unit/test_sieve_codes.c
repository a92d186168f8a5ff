/* The table of codes of the quick reconcile, small and as large as for the largest registers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>

#include "sieve/priv.h"

/** Different ones for different @p i, spread over all 32 bits. */
static uint32_t spread(uint32_t i)
{
    return (i + 1) * UINT32_C(2654435761);
}

static void what_is_there_twice(void **state)
{
    (void) state;
    static const uint32_t sizes[] = {2, 31, 64, 100, 300000};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        uint32_t n = sizes[i];
        uint32_t *hash = calloc(n, sizeof *hash), *other = calloc(n, sizeof *other);
        assert_true(hash != NULL && other != NULL);
        for (int way = 0; way < 4; way++) { /* none; one pair; one pair also alike; no code */
            uint8_t *flags = calloc(n, 1);
            bool any = true;
            assert_non_null(flags);
            for (uint32_t k = 0; k < n; k++) {
                hash[k] = spread(k);
                other[k] = k;
            }
            if (way > 0)
                hash[n - 1] = way < 3 ? hash[0] : 0;
            if (way == 2)
                other[n - 1] = other[0];
            if (way == 3)
                hash[0] = 0;
            assert_true(lm_sieve_twins(hash, other, n, flags, &any));
            assert_int_equal(any, way == 2);
            for (uint32_t k = 0; k < n; k++) {
                bool twin = (way == 1 || way == 2) && (k == 0 || k == n - 1);
                assert_int_equal((flags[k] & ROW_STAYS) != 0, twin);
            }
            free(flags);
        }
        free(hash);
        free(other);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_there_twice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
