/* As much of cmocka as the tests of core and race ask for, for a C library that has none: musl. */
#ifndef PORTABLE_CMOCKA_H
#define PORTABLE_CMOCKA_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

struct CMUnitTest {
    const char *name;
    void (*test)(void **state);
    int (*setup)(void **state);
    int (*teardown)(void **state);
    void *initial_state;
};

/* Where a failed test goes back to. Mutable, as such a library's own state is. */
static jmp_buf portable_back;

__attribute__((format(printf, 1, 2), noreturn)) static inline void fail_msg(const char *fmt, ...)
{
    va_list args;
    va_start(args, fmt);
    vprintf(fmt, args);
    va_end(args);
    putchar('\n');
    longjmp(portable_back, 1);
}

#define PORTABLE_MUST(holds)                                                                       \
    do {                                                                                           \
        if (!(holds))                                                                              \
            fail_msg("%s:%d: does not hold: %s", __FILE__, __LINE__, #holds);                      \
    } while (0)
#define assert_true(c) PORTABLE_MUST(c)
#define assert_false(c) PORTABLE_MUST(!(c))
#define assert_int_equal(a, b) PORTABLE_MUST((long long) (a) == (long long) (b))
#define assert_int_not_equal(a, b) PORTABLE_MUST((long long) (a) != (long long) (b))
#define assert_string_equal(a, b) PORTABLE_MUST(strcmp((a), (b)) == 0)
#define assert_string_not_equal(a, b) PORTABLE_MUST(strcmp((a), (b)) != 0)
#define assert_memory_equal(a, b, n) PORTABLE_MUST(memcmp((a), (b), (n)) == 0)
#define assert_non_null(p) PORTABLE_MUST((p) != NULL)
#define assert_null(p) PORTABLE_MUST((p) == NULL)
#define assert_in_range(v, low, high)                                                              \
    PORTABLE_MUST((unsigned long long) (v) >= (unsigned long long) (low) &&                        \
                  (unsigned long long) (v) <= (unsigned long long) (high))
#define print_message printf
#define print_error printf

#define cmocka_unit_test(f)                                                                        \
    {                                                                                              \
#f, f, NULL, NULL, NULL                                                                    \
    }
#define cmocka_unit_test_setup_teardown(f, setup, teardown)                                        \
    {                                                                                              \
#f, f, setup, teardown, NULL                                                               \
    }
#define cmocka_run_group_tests(tests, setup, teardown)                                             \
    portable_run(tests, sizeof(tests) / sizeof(tests)[0], setup, teardown)

static inline int portable_run(const struct CMUnitTest *tests, size_t n, int (*setup)(void **state),
    int (*teardown)(void **state))
{
    volatile int failed = 0;
    void *volatile group = NULL;
    void *made = NULL;
    if (setup != NULL && setup(&made) != 0)
        return 1;
    group = made;
    for (volatile size_t i = 0; i < n; i++) {
        void *state = tests[i].initial_state != NULL ? tests[i].initial_state : group;
        if (setjmp(portable_back) != 0) {
            printf("not ok - %s\n", tests[i].name);
            failed++;
            continue;
        }
        if (tests[i].setup != NULL)
            PORTABLE_MUST(tests[i].setup(&state) == 0);
        tests[i].test(&state);
        if (tests[i].teardown != NULL)
            tests[i].teardown(&state);
    }
    made = group;
    if (teardown != NULL)
        teardown(&made);
    return failed;
}

#endif
