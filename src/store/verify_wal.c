/* The journal that SQLite keeps beside the register. SQLite reads it up to the first frame whose
 * checksum is wrong and takes that for its end, as it must after a power cut. But a commit is
 * written only after the one before it is on the disk: with two whole commits behind a wrong frame
 * it was no power cut, and what they hold would be lost without a word. */
#include "store/store_priv.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define HEADER 32
#define FRAME 24
#define SCANS 3

struct wal {
    int fd;
    unsigned char header[HEADER];
    bool big;      /* byte order of the words that are summed */
    bool good;     /* the header agrees with its own checksum */
    uint32_t page; /* bytes */
    unsigned char *frame;
};

/* What one walk over the frames found. */
struct damage {
    long at;          /* first wrong frame; 0: the header; -1: none */
    unsigned commits; /* whole ones behind it */
};

static uint32_t word(const unsigned char *at)
{
    return (uint32_t) at[0] << 24 | (uint32_t) at[1] << 16 | (uint32_t) at[2] << 8 | at[3];
}

static uint32_t word_of(const struct wal *w, const unsigned char *at)
{
    if (w->big)
        return word(at);
    return (uint32_t) at[3] << 24 | (uint32_t) at[2] << 16 | (uint32_t) at[1] << 8 | at[0];
}

static void add_up(const struct wal *w, const unsigned char *at, size_t n, uint32_t sum[2])
{
    for (size_t i = 0; i + 8 <= n; i += 8) {
        sum[0] += word_of(w, at + i) + sum[1];
        sum[1] += word_of(w, at + i + 4) + sum[0];
    }
}

static bool is_sum(const unsigned char *at, const uint32_t sum[2])
{
    return word(at) == sum[0] && word(at + 4) == sum[1];
}

static bool take_header(struct wal *w)
{
    uint32_t sum[2] = {0, 0};
    if (pread(w->fd, w->header, HEADER, 0) != HEADER)
        return false;
    w->big = (w->header[3] & 1) != 0;
    w->page = word(w->header + 8);
    add_up(w, w->header, HEADER - 8, sum);
    w->good = (word(w->header) | 1u) == 0x377f0683u && is_sum(w->header + 24, sum);
    /* A page size that cannot be: the usual one, to look at what the frames say. */
    if (w->page < 512 || w->page > 65536 || (w->page & (w->page - 1)) != 0)
        w->page = 4096;
    return true;
}

/* Frames of this header: both salts agree, or one where the header itself is damaged. */
static bool is_ours(const struct wal *w)
{
    bool first = memcmp(w->frame + 8, w->header + 16, 4) == 0;
    bool second = memcmp(w->frame + 12, w->header + 20, 4) == 0;
    return w->good ? first && second : first || second;
}

static struct damage walk(struct wal *w)
{
    struct damage d = {.at = w->good ? -1 : 0};
    uint32_t sum[2] = {word(w->header + 24), word(w->header + 28)};
    size_t size = FRAME + w->page;
    off_t at = HEADER;
    for (long n = 1; pread(w->fd, w->frame, size, at) == (ssize_t) size; n++, at += (off_t) size) {
        add_up(w, w->frame, 8, sum);
        add_up(w, w->frame + FRAME, w->page, sum);
        bool good = is_ours(w) && is_sum(w->frame + 16, sum);
        if (!good && d.at < 0)
            d.at = n;
        if (good && d.at >= 0 && word(w->frame + 4) != 0)
            d.commits++;
        /* The next frame builds on what this one says, be it right or wrong. */
        sum[0] = word(w->frame + 16);
        sum[1] = word(w->frame + 20);
    }
    return d;
}

/* Another program may write meanwhile: what is wrong must be wrong each time. */
static struct damage look(struct wal *w)
{
    struct damage d = {.at = -1};
    unsigned char before[HEADER];
    for (int i = 0; i < SCANS; i++) {
        long last = d.at;
        if (!take_header(w) || (w->frame = malloc(FRAME + w->page)) == NULL)
            return (struct damage){.at = -1};
        memcpy(before, w->header, HEADER);
        d = walk(w);
        bool same = take_header(w) && memcmp(before, w->header, HEADER) == 0;
        free(w->frame);
        if (!same || d.commits < 2 || (i > 0 && d.at != last))
            return (struct damage){.at = -1};
    }
    return d;
}

enum lm_err lm_verify_wal(struct lm_verify *v)
{
    struct wal w = {.fd = -1};
    const char *path = sqlite3_filename_wal(sqlite3_db_filename(v->store->db, "main"));
    w.fd = path != NULL ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (w.fd < 0)
        return LM_OK; /* none: all is in the register itself */
    struct damage d = look(&w);
    close(w.fd);
    if (d.at >= 0)
        lm_verify_say(v,
            "keep a copy of the register and of the file beside it whose name ends in -wal, then "
            "go back to the last good backup",
            "the file beside the register is damaged at change %ld: %u later ones cannot be read",
            d.at, d.commits);
    return LM_OK;
}
