/** @file arena.h
 * Text kept for the life of a roll or session: one growing block, named by offset.
 * Offset 0 is always the empty text.
 */
#ifndef LM_RACE_ARENA_H
#define LM_RACE_ARENA_H

#include "lugmark/err.h"
#include <stdint.h>

struct lm_arena {
    char *text;
    uint32_t used, size;
    uint32_t *words; /**< open-addressed set of offsets of interned words, 0 = free */
    uint32_t n_words, words_size;
};

enum lm_err lm_arena_init(struct lm_arena *a);
void lm_arena_free(struct lm_arena *a);

/** Append a copy. @return LM_OK or LM_ENOMEM; 4 GiB is the bound. */
enum lm_err lm_arena_add(struct lm_arena *a, const char *text, uint32_t *offset);

/** The same, but equal words are kept once. */
enum lm_err lm_arena_intern(struct lm_arena *a, const char *text, uint32_t *offset);

/** Text at an offset; borrowed until the next add. */
static inline const char *lm_arena_at(const struct lm_arena *a, uint32_t offset)
{
    return a->text + offset;
}

uint64_t lm_hash_text(const char *text, size_t len);
uint64_t lm_hash_u64(uint64_t v);

#endif
