/* Any text as a code, any bytes as a stream of bits: what decodes must encode back to the same. */
#include "lugmark/decode.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(const struct lm_telegram *t, void *ctx)
{
    uint8_t fdxb[LM_FDXB_BYTES], hdx[LM_HDX_BYTES];
    struct lm_telegram back;
    (void) ctx;
    lm_fdxb_encode(t->eid.bits, t->trailer, fdxb);
    lm_hdx_encode(t->eid.bits, t->trailer, hdx);
    if (lm_fdxb_decode(fdxb, &back) != LM_OK || back.eid.bits != t->eid.bits ||
        lm_hdx_decode(hdx, &back) != LM_OK || back.trailer != t->trailer)
        abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_decoded d, again;
    struct lm_problem p = {0};
    char text[LM_EID_TEXT_SIZE];
    struct lm_bitstream s = {.codings = 1u << LM_CODING_FDXB | 1u << LM_CODING_HDX};
    if (lm_decode((const char *) data, size, &d, &p) == LM_OK) {
        lm_eid_format(d.eid, text);
        if (lm_eid_country(d.eid) < 1000 && (lm_decode(text, strlen(text), &again, &p) != LM_OK ||
                                                lm_eid_key(again.eid) != lm_eid_key(d.eid)))
            abort();
    } else if (!p.what[0]) {
        abort(); /* a refusal says why */
    }
    lm_bitstream_feed(&s, data, size, check, NULL);
    return 0;
}
