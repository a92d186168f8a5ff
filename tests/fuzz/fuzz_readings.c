/* Any bytes as a file of readings: rows are readings, doubtful readings or named problems, never
 * more of them than lines. */
#include "fuzz_help.h"

#include "cli/readings.h"

static size_t lines_of(const uint8_t *data, size_t size)
{
    size_t n = 1;
    for (size_t i = 0; i < size; i++)
        n += data[i] == '\n' || data[i] == '\r';
    return n;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_readings r;
    struct lm_event ev = {.kind = LM_EVENT_READING};
    struct lm_problem p = {.err = LM_OK};
    size_t rows = 0, most = lines_of(data, size);
    FILE *in = fuzz_file(data, size);
    enum lm_err err = lm_readings_begin(&r, in, "readings", &p);
    MUST(err == LM_OK || p.what[0] != '\0');
    while (err == LM_OK || (err == LM_EINPUT && rows > 0)) {
        p = (struct lm_problem){.err = LM_OK};
        err = lm_readings_next(&r, &ev, &p);
        MUST(err != LM_EINPUT || (p.what[0] != '\0' && p.line > 0));
        MUST(err != LM_OK || ev.eid.known || ev.doubt != LM_DOUBT_NONE);
        MUST(++rows <= most + 1);
    }
    lm_readings_end(&r);
    fclose(in);
    return 0;
}
