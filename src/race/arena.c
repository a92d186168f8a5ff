#include "race/arena.h"

#include <stdlib.h>
#include <string.h>

uint64_t lm_hash_u64(uint64_t v)
{
    v ^= v >> 32;
    v *= UINT64_C(0x9e3779b97f4a7c15);
    v ^= v >> 29;
    v *= UINT64_C(0xbf58476d1ce4e5b9);
    return v ^ (v >> 32);
}

uint64_t lm_hash_text(const char *text, size_t len)
{
    uint64_t h = UINT64_C(0xcbf29ce484222325);
    for (size_t i = 0; i < len; i++)
        h = (h ^ (unsigned char) text[i]) * UINT64_C(0x100000001b3);
    return lm_hash_u64(h);
}

enum lm_err lm_arena_init(struct lm_arena *a)
{
    memset(a, 0, sizeof *a);
    a->size = 4096;
    a->text = malloc(a->size);
    if (!a->text)
        return LM_ENOMEM;
    a->text[0] = '\0';
    a->used = 1;
    return LM_OK;
}

void lm_arena_free(struct lm_arena *a)
{
    free(a->text);
    free(a->words);
    memset(a, 0, sizeof *a);
}

static enum lm_err reserve(struct lm_arena *a, size_t need)
{
    uint64_t want = a->size;
    if (need > UINT32_MAX - a->used)
        return LM_ENOMEM;
    while (want - a->used < need)
        want += want / 2;
    if (want == a->size)
        return LM_OK;
    if (want > UINT32_MAX)
        want = UINT32_MAX;
    char *bigger = realloc(a->text, (size_t) want);
    if (!bigger)
        return LM_ENOMEM;
    a->text = bigger;
    a->size = (uint32_t) want;
    return LM_OK;
}

enum lm_err lm_arena_add(struct lm_arena *a, const char *text, uint32_t *offset)
{
    size_t len = strlen(text);
    *offset = 0;
    if (len == 0)
        return LM_OK;
    enum lm_err err = reserve(a, len + 1);
    if (err)
        return err;
    memcpy(a->text + a->used, text, len + 1);
    *offset = a->used;
    a->used += (uint32_t) len + 1;
    return LM_OK;
}

static uint32_t find_slot(const struct lm_arena *a, const char *text, size_t len)
{
    uint32_t mask = a->words_size - 1;
    uint32_t i = (uint32_t) lm_hash_text(text, len) & mask;
    while (a->words[i] && strcmp(a->text + a->words[i], text) != 0)
        i = (i + 1) & mask;
    return i;
}

static enum lm_err grow_words(struct lm_arena *a)
{
    if (a->n_words < a->words_size / 2)
        return LM_OK;
    struct lm_arena bigger = *a;
    bigger.words_size = a->words_size ? a->words_size * 2 : 64;
    bigger.words = calloc(bigger.words_size, sizeof *bigger.words);
    if (!bigger.words)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < a->words_size; i++) {
        const char *text = a->text + a->words[i];
        if (a->words[i])
            bigger.words[find_slot(&bigger, text, strlen(text))] = a->words[i];
    }
    free(a->words);
    a->words = bigger.words;
    a->words_size = bigger.words_size;
    return LM_OK;
}

enum lm_err lm_arena_intern(struct lm_arena *a, const char *text, uint32_t *offset)
{
    size_t len = strlen(text);
    *offset = 0;
    if (len == 0)
        return LM_OK;
    enum lm_err err = grow_words(a);
    if (err)
        return err;
    uint32_t slot = find_slot(a, text, len);
    if (!a->words[slot]) {
        err = lm_arena_add(a, text, offset);
        if (err)
            return err;
        a->words[slot] = *offset;
        a->n_words++;
    }
    *offset = a->words[slot];
    return LM_OK;
}
