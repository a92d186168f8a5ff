/* A bar on the terminal for work that takes longer than a second. */
#include "progress.h"

#include <stdio.h>
#include <time.h>
#include <unistd.h>

#define QUIET_MS 1000 /* short work shows nothing */
#define EVERY_MS 100
#define BAR_WIDTH 40

static int64_t clock_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t) now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

void lm_progress_begin(struct lm_progress *p)
{
    p->begun_ms = p->shown_ms = clock_ms();
    p->terminal = isatty(STDERR_FILENO) != 0;
    p->drawn = false;
}

void lm_progress_show(struct lm_progress *p, const char *what, long long done, long long total)
{
    char bar[BAR_WIDTH + 1];
    if (!p->terminal)
        return;
    int64_t now = clock_ms();
    if (now - p->begun_ms < QUIET_MS || now - p->shown_ms < EVERY_MS)
        return;
    p->shown_ms = now;
    p->drawn = true;
    if (total <= 0) {
        fprintf(stderr, "\r%s %lld\033[K", what, done);
        return;
    }
    long long full = done >= total ? BAR_WIDTH : done * BAR_WIDTH / total;
    for (int i = 0; i < BAR_WIDTH; i++)
        bar[i] = i < full ? '#' : '.';
    bar[BAR_WIDTH] = '\0';
    fprintf(stderr, "\r%s [%s] %lld%%\033[K", what, bar, done >= total ? 100 : done * 100 / total);
}

void lm_progress_end(struct lm_progress *p)
{
    if (p->drawn)
        fputs("\r\033[K", stderr);
    p->drawn = false;
}
