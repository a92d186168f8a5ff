#include "page_ring.h"

#include <stdlib.h>
#include <string.h>

int ring_begin(struct page_ring *r, int64_t from)
{
    *r = (struct page_ring){.from = from};
    r->lines = malloc(RING_LINES * sizeof *r->lines);
    return r->lines == NULL ? -1 : 0;
}

static void drop_first(struct page_ring *r)
{
    struct ring_line *l = &r->lines[r->first];
    r->from = l->seq;
    r->bytes -= l->len;
    free(l->text);
    r->first = (r->first + 1) % RING_LINES;
    r->n--;
}

void ring_end(struct page_ring *r)
{
    while (r->n > 0) {
        drop_first(r);
    }
    free(r->lines);
    *r = (struct page_ring){.lines = NULL};
}

void ring_put(struct page_ring *r, const char *line, size_t len, int64_t seq)
{
    char *text = malloc(len);
    while (r->n > 0 && (text == NULL || r->n == RING_LINES || r->bytes + len > RING_BYTES)) {
        drop_first(r);
    }
    if (text == NULL) {
        r->from = seq;
        return;
    }
    memcpy(text, line, len);
    r->lines[(r->first + r->n) % RING_LINES] = (struct ring_line){seq, len, text};
    r->n++;
    r->bytes += len;
}

const struct ring_line *ring_at(const struct page_ring *r, size_t i)
{
    return &r->lines[(r->first + i) % RING_LINES];
}
