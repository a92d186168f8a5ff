/* "did you mean": the nearest name by edit distance. */
#include "command.h"

#include <string.h>

#define WORD_MAX 40u /* longer words are no slip of the finger */

static size_t least(size_t a, size_t b, size_t c)
{
    size_t m = a < b ? a : b;
    return m < c ? m : c;
}

/* Levenshtein distance, with two neighbours swapped counting as one slip. */
static size_t distance(const char *a, size_t n, const char *b, size_t m)
{
    size_t d[WORD_MAX + 1][WORD_MAX + 1];
    for (size_t i = 0; i <= n; i++)
        for (size_t j = 0; j <= m; j++) {
            if (i == 0 || j == 0) {
                d[i][j] = i + j;
                continue;
            }
            size_t change = d[i - 1][j - 1] + (a[i - 1] != b[j - 1]);
            d[i][j] = least(d[i - 1][j] + 1, d[i][j - 1] + 1, change);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                d[i][j] = least(d[i][j], d[i - 2][j - 2] + 1, d[i][j]);
        }
    return d[n][m];
}

const char *lm_nearest(const char *word, const char *const *names, size_t n)
{
    const char *best = NULL;
    size_t len = strlen(word), best_far = len / 3 + 2;
    if (len == 0 || len > WORD_MAX)
        return NULL;
    for (size_t i = 0; i < n; i++) {
        size_t other = strlen(names[i]);
        if (other > WORD_MAX)
            continue;
        size_t far = distance(word, len, names[i], other);
        if (len >= 3 && other > len && memcmp(names[i], word, len) == 0)
            far = 1; /* the beginning of a longer name */
        if (far < best_far && far < other) {
            best = names[i];
            best_far = far;
        }
    }
    return best;
}
