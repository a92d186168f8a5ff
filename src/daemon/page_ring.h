/** @file page_ring.h
 * The latest lines of the journal as they were published: a page that was away for a while gets
 * from here what it missed, without the register being read again.
 */
#ifndef LUGMARK_DAEMON_PAGE_RING_H
#define LUGMARK_DAEMON_PAGE_RING_H

#include <stddef.h>
#include <stdint.h>

#define RING_LINES 16384u
#define RING_BYTES (8u << 20)

struct ring_line {
    int64_t seq;
    size_t len;
    const char *text; /**< with its line end; in the area of the ring */
};

struct page_ring {
    struct ring_line *lines; /**< RING_LINES of them */
    char *area;              /**< RING_BYTES, filled from its begin to its end and over again */
    size_t first, n;
    size_t end;   /**< of the latest line in the area */
    int64_t from; /**< all that was published after this place is here */
};

/** Begin with nothing, at place @p from. @return 0, or -1 without memory. */
int ring_begin(struct page_ring *r, int64_t from);
void ring_end(struct page_ring *r);

/** Keep a line; the oldest ones make room. One that has no room at all empties the ring. */
void ring_put(struct page_ring *r, const char *line, size_t len, int64_t seq);

/** Forget all up to place @p seq: a line of it could not be had. */
void ring_forget(struct page_ring *r, int64_t seq);

/** Line @p i of ring->n, oldest first. */
const struct ring_line *ring_at(const struct page_ring *r, size_t i);

#endif
