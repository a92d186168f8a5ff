/* Pages that carry a checksum, so that a flipped byte is seen wherever it lies.
 *
 * Each page of a register made here ends in 8 bytes that SQLite leaves alone. They are filled when
 * a page goes to the file and compared when it comes back. What SQLite holds in memory and in the
 * WAL has zeros there; a page that did not agree keeps what it had, also when it is written again:
 * so damage is never signed as sound. */
#ifndef LUGMARK_STORE_SUM_VFS_H
#define LUGMARK_STORE_SUM_VFS_H

#include <sqlite3.h>
#include <stdbool.h>
#include <stdint.h>

#define LM_SUM_SIZE 8 /* bytes at the end of each page */
#define LM_SUM_BAD_MAX 64u

/* What an open file has shown so far. */
struct lm_sum_seen {
    bool summed;                    /* the file is one whose pages carry sums */
    unsigned bad;                   /* pages that do not agree with theirs */
    uint32_t pages[LM_SUM_BAD_MAX]; /* their numbers, in no order; the first few */
};

/* Name for sqlite3_open_v2(); NULL when out of memory. Stands on the default VFS of that moment. */
const char *lm_sum_vfs(void);

/* Ask for sums in a file that is still empty. */
int lm_sum_wanted(sqlite3 *db);

/* Of the register that a connection has open; borrowed from it. NULL: opened in another way. */
const struct lm_sum_seen *lm_sum_seen(sqlite3 *db);

/* The sum of a page of @p size bytes, never 0. @p number counts from 1. */
uint64_t lm_sum_of(const unsigned char *page, int size, uint32_t number);

#endif
