#include "connection.h"

#include <event2/bufferevent.h>
#include <event2/event.h>
#include <stdlib.h>

#define ASIDE 3u       /* blocks: what is overlooked in one connection, and one more */
#define ASIDE_SIZE 64u /* bytes: a callback of an evbuffer has 40 */

struct aside {
    void *blocks[ASIDE];
    size_t n;
};

/* libevent hands its allocator nothing of ours. */
static struct aside *aside(void)
{
    static struct aside all;
    return &all;
}

static void *take(size_t size)
{
    struct aside *a = aside();
    void *memory = malloc(size);
    if (memory == NULL && size <= ASIDE_SIZE && a->n > 0) {
        memory = a->blocks[--a->n];
    }
    return memory;
}

void connection_memory(void)
{
    event_set_mem_functions(take, realloc, free);
}

static void release(struct aside *a)
{
    while (a->n > 0) {
        free(a->blocks[--a->n]);
    }
}

struct bufferevent *connection_new(struct event_base *base, int fd, size_t most)
{
    struct aside *a = aside();
    struct bufferevent *bev = NULL;
    for (void *block; a->n < ASIDE && (block = malloc(ASIDE_SIZE)) != NULL;) {
        a->blocks[a->n++] = block;
    }
    if (a->n == ASIDE) {
        bev = bufferevent_socket_new(base, fd, BEV_OPT_CLOSE_ON_FREE);
    }
    if (bev != NULL) {
        bufferevent_setwatermark(bev, EV_READ, 0, most);
    }
    release(a);
    return bev;
}
