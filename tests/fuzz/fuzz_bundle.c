/* Any bytes as a bundle: refused with a reason and nothing changed, or united; and a second time it
 * changes nothing. */
#include "fuzz_help.h"

#include "lugmark/bundle.h"

static enum lm_keep keep(const struct lm_clash *clash, void *ctx)
{
    const uint8_t *how = ctx;
    MUST(clash->animal != NULL && clash->other != NULL && clash->code != NULL);
    return (enum lm_keep)(*how % 3u);
}

static enum lm_err unite(
    struct lm_store *s, const uint8_t *data, size_t size, uint8_t how, struct lm_united *out)
{
    struct lm_bundle_hooks hooks = {.keep = keep, .ctx = &how};
    struct lm_problem p = {.err = LM_OK};
    FILE *in = fuzz_file(data, size);
    int64_t before = lm_store_last_seq(s);
    enum lm_err err = lm_bundle_unite(s, in, "bundle", 1, &hooks, out, &p);
    fclose(in);
    if (err != LM_OK) {
        MUST(lm_store_last_seq(s) == before);
        MUST(err == LM_EAMBIGUOUS || p.what[0] != '\0');
    }
    return err;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_united out;
    uint8_t how = size > 0 ? data[size - 1] : 0;
    struct fuzz_store f = fuzz_store_new("bundle");
    if (unite(f.s, data, size, how, &out) == LM_OK) {
        MUST(unite(f.s, data, size, how, &out) == LM_OK);
        MUST(out.events == 0 && out.sessions == 0 && out.stock == 0 && out.clashes == 0);
    }
    fuzz_store_end(&f);
    return 0;
}
