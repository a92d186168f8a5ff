/* Any description of a frame, and any bytes by it: the first lines are settings, the rest is fed.
 * Whole or cut the bytes say the same, and what is accounted for is never more than what came. */
#include "drivers/frame.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define KEYS 9

struct heard {
    uint64_t sum;
    size_t bytes;
};

static void hear(const struct lm_frame_verdict *v, const uint8_t *frame, size_t len, void *ctx)
{
    struct heard *h = ctx;
    if (len == 0 || (frame != NULL && len != v->len) || len > LM_FRAME_MAX ||
        (v->what == LM_FRAME_GOOD && lm_eid_key(v->eid) == 0))
        abort();
    h->sum = (h->sum * 31 + (uint64_t) v->what) * 31 + len + v->eid.bits;
    h->bytes += v->what == LM_FRAME_GOOD ? len : 0;
}

static struct heard feed(
    const struct lm_frame_spec *spec, const uint8_t *data, size_t size, size_t step)
{
    struct lm_frame_hunt hunt = {.spec = spec};
    struct heard h = {0};
    for (size_t at = 0; at < size; at += step)
        lm_frame_feed(&hunt, data + at, size - at < step ? size - at : step, hear, &h);
    if (h.bytes + hunt.len > size)
        abort();
    return h;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char text[KEYS][198];
    struct lm_setting settings[KEYS];
    size_t n = 0, at = 0;
    for (; n < KEYS && lm_frame_keys[n] != NULL && at < size; n++) {
        const uint8_t *end = memchr(data + at, '\n', size - at);
        size_t len = end != NULL ? (size_t) (end - data) - at : size - at;
        size_t kept = len < sizeof text[0] - 1 ? len : sizeof text[0] - 1;
        memcpy(text[n], data + at, kept);
        text[n][kept] = '\0';
        settings[n] = (struct lm_setting){lm_frame_keys[n], text[n]};
        at += len + (end != NULL);
    }
    /* An empty line is a setting that is not there. */
    size_t kept = 0;
    for (size_t i = 0; i < n; i++)
        if (text[i][0] != '\0')
            settings[kept++] = settings[i];
    struct lm_frame_spec spec;
    struct lm_problem p = {0};
    if (lm_frame_spec_read(&spec, settings, kept, &p) != LM_OK) {
        if (p.err != LM_EINPUT || p.what[0] == '\0' || p.mend[0] == '\0')
            abort();
        return 0;
    }
    struct heard whole = feed(&spec, data + at, size - at, size + 1);
    struct heard cut = feed(&spec, data + at, size - at, 3);
    if (whole.sum != cut.sum)
        abort();
    return 0;
}
