/* Any bytes as a mapping of foreign columns, and by it a register: the two are parted by a line of
 * three dashes. What is refused is refused with a reason. */
#include "fuzz_help.h"

static enum lm_err record(const struct lm_record *rec, long line, void *ctx)
{
    unsigned *n = ctx;
    (void) line;
    MUST(rec->key[0] != '\0' && rec->n_devices <= LM_DEVICES_MAX);
    *n += 0;
    return LM_OK;
}

static size_t part(const uint8_t *data, size_t size)
{
    static const uint8_t line[] = "\n---\n";
    const uint8_t *at = memmem(data, size, line, sizeof line - 1);
    return at != NULL ? (size_t) (at - data) + 1 : size;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char csv[] = "Tag number,Sex,Born\n0417,Ewe,3/4/2026\n";
    struct lm_regcsv_map *map = NULL;
    unsigned problems = 0;
    size_t cut = part(data, size);
    FILE *in = fuzz_file(data, cut);
    enum lm_err err = lm_regcsv_map_read(in, "mapping", fuzz_count, &problems, &map);
    fclose(in);
    MUST((err == LM_OK) == (map != NULL) && (err != LM_EINPUT || problems > 0));
    if (map == NULL)
        return 0;
    problems = 0;
    const struct lm_regcsv_hooks hooks = {
        .record = record, .problem = fuzz_count, .ctx = &problems, .map = map};
    in = cut + 4 < size ? fuzz_file(data + cut + 4, size - cut - 4)
                        : fuzz_file((const uint8_t *) csv, sizeof csv - 1);
    err = lm_regcsv_read(in, "register", &hooks);
    fclose(in);
    MUST((err == LM_EINPUT) == (problems > 0) && (err == LM_OK || err == LM_EINPUT));
    lm_regcsv_map_free(map);
    return 0;
}
