/** @file regcsv_help.h
 * Reads CSV text from memory and keeps what came out: animals and problems.
 */
#ifndef TEST_REGCSV_HELP_H
#define TEST_REGCSV_HELP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "lugmark/regcsv.h"
#include "random_record.h"

#define KEPT 2100

struct result {
    enum lm_err err;
    unsigned n_records, n_problems;
    struct lm_record *records; /**< KEPT of them */
    long lines[KEPT];
    struct lm_problem *problems; /**< KEPT of them */
    unsigned progress;
    enum lm_err answer; /**< what the record hook gives */
};

static inline enum lm_err keep_record(const struct lm_record *rec, long line, void *ctx)
{
    struct result *out = ctx;

    assert_true(out->n_records < KEPT);
    out->lines[out->n_records] = line;
    out->records[out->n_records++] = *rec;
    return out->answer;
}

static inline void keep_problem(const struct lm_problem *p, void *ctx)
{
    struct result *out = ctx;

    assert_true(out->n_problems < KEPT);
    out->problems[out->n_problems++] = *p;
}

static inline void keep_progress(long long done, long long total, void *ctx)
{
    struct result *out = ctx;

    assert_true(total == 0 || done <= total);
    out->progress++;
}

static inline struct result *read_file(FILE *in, bool lenient, enum lm_err answer)
{
    struct result *out = calloc(1, sizeof *out);
    struct lm_regcsv_hooks hooks = {.record = keep_record,
        .problem = keep_problem,
        .progress = keep_progress,
        .ctx = out,
        .lenient = lenient};

    out->records = calloc(KEPT, sizeof *out->records);
    out->problems = calloc(KEPT, sizeof *out->problems);
    out->answer = answer;
    out->err = lm_regcsv_read(in, "flock.csv", &hooks);
    fclose(in);
    return out;
}

static inline struct result *read_bytes(const char *text, size_t len, bool lenient)
{
    FILE *in = tmpfile();

    assert_non_null(in);
    assert_int_equal(fwrite(text, 1, len, in), len);
    rewind(in);
    return read_file(in, lenient, LM_OK);
}

static inline struct result *read_text(const char *text)
{
    return read_bytes(text, strlen(text), false);
}

static inline void drop(struct result *out)
{
    free(out->records);
    free(out->problems);
    free(out);
}

/** Read text that must be good. */
static inline struct result *read_good(const char *text)
{
    struct result *out = read_text(text);

    if (out->err)
        fail_msg("refused at %ld:%ld: %s: %s", out->problems[0].line, out->problems[0].column,
            out->problems[0].what, text);
    assert_int_equal(out->n_problems, 0);
    return out;
}

#endif
