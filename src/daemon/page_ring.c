#include "page_ring.h"

#include <stdlib.h>
#include <string.h>

int ring_begin(struct page_ring *r, int64_t from)
{
    *r = (struct page_ring){.from = from};
    r->lines = malloc(RING_LINES * sizeof *r->lines);
    r->area = malloc(RING_BYTES); /* its pages are touched only as it fills */
    if (r->lines == NULL || r->area == NULL) {
        ring_end(r);
        return -1;
    }
    return 0;
}

void ring_end(struct page_ring *r)
{
    free(r->lines);
    free(r->area);
    *r = (struct page_ring){.lines = NULL};
}

static void drop_first(struct page_ring *r)
{
    r->from = r->lines[r->first].seq;
    r->first = (r->first + 1) % RING_LINES;
    r->n--;
}

/* Where the oldest line begins in the area. */
static size_t oldest(const struct page_ring *r)
{
    return (size_t) (r->lines[r->first].text - r->area);
}

/* A line lies in one piece: what does not fit behind the latest begins again at the front. */
static char *place_for(struct page_ring *r, size_t len)
{
    if (len > RING_BYTES - r->end) {
        while (r->n > 0 && oldest(r) >= r->end) {
            drop_first(r);
        }
        r->end = 0;
    }
    while (r->n > 0 && (r->n == RING_LINES || oldest(r) - r->end < len)) {
        drop_first(r);
    }
    return r->area + r->end;
}

void ring_forget(struct page_ring *r, int64_t seq)
{
    *r = (struct page_ring){.lines = r->lines, .area = r->area, .from = seq};
}

void ring_put(struct page_ring *r, const char *line, size_t len, int64_t seq)
{
    if (len > RING_BYTES) {
        ring_forget(r, seq);
        return;
    }
    char *text = place_for(r, len);
    memcpy(text, line, len);
    r->lines[(r->first + r->n) % RING_LINES] = (struct ring_line){seq, len, text};
    r->n++;
    r->end += len;
}

const struct ring_line *ring_at(const struct page_ring *r, size_t i)
{
    return &r->lines[(r->first + i) % RING_LINES];
}
