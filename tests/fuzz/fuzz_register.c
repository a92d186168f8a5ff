/* Any bytes as a register file: it is refused with a reason, or taken and written back whole. */
#include "lugmark/regcsv.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct run {
    FILE *out;
    unsigned animals, problems;
};

static enum lm_err record(const struct lm_record *rec, long line, void *ctx)
{
    struct run *run = ctx;
    (void) line;
    run->animals++;
    return run->out ? lm_regcsv_write(run->out, rec) : LM_OK;
}

static void problem(const struct lm_problem *p, void *ctx)
{
    struct run *run = ctx;
    run->problems += p->what[0] != '\0';
}

static enum lm_err read_bytes(const void *bytes, size_t size, struct run *run, bool lenient)
{
    FILE *in = fmemopen((void *) (uintptr_t) bytes, size, "rb");
    struct lm_regcsv_hooks hooks = {
        .record = record, .problem = problem, .ctx = run, .lenient = lenient};
    enum lm_err err = lm_regcsv_read(in, "fuzz", &hooks);
    fclose(in);
    return err;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = NULL;
    size_t len = 0;
    struct run run = {0}, again = {0};
    if (!size)
        return 0;
    run.out = open_memstream(&text, &len);
    lm_regcsv_write_header(run.out);
    enum lm_err err = read_bytes(data, size, &run, data[size - 1] & 1);
    fclose(run.out);
    if (err == LM_EINPUT && !run.problems)
        abort();
    if (err == LM_OK &&
        (read_bytes(text, len, &again, false) != LM_OK || again.animals != run.animals))
        abort();
    free(text);
    return 0;
}
