/* Lines and cells, eight bytes at a time. Whoever asks may read SIEVE_SLACK bytes past the end. */
#ifndef LUGMARK_SIEVE_CELLS_H
#define LUGMARK_SIEVE_CELLS_H

#include "priv.h"

#include <endian.h>
#include <string.h>

#define EACH(byte) ((byte) *UINT64_C(0x0101010101010101))
#define HIGH EACH(UINT64_C(0x80))

struct sieve_cell {
    const char *s;
    size_t n;
};

static inline uint64_t lm_sieve_load(const char *s)
{
    uint64_t w;
    memcpy(&w, s, 8);
    return le64toh(w);
}

/** The high bit of each byte that equals @p byte, which is below 128. Exact. */
static inline uint64_t lm_sieve_equal(uint64_t w, uint64_t byte)
{
    uint64_t x = w ^ EACH(byte);
    return ~(((x & ~HIGH) + ~HIGH) | x) & HIGH;
}

/** @p n below 8 bytes of a word, the others set to @p fill. */
static inline uint64_t lm_sieve_head(uint64_t w, size_t n, uint64_t fill)
{
    uint64_t mask = (UINT64_C(1) << (8 * n)) - 1;
    return (w & mask) | (EACH(fill) & ~mask);
}

static inline uint64_t lm_sieve_mix(uint64_t h, uint64_t w)
{
    h = (h ^ w) * UINT64_C(0xff51afd7ed558ccd);
    return h ^ h >> 32;
}

static inline uint32_t lm_sieve_mixed(uint64_t h)
{
    h *= UINT64_C(0xc4ceb9fe1a85ec53);
    h ^= h >> 29;
    return (uint32_t) (h >> 32) != 0 ? (uint32_t) (h >> 32) : 1;
}

/** Hash of a text, never 0. */
static inline uint32_t lm_sieve_hash(const char *s, size_t n)
{
    uint64_t h = n;
    for (; n >= 8; s += 8, n -= 8)
        h = lm_sieve_mix(h, lm_sieve_load(s));
    return lm_sieve_mixed(lm_sieve_mix(h, lm_sieve_head(lm_sieve_load(s), n, 0)));
}

/** Whether a line is printable ASCII without quotes. @param[in] n  Its length. */
static inline bool lm_sieve_plain(const char *s, size_t n)
{
    uint64_t bad = 0, w;
    for (; n > 0; s += 8, n = n > 8 ? n - 8 : 0) {
        w = lm_sieve_load(s);
        if (n < 8)
            w = lm_sieve_head(w, n, 'a');
        bad |= w | ((w & ~HIGH) + EACH(UINT64_C(1))) | ~((w | HIGH) - EACH(UINT64_C(0x20))) |
               lm_sieve_equal(w, '"');
    }
    return (bad & HIGH) == 0;
}

/**
 * Take a line without quotes apart at its commas.
 * @return How many cells there are; @p most + 1 when more than @p most.
 */
static inline unsigned lm_sieve_split(
    const char *s, size_t n, struct sieve_cell *cells, unsigned most)
{
    const char *begin = s, *end = s + n;
    unsigned k = 0;
    for (const char *at = s; at < end; at += 8) {
        uint64_t commas = lm_sieve_equal(lm_sieve_load(at), ',');
        for (; commas != 0; commas &= commas - 1) {
            const char *stop = at + __builtin_ctzll(commas) / 8;
            if (stop >= end)
                break;
            if (k == most)
                return most + 1;
            cells[k++] = (struct sieve_cell){begin, (size_t) (stop - begin)};
            begin = stop + 1;
        }
    }
    if (k == most)
        return most + 1;
    cells[k++] = (struct sieve_cell){begin, (size_t) (end - begin)};
    return k;
}

/** Whether a cell has blanks around it. */
static inline bool lm_sieve_padded(const struct sieve_cell *c)
{
    return c->n > 0 && (c->s[0] == ' ' || c->s[c->n - 1] == ' ');
}

/** One line out of a block, without its end. @return where the next one begins. */
static inline const char *lm_sieve_line(const char *at, const char *to, size_t *len)
{
    const char *end = memchr(at, '\n', (size_t) (to - at));
    const char *next = end != NULL ? end + 1 : to;
    *len = (size_t) ((end != NULL ? end : to) - at);
    if (*len > 0 && at[*len - 1] == '\r')
        --*len;
    return next;
}

#endif
