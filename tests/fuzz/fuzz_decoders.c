/* Any bytes on a port: every decoder takes them whole or cut, and says the same. */
#include "lugmark/driver.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct heard {
    uint64_t sum;
};

static void reading(void *ctx, const struct lm_event *ev)
{
    struct heard *h = ctx;
    if (!ev->eid.known)
        abort();
    h->sum = h->sum * 31 + ev->eid.bits;
}

static void reject(void *ctx, enum lm_reject why, size_t bytes)
{
    (void) ctx;
    (void) bytes;
    if (why >= LM_REJECTS)
        abort();
}

static uint64_t feed(const char *name, const uint8_t *data, size_t size, size_t step)
{
    const struct lm_decoder_ops *ops = lm_decoder_find(name);
    struct heard h = {0};
    struct lm_sink sink = {.reading = reading, .reject = reject, .ctx = &h};
    struct lm_problem p = {0};
    void *state = ops->new_(NULL, 0, &p);
    if (!state)
        abort();
    for (size_t at = 0; at < size; at += step)
        ops->feed(state, data + at, size - at < step ? size - at : step, &sink);
    ops->free_(state);
    return h.sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const names[] = {"text", "telegram"};
    for (size_t i = 0; i < 2; i++) {
        if (feed(names[i], data, size, size ? size : 1) != feed(names[i], data, size, 3))
            abort();
    }
    return 0;
}
