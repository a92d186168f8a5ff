#include "config_parse.h"

#include <string.h>

#define WORD_MAX 48u

bool config_is_one(const char *word, const char *const *names)
{
    for (size_t i = 0; names != NULL && names[i] != NULL; i++) {
        if (strcmp(names[i], word) == 0) {
            return true;
        }
    }
    return false;
}

/* Letters to add, drop or change to make one word the other; longer words are not compared. */
static unsigned distance(const char *a, const char *b)
{
    unsigned row[WORD_MAX + 1];
    size_t na = strlen(a), nb = strlen(b);
    if (na > WORD_MAX || nb > WORD_MAX) {
        return WORD_MAX;
    }
    for (unsigned j = 0; j <= nb; j++) {
        row[j] = j;
    }
    for (unsigned i = 1; i <= na; i++) {
        unsigned corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            unsigned change = corner + (a[i - 1] == b[j - 1] ? 0u : 1u);
            corner = row[j];
            unsigned shift = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;
            row[j] = change < shift ? change : shift;
        }
    }
    return row[nb];
}

static const char *nearest(const char *word, const char *const *const *lists, size_t n)
{
    const char *best = NULL;
    unsigned best_distance = 4; /* further than three letters off is no slip of the finger */
    for (size_t k = 0; k < n; k++) {
        for (size_t i = 0; lists[k] != NULL && lists[k][i] != NULL; i++) {
            unsigned d = distance(word, lists[k][i]);
            if (d < best_distance && d < strlen(lists[k][i])) {
                best = lists[k][i];
                best_distance = d;
            }
        }
    }
    return best;
}

const char *config_suggest_of(
    const char *word, const char *const *const *lists, size_t n, char *out, size_t size)
{
    const char *best = nearest(word, lists, n);
    if (best != NULL) {
        snprintf(out, size, "did you mean %s?", best);
        return out;
    }
    size_t at = (size_t) snprintf(out, size, "choose from");
    for (size_t k = 0; k < n; k++) {
        for (size_t i = 0; lists[k] != NULL && lists[k][i] != NULL; i++) {
            if (at < size) {
                at += (size_t) snprintf(out + at, size - at, " %s", lists[k][i]);
            }
        }
    }
    return out;
}

const char *config_suggest(const char *word, const char *const *names, char *out, size_t size)
{
    const char *const *lists[] = {names};
    return config_suggest_of(word, lists, 1, out, size);
}
