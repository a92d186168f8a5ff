/** @file template.c
 * A decoder and a driver to copy. Compiled and tested with the rest, but not in list.h.
 *
 * First see whether it needs C at all. Frames with a start, a length or an end, a check and one
 * code are described in the configuration ([frame NAME] in lugmark.conf(5)); anything else can be a
 * program that writes event lines (lugmark-driver(7)). In C a new reader needs a decoder when its
 * bytes are new, and a driver when the way they come is new; hardly ever both: what comes over a
 * serial line has its driver, `serial`, and the decoder that is named beside it. To add one:
 *   1. Copy this file to drivers/NAME.c and keep the half that you need; in it and in its test
 *      #include "drivers/list.h" in the place of "template.h".
 *   2. Put one line X(NAME) into list.h, in the order of the names.
 *   3. Rewrite this comment: these headings, in this order, no brand names.
 *   4. Put a capture into fixtures/serial/NAME-CASE.bin with what it should give in NAME-CASE.want
 *      (see the README there). Without one the decoder cannot be tested, and will not be kept.
 *   5. Copy tests/unit/test_template.c to tests/unit/test_NAME.c; the Makefile finds both.
 *   6. Say in src/daemon/man/lugmark.conf.5 what it is called and what each of its keys means.
 *   7. Give it a row in tests/unit/test_nth_noise.c, and a harness tests/fuzz/fuzz_NAME.c with a
 *      seed in fixtures/fuzz/fuzz_NAME/ (the capture will do) and its line in
 *      tests/unit/test_corpus.c.
 *
 * `make tests MODE=debug && tests/run build/debug NAME` tries it by itself, a test beside
 * tests/system/test_frame.py in the daemon on a pseudo-terminal, and `lugmark readers --try
 * CAPTURE` shows what it makes of bytes. What was forgotten of 2 and 4 to 7 fails in `make check`.
 *
 * Title:     decoder `template`: a frame with a sum; driver `template`: a named pipe.
 * Link:      no line: the pipe carries bytes.
 * Framing:   ten bytes, no escape:
 *              offset  0     1 ... 8                                  9
 *                      0xA5  64-bit code, most significant first      sum of bytes 1-8, modulo 256
 * Settings:  pipe = path of the pipe. The decoder has none.
 * Integrity: the sum, 8 bits: 1 of 256 damaged frames gets through. The all-zero code is refused.
 * Oddities:  0xA5 may stand inside a code. After a wrong sum the hunt goes on at the next byte of
 *            the same frame, not behind it, so a false start costs no good frame.
 * Fixtures:  none: the frame is invented. A real decoder names its files here.
 */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/checksum.h"
#include "template.h"

/* ---- the decoder: bytes to readings. No I/O, no clock, no malloc but in new_. ---- */

enum { START = 0xA5, FRAME_BYTES = 10 };

/** All that is remembered between two calls of feed(). */
struct template_decoding {
    uint8_t frame[FRAME_BYTES];
    size_t len;
};

/** Pure, so that it can be tested with bytes alone. @return LM_OK, LM_ECHECK or LM_ERANGE. */
static enum lm_err read_frame(const uint8_t frame[FRAME_BYTES], struct lm_eid *eid)
{
    uint64_t bits = 0;
    uint8_t sum = 0;
    for (size_t i = 1; i < FRAME_BYTES - 1; i++) {
        bits = bits << 8 | frame[i];
        sum = (uint8_t) (sum + frame[i]);
    }
    if (!lm_checksum_fits(sum == frame[FRAME_BYTES - 1])) /* so that a fuzzer gets past it */
        return LM_ECHECK;
    *eid = lm_eid_from_bits(bits);
    return lm_eid_key(*eid) != 0 ? LM_OK : LM_ERANGE;
}

/** Drop bytes from the front up to the next possible start after the first. */
static void hunt(struct template_decoding *d)
{
    const uint8_t *start = memchr(d->frame + 1, START, d->len - 1);
    d->len = start != NULL ? d->len - (size_t) (start - d->frame) : 0;
    if (start != NULL)
        memmove(d->frame, start, d->len);
}

static void decoding_feed(void *state, const uint8_t *data, size_t len, const struct lm_sink *sink)
{
    struct template_decoding *d = state;
    for (size_t i = 0; i < len; i++) {
        if (d->len == 0 && data[i] != START)
            continue; /* between frames: line noise is not worth counting */
        d->frame[d->len++] = data[i];
        if (d->len < FRAME_BYTES)
            continue;
        /* Time and lane are stamped by the loop; a driver leaves them alone. */
        struct lm_event event = {
            .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE};
        enum lm_err err = read_frame(d->frame, &event.eid);
        if (err == LM_OK) {
            d->len = 0;
            sink->reading(sink->ctx, &event);
        } else {
            sink->reject(
                sink->ctx, err == LM_ECHECK ? LM_REJECT_CHECK : LM_REJECT_RANGE, FRAME_BYTES);
            hunt(d);
        }
    }
}

static void decoding_reset(void *state)
{
    struct template_decoding *d = state;
    d->len = 0;
}

static void *decoding_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    (void) settings; /* lm_setting_get(settings, n, "key"), and a problem that begins "key: " */
    (void) n;
    struct template_decoding *d = calloc(1, sizeof *d);
    if (d == NULL)
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    return d;
}

static const char *const decoding_keys[] = {NULL};

const struct lm_decoder_ops lm_decoder_template = {
    .name = "template",
    .new_ = decoding_new,
    .feed = decoding_feed,
    .reset = decoding_reset,
    .free_ = free,
    .keys = decoding_keys,
};

/* ---- the driver: where the bytes come from. Never blocks, never logs, never exits. ---- */

/** Most bytes taken in one turn, so that one reader cannot starve the others. */
#define TURN_BYTES 4096u

struct template_driving {
    char path[PATH_MAX];
    int fd; /**< -1 while closed */
    struct template_decoding decoding;
};

static void *driving_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    const char *pipe = lm_setting_get(settings, n, "pipe");
    if (pipe == NULL || strlen(pipe) >= PATH_MAX) {
        lm_problem_set(p, LM_EINPUT, "add pipe = PATH to this reader",
            "pipe: a template reader needs one, of less than %d bytes", PATH_MAX);
        return NULL;
    }
    struct template_driving *d = calloc(1, sizeof *d);
    if (d == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    snprintf(d->path, sizeof d->path, "%s", pipe);
    d->fd = -1;
    return d;
}

static void driving_close(void *state)
{
    struct template_driving *d = state;
    if (d->fd >= 0)
        close(d->fd);
    d->fd = -1;
    decoding_reset(&d->decoding); /* half a frame must not meet the other half of a later one */
}

static enum lm_err driving_open(void *state, int *fd, struct lm_problem *p)
{
    struct template_driving *d = state;
    struct stat about;
    driving_close(d);
    /* O_NONBLOCK: opening a pipe waits for a writer otherwise. O_CLOEXEC: helpers inherit nothing.
     */
    d->fd = open(d->path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (d->fd < 0)
        return lm_problem_set(p, errno == ENOENT ? LM_ENOTFOUND : LM_EIO,
            "make the pipe with mkfifo, or correct its path", "%.200s: %s", d->path,
            strerror(errno));
    if (fstat(d->fd, &about) != 0 || !S_ISFIFO(about.st_mode)) {
        driving_close(d);
        return lm_problem_set(p, LM_ENOSUP, "name a pipe", "%.200s is no pipe", d->path);
    }
    *fd = d->fd;
    return LM_OK;
}

static enum lm_err driving_service(void *state, const struct lm_sink *sink)
{
    struct template_driving *d = state;
    uint8_t buf[TURN_BYTES];
    ssize_t n = read(d->fd, buf, sizeof buf);
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return LM_OK;
    if (n <= 0)
        return LM_EGONE; /* the writer has gone: the loop closes, waits and opens again */
    decoding_feed(&d->decoding, buf, (size_t) n, sink);
    return LM_OK;
}

static void driving_free(void *state)
{
    if (state == NULL)
        return;
    driving_close(state);
    free(state);
}

static const char *driving_describe(void *state)
{
    const struct template_driving *d = state;
    return d->fd >= 0 ? d->path : "";
}

static const char *const driving_keys[] = {"pipe", NULL};

const struct lm_driver_ops lm_driver_template = {
    .name = "template",
    .new_ = driving_new,
    .open = driving_open,
    .service = driving_service,
    .tick_ms = NULL, /* nothing to ask and nothing to time */
    .tick = NULL,
    .close = driving_close,
    .free_ = driving_free,
    .describe = driving_describe,
    .finished = NULL, /* it never ends: there may always be another writer */
    .keys = driving_keys,
};
