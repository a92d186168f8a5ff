/* Any bits on a port with the decoder `telegram`: the first byte chooses the settings, the rest is
 * fed. Cut anywhere it hears the same; a telegram takes at least 112 bits that nothing else has. */
#include "fuzz_help.h"

#include "lugmark/telegram.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const codings[] = {"fdx-b", "hdx", "both"};
    if (size == 0)
        return 0;
    const struct lm_setting settings[] = {
        {"coding", codings[data[0] % 3u]}, {"bit_order", (data[0] & 0x80u) != 0 ? "lsb" : "msb"}};
    struct fuzz_heard h = fuzz_feed_cut("telegram", settings, 2, data + 1, size - 1);
    MUST(h.readings * LM_HDX_BITS <= (size - 1) * 8);
    return 0;
}
