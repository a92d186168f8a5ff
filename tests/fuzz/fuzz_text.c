/* Any bytes on a port with the decoder `text`: the first byte chooses a pattern, the rest is fed.
 * Cut anywhere it hears the same; a code takes 15 bytes of its own, and no byte is refused twice.
 */
#include "fuzz_help.h"

#define DIGITS 15u

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const struct lm_setting patterns[] = {{"pattern", "ID=([0-9]{15})"},
        {"pattern", "^[A-Z ]*([0-9]+[ .-]?[0-9]*)"}, {"pattern", "([0-9A-F]{16})"}};
    if (size == 0)
        return 0;
    size_t which = data[0] % 4u;
    size_t n = which < 3 ? 1 : 0;
    struct fuzz_heard h = fuzz_feed_cut("text", n ? &patterns[which] : NULL, n, data + 1, size - 1);
    MUST(h.rejected <= size - 1);
    MUST(n != 0 || h.readings * DIGITS <= size - 1);
    return 0;
}
