/* Any bytes as a file of the animal data exchange: refused with a reason, or read into a register
 * that is sound afterwards; and a second time nothing is new, or it is refused for a session that
 * is there already. */
#include "fuzz_help.h"

#include "lugmark/icar.h"

static enum lm_err read_in(
    struct lm_store *s, const uint8_t *data, size_t size, struct lm_icar_taken *taken)
{
    unsigned problems = 0;
    const struct lm_icar_read how = {
        .name = "file", .problem = fuzz_count, .ctx = &problems, .now_ms = 1};
    MUST(lm_store_begin(s) == LM_OK);
    enum lm_err err = lm_icar_read(s, (const char *) data, size, &how, taken);
    MUST(err == LM_OK || (err == LM_EINPUT && problems > 0));
    if (err == LM_OK)
        MUST(lm_store_commit(s) == LM_OK);
    else
        lm_store_rollback(s);
    return err;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_icar_taken taken;
    struct fuzz_store f = fuzz_store_new("icar");
    if (read_in(f.s, data, size, &taken) == LM_OK) {
        int64_t seq = lm_store_last_seq(f.s);
        bool session = taken.sessions > 0;
        MUST(read_in(f.s, data, size, &taken) == (session ? LM_EINPUT : LM_OK));
        MUST(lm_store_last_seq(f.s) == seq);
    }
    fuzz_store_end(&f);
    return 0;
}
