/* A byte that turns over anywhere in a register, and in the file that SQLite keeps beside it:
 * `verify` must see it. LUGMARK_EVERY=1 tries every byte; without it every 1499th, and all bytes of
 * each page's first and last lines. */
#include "store_help.h"

#include <fcntl.h>

struct image {
    unsigned char *bytes;
    size_t size;
};

static struct image slurp(const char *path)
{
    struct image im = {0};
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    fseek(f, 0, SEEK_END);
    im.size = (size_t) ftell(f);
    rewind(f);
    im.bytes = malloc(im.size);
    assert_non_null(im.bytes);
    assert_int_equal(fread(im.bytes, 1, im.size, f), im.size);
    fclose(f);
    return im;
}

static void spill(const struct image *im, const char *path)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(im->bytes, 1, im->size, f), im->size);
    assert_int_equal(fclose(f), 0);
}

/* Turn one bit over in the file, or back. */
static void flip(const char *path, size_t at)
{
    unsigned char byte;
    int fd = open(path, O_RDWR);
    assert_true(fd >= 0);
    assert_int_equal(pread(fd, &byte, 1, (off_t) at), 1);
    byte ^= (unsigned char) (1u << (at * 5 % 8));
    assert_int_equal(pwrite(fd, &byte, 1, (off_t) at), 1);
    close(fd);
}

static void has_mend(const struct lm_problem *p, void *ctx)
{
    assert_true(p->what[0] != '\0' && p->mend[0] != '\0');
    ++*(unsigned *) ctx;
}

/* Whether somebody who opens or verifies the file is told. */
static bool is_seen(const char *path)
{
    struct lm_store *s = NULL;
    struct lm_problem p;
    unsigned told = 0;
    if (lm_store_open(path, LM_STORE_READ, &s, &p) != LM_OK) {
        has_mend(&p, &told);
        return true;
    }
    enum lm_err err = lm_store_verify(s, has_mend, &told);
    lm_store_close(s);
    assert_true((err == LM_OK) == (told == 0));
    return err != LM_OK;
}

/* A year in little: animals, a replaced device, a change taken back, a session, settings. */
static void live(struct help *h)
{
    struct lm_record rec;
    struct lm_open open = {.kind = LM_WALK, .settings = "rearm_ms.1=3000"};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 0, .open = &open};
    int64_t session = 0;
    fill(h->s, 0, 24);
    get_ok(h->s, "K0003", &rec);
    snprintf(rec.breed, sizeof rec.breed, "boer");
    put_ok(h->s, &rec);
    assert_int_equal(lm_store_set(h->s, "holding", "Example holding"), LM_OK);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
    for (unsigned i = 0; i < 30; i++) {
        struct lm_event reading = {
            .kind = LM_EVENT_READING, .t_ms = T0 + i, .clock_ms = i, .lane = "1"};
        reading.eid = code(i % 24 + 1);
        assert_int_equal(lm_store_append(h->s, &session, &reading, NULL, NULL), LM_OK);
    }
    get_ok(h->s, "K0004", &rec);
    rec.status = LM_SOLD;
    put_ok(h->s, &rec);
    assert_int_equal(lm_store_undo(h->s, T0, "typed wrongly", NULL), LM_OK);
    ev = (struct lm_event){.kind = LM_EVENT_CLOSE, .t_ms = T0 + 99};
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
}

static size_t stride(void)
{
    const char *every = getenv("LUGMARK_EVERY");
    return every != NULL ? (size_t) strtoul(every, NULL, 10) : 1499;
}

static bool wanted(size_t at, size_t step)
{
    size_t in_page = at % 4096;
    return at % step == 0 || (step > 1 && (in_page < 12 || in_page >= 4088)) || at < 100;
}

static void test_every_byte_of_the_register(void **state)
{
    struct help *h = *state;
    char path[160];
    unsigned long tried = 0, unseen = 0;
    live(h);
    lm_store_close(h->s);
    sound(h->path);
    snprintf(path, sizeof path, "%s/flipped.db", h->dir);
    struct image im = slurp(h->path);
    spill(&im, path);
    size_t step = stride();
    for (size_t at = 0; at < im.size; at++) {
        if (!wanted(at, step))
            continue;
        flip(path, at);
        tried++;
        if (!is_seen(path) && ++unseen < 20)
            print_message("# byte %zu of page %zu turned over and nobody was told\n", at % 4096,
                at / 4096 + 1);
        flip(path, at);
    }
    assert_false(is_seen(path));
    print_message(
        "# register of %zu bytes: %lu bytes turned over, %lu unseen\n", im.size, tried, unseen);
    free(im.bytes);
    assert_int_equal(unseen, 0);
    h->s = must_open(h->path, LM_STORE_WRITE);
}

/* The register and the file beside it as a power cut would leave them: nothing written back. */
static void copy_both(const struct help *h, const char *path, struct image *wal)
{
    char beside[176];
    struct image im = slurp(h->path);
    spill(&im, path);
    free(im.bytes);
    snprintf(beside, sizeof beside, "%s-wal", h->path);
    *wal = slurp(beside);
    snprintf(beside, sizeof beside, "%s-wal", path);
    spill(wal, beside);
}

/* How many bytes at its end belong to the last two commits: one wrong there may be a power cut. */
static size_t last_two_commits(const struct image *wal)
{
    size_t frame = 24 + 4096, ends[64], n = 0;
    for (size_t at = 32; at + frame <= wal->size; at += frame)
        if (memcmp(wal->bytes + at + 4, "\0\0\0\0", 4) != 0) /* the commit's size of the file */
            ends[n++ % 64] = at + frame;
    assert_true(n > 4);
    return wal->size - ends[(n - 3) % 64];
}

static void test_every_byte_of_the_file_beside_it(void **state)
{
    struct help *h = *state;
    char path[160], beside[176], shm[176];
    unsigned long tried = 0, unseen = 0;
    struct image wal;
    fill(h->s, 0, 9);
    snprintf(path, sizeof path, "%s/flipped.db", h->dir);
    copy_both(h, path, &wal);
    snprintf(beside, sizeof beside, "%s-wal", path);
    snprintf(shm, sizeof shm, "%s-shm", path);
    assert_false(is_seen(path));
    size_t end = wal.size - last_two_commits(&wal), step = stride();
    for (size_t at = 0; at < end; at++) {
        if (at % step != 0 && at > 56)
            continue;
        flip(beside, at);
        unlink(shm); /* else what was read before stays known */
        tried++;
        if (!is_seen(path) && ++unseen < 20)
            print_message("# byte %zu turned over and nobody was told\n", at);
        flip(beside, at);
    }
    unlink(shm);
    assert_false(is_seen(path));
    print_message("# file beside it: %lu of %zu bytes turned over, %lu unseen; its last %zu bytes "
                  "are two commits that a power cut may tear\n",
        tried, wal.size, unseen, wal.size - end);
    free(wal.bytes);
    assert_int_equal(unseen, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_every_byte_of_the_register, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(
            test_every_byte_of_the_file_beside_it, help_setup, help_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
