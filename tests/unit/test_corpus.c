/* Every seed of fixtures/fuzz through the harness it belongs to, whole and cut short, without the
 * fuzzer and with every checksum looked at. A crash that fuzzing found lies there as a seed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef int harness_fn(const uint8_t *data, size_t size);

#define HARNESSES(X)                                                                               \
    X(fuzz_bundle)                                                                                 \
    X(fuzz_codes)                                                                                  \
    X(fuzz_config)                                                                                 \
    X(fuzz_control)                                                                                \
    X(fuzz_frame)                                                                                  \
    X(fuzz_http)                                                                                   \
    X(fuzz_icar)                                                                                   \
    X(fuzz_lines)                                                                                  \
    X(fuzz_mapping)                                                                                \
    X(fuzz_ndef)                                                                                   \
    X(fuzz_pack)                                                                                   \
    X(fuzz_plan)                                                                                   \
    X(fuzz_readings)                                                                               \
    X(fuzz_register)                                                                               \
    X(fuzz_sightings)                                                                              \
    X(fuzz_stock)                                                                                  \
    X(fuzz_telegram)                                                                               \
    X(fuzz_text)

#define DECLARE(name) harness_fn name;
HARNESSES(DECLARE)

#define ENTRY(name) {#name, name},
static const struct harness {
    const char *name;
    harness_fn *run;
} harnesses[] = {HARNESSES(ENTRY)};

#define SEED_MAX 65536u
#define CUTS 8u

static void play(harness_fn *run, const char *path)
{
    uint8_t *data = malloc(SEED_MAX);
    FILE *in = fopen(path, "rb");
    assert_non_null(data);
    assert_non_null(in);
    size_t n = fread(data, 1, SEED_MAX, in);
    fclose(in);
    assert_true(n < SEED_MAX);
    for (size_t cut = 0; cut <= CUTS; cut++) {
        /* A copy of its own size: reading behind its end is noticed. */
        size_t len = n - n * cut / CUTS;
        uint8_t *exact = malloc(len + (len == 0));
        assert_non_null(exact);
        memcpy(exact, data, len);
        assert_int_equal(run(exact, len), 0);
        free(exact);
    }
    free(data);
}

/* What is refused is said on standard error; with so many refusals nobody would find a report. */
static FILE *hush(void)
{
    FILE *said = stderr;
    stderr = fopen("/dev/null", "w");
    assert_non_null(stderr);
    return said;
}

static void seeds_are_played(void **state)
{
    const struct harness *h = *state;
    char path[600];
    unsigned seeds = 0;
    snprintf(path, sizeof path, "fixtures/fuzz/%s", h->name);
    DIR *dir = opendir(path);
    if (dir == NULL)
        fail_msg("%s has no seeds (run it in the project's folder)", path);
    FILE *said = hush();
    for (struct dirent *e; (e = readdir(dir)) != NULL;) {
        if (e->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "fixtures/fuzz/%s/%s", h->name, e->d_name);
        play(h->run, path);
        seeds++;
    }
    fclose(stderr);
    stderr = said;
    closedir(dir);
    assert_true(seeds > 0);
}

static void every_harness_is_here(void **state)
{
    unsigned n = 0;
    (void) state;
    DIR *dir = opendir("tests/fuzz");
    assert_non_null(dir);
    for (struct dirent *e; (e = readdir(dir)) != NULL;) {
        const char *end = strrchr(e->d_name, '.');
        n += strncmp(e->d_name, "fuzz_", 5) == 0 && end != NULL && strcmp(end, ".c") == 0;
    }
    closedir(dir);
    assert_int_equal(n, sizeof harnesses / sizeof harnesses[0]);
}

int main(void)
{
    enum { N = sizeof harnesses / sizeof harnesses[0] };
    struct CMUnitTest tests[N + 1];
    for (size_t i = 0; i < N; i++)
        tests[i] = (struct CMUnitTest){
            harnesses[i].name, seeds_are_played, NULL, NULL, (void *) (uintptr_t) &harnesses[i]};
    tests[N] = (struct CMUnitTest) cmocka_unit_test(every_harness_is_here);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
