/* Inside of the sieve: see sieve.h. Files: feed.c gives blocks of whole lines; rows.c
 * takes the register's lines apart (cells.h); codes.c holds the table of codes and
 * finds what is there twice; readings.c takes the readings; pick.c says what stays. */
#ifndef LUGMARK_SIEVE_PRIV_H
#define LUGMARK_SIEVE_PRIV_H

#include "lugmark/text.h"
#include "sieve.h"

#define SIEVE_COLUMNS 32u
#define SIEVE_NONE UINT32_MAX
#define SIEVE_SLACK 64u /**< readable bytes behind a block, so that words can be read whole */
#define SIEVE_LANES 60u /**< more lanes than this are for the plain way */

/* --- blocks of whole lines --- */

struct sieve_feed {
    int fd;
    char *buf;
    size_t have, used; /**< bytes in the buffer; of these, given already */
    uint64_t base;     /**< place in the file of the buffer's first byte */
    uint64_t size;     /**< of the file when it was opened */
    bool at_end;
};

/** Open a regular file of at most 4 GB. @return false when it is none. */
bool lm_sieve_feed_open(struct sieve_feed *f, const char *path);
void lm_sieve_feed_close(struct sieve_feed *f);
/** The next whole lines. @return false at the end, or (then at_end is not set) on trouble. */
bool lm_sieve_feed_next(struct sieve_feed *f, const char **from, const char **to);

/* --- the register --- */

enum row_flag {
    ROW_STAYS = 1,
    ROW_EXPECTED = 2, /**< on the farm and in the mob */
};

/** What is kept of each line of the register, by its place. */
struct sieve_rows {
    uint32_t n, room;
    uint64_t *code;   /**< lm_eid_key(); 0 for none. Until the table is made */
    uint32_t *slot;   /**< then: its place in the table, or SIEVE_NONE */
    uint32_t *at;     /**< place of the line in the file */
    uint32_t *key;    /**< hash of the animal's name; without names, of the number as it stands */
    uint32_t *number; /**< hash of the number, folded loosely; 0 for none */
    uint8_t *flags;
    bool named;      /**< there is a column `animal` */
    uint64_t header; /**< place of the header line */
};

bool lm_sieve_rows(struct lm_sieve *s, const char *mob);

/* --- codes --- */

/* A slot: the code in the lower 48 bits, facts above. */
#define SLOT_CODE ((UINT64_C(1) << 48) - 1)
#define SLOT_ONCE (UINT64_C(1) << 48)   /* read */
#define SLOT_MORE (UINT64_C(1) << 49)   /* and again */
#define SLOT_STAYS (UINT64_C(1) << 50)  /* its readings stay */
#define SLOT_SHARED (UINT64_C(1) << 51) /* several rows have it */

struct sieve_codes {
    uint64_t *slots;
    uint32_t size;
};

static inline uint32_t lm_sieve_place(uint64_t code, uint32_t size)
{
    uint64_t h = (code ^ code >> 31) * UINT64_C(0x9e3779b97f4a7c15);
    return (uint32_t) ((h >> 32) * size >> 32);
}

/** The slot of a code, or SIEVE_NONE. */
static inline uint32_t lm_sieve_find(const struct sieve_codes *c, uint64_t code)
{
    uint32_t at = lm_sieve_place(code, c->size);
    while (c->slots[at] != 0) {
        if ((c->slots[at] & SLOT_CODE) == code)
            return at;
        at = at + 1 == c->size ? 0 : at + 1;
    }
    return SIEVE_NONE;
}

/**
 * Mark rows whose hash another has; @p hash 0 is none.
 * @param[out] any  Set when two rows have a hash in common, and that in @p other.
 * @return false when out of memory.
 */
bool lm_sieve_twins(
    const uint32_t *hash, const uint32_t *other, uint32_t n, uint8_t *flags, bool *any);
/** Make the table of the rows' codes, and mark rows that share one. */
bool lm_sieve_codes(struct lm_sieve *s);

/* --- readings --- */

/** A reading that is no plain code of the register. */
struct sieve_odd {
    uint64_t bits;
    uint32_t slot; /**< of the code, or SIEVE_NONE */
    uint32_t text; /**< offset of what came, 0 for "" */
    uint8_t known, doubt;
    bool cut;
};

#define READING_ODD UINT32_C(0x80000000) /* the rest is its place among the odd ones */

struct sieve_readings {
    uint32_t n, room;
    uint32_t *what;  /**< a slot, or READING_ODD */
    uint32_t *after; /**< milliseconds after `first`, or NULL when there are no times */
    uint8_t *lane;   /**< or NULL when there are no lanes */
    uint8_t *stays;
    int64_t first;
    struct sieve_odd *odd;
    uint32_t n_odd, room_odd;
    char *text;
    size_t text_used, text_room;
    char lanes[SIEVE_LANES][LM_NAME_MAX + 1];
    unsigned n_lanes;
};

bool lm_sieve_readings(struct lm_sieve *s);

/** Say which readings and rows stay. @return false when that is not worth it, or out of memory. */
bool lm_sieve_pick(struct lm_sieve *s);

struct lm_sieve {
    struct sieve_feed reg, in;
    struct sieve_rows rows;
    struct sieve_codes codes;
    struct sieve_readings readings;
    uint32_t through;
    uint32_t next; /**< reading to give next */
    char *lines;   /**< of the register, that stay */
    size_t n_lines;
};

#endif
