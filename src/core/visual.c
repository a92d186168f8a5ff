/** @file visual.c
 * Visual numbers and words, folded for comparing.
 */
#include "lugmark/text.h"

#include <string.h>

#include "core/ascii.h"

static bool is_separator(char c)
{
    return c == ' ' || c == '\t' || (c >= '-' && c <= '/') || c == '_'; /* '-', '.', '/' */
}

size_t lm_visual_fold(const char *visual, char out[LM_VISUAL_MAX + 1])
{
    size_t used = 0;
    for (const char *c = visual; *c != '\0' && used < LM_VISUAL_MAX; c++)
        if (!is_separator(*c))
            out[used++] = lm_upper(*c);
    out[used] = '\0';
    return used;
}

size_t lm_visual_fold_loose(const char *visual, char out[LM_VISUAL_MAX + 1])
{
    size_t len = lm_visual_fold(visual, out);
    size_t zeros = 0;
    while (zeros + 1 < len && out[zeros] == '0')
        zeros++;
    memmove(out, out + zeros, len - zeros + 1);
    return len - zeros;
}

static char fold_word(char c)
{
    return c == '-' || c == '_' ? ' ' : lm_upper(c);
}

bool lm_word_is(const char *word, const char *wanted)
{
    if (word == NULL || wanted == NULL)
        return false;
    while (*word != '\0' && fold_word(*word) == fold_word(*wanted)) {
        word++;
        wanted++;
    }
    return *word == '\0' && *wanted == '\0';
}
