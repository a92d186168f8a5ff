/* The sieve's files, read in blocks of whole lines. read() and not mmap(): a file that is cut short
 * meanwhile is then only short. */
#include "priv.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BLOCK 262144u

bool lm_sieve_feed_open(struct sieve_feed *f, const char *path)
{
    struct stat st;
    f->fd = open(path, O_RDONLY | O_CLOEXEC);
    if (f->fd < 0 || fstat(f->fd, &st) != 0 || !S_ISREG(st.st_mode) || st.st_size > UINT32_MAX)
        return false;
    f->size = (uint64_t) st.st_size;
    f->buf = calloc(1, BLOCK + SIEVE_SLACK);
    return f->buf != NULL;
}

void lm_sieve_feed_close(struct sieve_feed *f)
{
    free(f->buf);
    f->buf = NULL;
    if (f->fd >= 0)
        close(f->fd);
    f->fd = -1;
}

bool lm_sieve_feed_next(struct sieve_feed *f, const char **from, const char **to)
{
    memmove(f->buf, f->buf + f->used, f->have - f->used);
    f->base += f->used;
    f->have -= f->used;
    f->used = 0;
    ssize_t n = 1;
    while (f->have < BLOCK && n > 0) {
        n = read(f->fd, f->buf + f->have, BLOCK - f->have);
        if (n < 0 && errno == EINTR)
            n = 1;
        else if (n > 0)
            f->have += (size_t) n;
    }
    const char *last = memrchr(f->buf, '\n', f->have);
    if (n == 0 && f->have == 0)
        f->at_end = true;
    if (n < 0 || f->have == 0 || (n > 0 && last == NULL))
        return false;
    f->used = n == 0 ? f->have : (size_t) (last - f->buf) + 1;
    *from = f->buf;
    *to = f->buf + f->used;
    return true;
}
