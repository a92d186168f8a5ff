/* What the harnesses share: bytes as a file, a register of their own, decoders fed in pieces.
 *
 * A harness is one function, LLVMFuzzerTestOneInput(). The fuzzer calls it, and so does
 * tests/unit/test_corpus.c with every seed, under another name. Whatever must hold and does not
 * calls abort(). */
#ifndef FUZZ_HELP_H
#define FUZZ_HELP_H

#include "lugmark/driver.h"
#include "lugmark/store.h"
#include "lugmark/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define MUST(holds)                                                                                \
    do {                                                                                           \
        if (!(holds)) {                                                                            \
            dprintf(2, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #holds);                  \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

/* A problem says what and, where it is of the input, what is wrong. */
static inline void fuzz_count(const struct lm_problem *p, void *ctx)
{
    unsigned *n = ctx;
    MUST(p->err != LM_OK && p->what[0] != '\0');
    MUST(memchr(p->what, '\0', sizeof p->what) != NULL);
    MUST(memchr(p->mend, '\0', sizeof p->mend) != NULL);
    MUST(strchr(p->what, '\n') == NULL);
    ++*n;
}

/* The bytes as a file with a descriptor. Closed by fclose(). */
static inline FILE *fuzz_file(const uint8_t *data, size_t size)
{
    int fd = memfd_create("fuzz", MFD_CLOEXEC);
    MUST(fd >= 0 && write(fd, data, size) == (ssize_t) size && lseek(fd, 0, SEEK_SET) == 0);
    FILE *in = fdopen(fd, "rb");
    MUST(in != NULL);
    return in;
}

/* A register in memory's own file system, one a process. */
struct fuzz_store {
    char path[64];
    struct lm_store *s;
};

static inline void fuzz_store_wipe(const struct fuzz_store *f)
{
    static const char *const ends[] = {"", "-wal", "-shm", "-journal", ".lock"};
    char path[80];
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        snprintf(path, sizeof path, "%s%s", f->path, ends[i]);
        unlink(path);
    }
}

/* An empty register is made once; later ones begin as a copy of its bytes. */
static inline void fuzz_store_copy(const char *path, bool keep)
{
    static uint8_t bytes[256u << 10];
    static size_t n;
    FILE *file = keep ? fopen(path, "rb") : n > 0 ? fopen(path, "wb") : NULL;
    if (file == NULL)
        return;
    if (keep)
        n = fread(bytes, 1, sizeof bytes, file);
    else
        MUST(fwrite(bytes, 1, n, file) == n);
    MUST(n < sizeof bytes);
    fclose(file);
}

static inline struct fuzz_store fuzz_store_new(const char *what)
{
    static bool made;
    struct fuzz_store f = {.s = NULL};
    struct lm_problem p = {.err = LM_OK};
    const char *dir = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    snprintf(f.path, sizeof f.path, "%s/lm-fuzz-%ld-%.16s.db", dir, (long) getpid(), what);
    fuzz_store_wipe(&f);
    if (!made) {
        MUST(lm_store_open(f.path, LM_STORE_CREATE, &f.s, &p) == LM_OK);
        lm_store_close(f.s);
        fuzz_store_copy(f.path, true);
        made = true;
    } else {
        fuzz_store_copy(f.path, false);
    }
    MUST(lm_store_open(f.path, LM_STORE_WRITE, &f.s, &p) == LM_OK);
    return f;
}

/* Whatever was done to it, it is sound. Where no event was kept there is nothing to look at. */
static inline void fuzz_store_end(struct fuzz_store *f)
{
    unsigned problems = 0;
    if (lm_store_last_seq(f->s) > 0)
        MUST(lm_store_verify(f->s, fuzz_count, &problems) == LM_OK && problems == 0);
    lm_store_close(f->s);
    fuzz_store_wipe(f);
}

/* --- decoders --- */

struct fuzz_heard {
    uint64_t sum;     /* of the codes, in their order */
    size_t readings;  /* how many */
    size_t rejected;  /* bytes */
    uint64_t refused; /* how many rejects of each kind, in their order */
};

static inline void fuzz_reading(void *ctx, const struct lm_event *ev)
{
    struct fuzz_heard *h = ctx;
    MUST(ev->kind == LM_EVENT_READING);
    if (ev->doubt == LM_DOUBT_NONE) {
        MUST(ev->eid.known != LM_EID_NONE && lm_eid_key(ev->eid) != 0);
        h->readings++;
    } else {
        MUST(ev->text[0] != '\0' && lm_text_clean(ev->text, strlen(ev->text)));
        for (const char *c = ev->text; *c != '\0'; c++)
            h->sum = h->sum * 31 + (unsigned char) *c;
    }
    h->sum = h->sum * 31 + ev->eid.bits;
}

static inline void fuzz_reject(void *ctx, enum lm_reject why, size_t bytes)
{
    struct fuzz_heard *h = ctx;
    MUST(why < LM_REJECTS);
    h->refused = h->refused * 31 + (uint64_t) why + 1;
    h->rejected += bytes;
}

/* Feed in pieces of @p step bytes. */
static inline struct fuzz_heard fuzz_feed(const char *name, const struct lm_setting *settings,
    size_t n, const uint8_t *data, size_t size, size_t step)
{
    const struct lm_decoder_ops *ops = lm_decoder_find(name);
    struct fuzz_heard h = {0};
    const struct lm_sink sink = {.reading = fuzz_reading, .reject = fuzz_reject, .ctx = &h};
    struct lm_problem p = {.err = LM_OK};
    MUST(ops != NULL);
    void *state = ops->new_(settings, n, &p);
    MUST(state != NULL);
    for (size_t at = 0; at < size; at += step)
        ops->feed(state, data + at, size - at < step ? size - at : step, &sink);
    ops->free_(state);
    return h;
}

/* Whole, by ones and by threes it hears the same. */
static inline struct fuzz_heard fuzz_feed_cut(
    const char *name, const struct lm_setting *settings, size_t n, const uint8_t *data, size_t size)
{
    struct fuzz_heard whole = fuzz_feed(name, settings, n, data, size, size + 1);
    for (size_t step = 1; step <= 3; step += 2) {
        struct fuzz_heard cut = fuzz_feed(name, settings, n, data, size, step);
        MUST(cut.sum == whole.sum && cut.readings == whole.readings);
        MUST(cut.refused == whole.refused && cut.rejected == whole.rejected);
    }
    return whole;
}

#endif
