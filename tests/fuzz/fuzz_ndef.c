/* Any bytes as the memory of a tag, and as a message: whatever is found lies within them. */
#include "fuzz_help.h"

#include "lugmark/ndef.h"

struct walk {
    const uint8_t *from;
    size_t len, records;
};

static enum lm_ndef record(const struct lm_ndef_record *rec, void *ctx)
{
    struct walk *w = ctx;
    MUST(rec->tnf < LM_TNF_RESERVED + 1 && rec->tnf != LM_TNF_UNCHANGED);
    MUST(rec->len <= w->len && rec->type_len <= w->len && rec->depth <= LM_NDEF_DEPTH);
    /* Chunks are put together elsewhere, so only that the bytes can be read is asked. */
    uint8_t sum = 0;
    for (size_t i = 0; i < rec->len; i++)
        sum = (uint8_t) (sum + rec->payload[i]);
    for (size_t i = 0; i < rec->type_len; i++)
        sum = (uint8_t) (sum + rec->type[i]);
    w->records += 1u + (sum & 0u);
    return LM_NDEF_OK;
}

static void message(const uint8_t *data, size_t size)
{
    struct lm_eid eid = {.known = LM_EID_NONE};
    struct walk w = {data, size, 0};
    enum lm_ndef walked = lm_ndef_records(data, size, record, &w);
    enum lm_ndef why = lm_ndef_code(data, size, &eid);
    MUST(walked < LM_NDEF_WHYS && why < LM_NDEF_WHYS && lm_ndef_say(why)[0] != '\0');
    MUST(w.records <= size); /* a record has a byte at least */
    MUST(why != LM_NDEF_OK || (walked == LM_NDEF_OK && eid.known != LM_EID_NONE));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint8_t out[LM_NDEF_MAX];
    size_t n = 0;
    struct lm_eid eid, again;
    size_t whole = lm_t2t_size(data, size);
    MUST(whole == 0 || (whole >= LM_T2T_HEAD && whole <= LM_T2T_MAX));
    enum lm_ndef found = lm_t2t_message(data, size, out, &n);
    MUST(found < LM_NDEF_WHYS && n <= LM_NDEF_MAX && (found == LM_NDEF_OK || n == 0));
    enum lm_ndef why = lm_t2t_code(data, size, &eid);
    if (found == LM_NDEF_OK) {
        MUST(lm_ndef_code(out, n, &again) == why);
        MUST(why != LM_NDEF_OK || again.bits == eid.bits);
        message(out, n);
    } else {
        MUST(why == found);
    }
    message(data, size);
    return 0;
}
