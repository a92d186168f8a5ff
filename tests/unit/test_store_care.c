/* Care of the register: copies and checks. */
#include "store_help.h"

static void copy_file(const char *from, const char *to)
{
    char buf[65536];
    FILE *in = fopen(from, "rb"), *out = fopen(to, "wb");
    assert_true(in != NULL && out != NULL);
    for (size_t n; (n = fread(buf, 1, sizeof buf, in)) > 0;)
        assert_int_equal(fwrite(buf, 1, n, out), n);
    fclose(in);
    fclose(out);
}

/* --- backup --- */

static void test_backup_while_somebody_writes(void **state)
{
    struct help *h = *state;
    char path[160];
    struct lm_problem p;
    struct lm_record rec = animal("new", 5000, "5000"), got;
    struct stat sb;
    snprintf(path, sizeof path, "%s/copy.db", h->dir);
    fill(h->s, 0, 50);
    struct lm_store *writer = must_open(h->path, LM_STORE_WRITE);
    assert_int_equal(lm_store_begin(writer), LM_OK);
    put_ok(writer, &rec);
    assert_int_equal(lm_store_backup(h->s, path, &p), LM_OK);
    assert_int_equal(lm_store_commit(writer), LM_OK);
    lm_store_close(writer);
    assert_int_equal(stat(path, &sb), 0);
    assert_int_equal(sb.st_mode & 07777, 0600);
    struct lm_store *copy = must_open(path, LM_STORE_READ);
    assert_int_equal(lm_store_animals(copy), 50);
    assert_int_equal(lm_store_get(copy, "new", &got), LM_ENOTFOUND);
    get_ok(copy, "K0007", &got);
    lm_store_close(copy);
    sound(path);
    snprintf(got.key, sizeof got.key, "%s", "");
    assert_int_equal(lm_store_animals(h->s), 51);
    /* One file, whole by itself. */
    snprintf(path, sizeof path, "%s/copy.db-wal", h->dir);
    assert_int_equal(access(path, F_OK), -1);
}

static void test_backup_refusals(void **state)
{
    struct help *h = *state;
    char path[160], text[8] = "";
    struct lm_problem p;
    snprintf(path, sizeof path, "%s/mine.txt", h->dir);
    FILE *f = fopen(path, "w");
    fputs("mine", f);
    fclose(f);
    assert_int_equal(lm_store_backup(h->s, path, &p), LM_EEXISTS);
    says(&p, "never overwrites");
    f = fopen(path, "r");
    assert_non_null(fgets(text, sizeof text, f));
    fclose(f);
    text_is(text, "mine", "the file that was there");
    assert_int_equal(lm_store_backup(h->s, h->path, &p), LM_EEXISTS);
    snprintf(path, sizeof path, "%s/no/such/copy.db", h->dir);
    assert_int_equal(lm_store_backup(h->s, path, &p), LM_EIO);
    text_is(p.file, path, "file");
    snprintf(path, sizeof path, "%s/copy.db", h->dir);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    fill(h->s, 0, 1);
    assert_int_equal(lm_store_backup(h->s, path, &p), LM_EBUSY);
    assert_int_equal(access(path, F_OK), -1);
    lm_store_rollback(h->s);
}

/* --- verify --- */

struct faults {
    unsigned n;
    char all[4096];
};

static void collect(const struct lm_problem *p, void *ctx)
{
    struct faults *f = ctx;
    assert_true(p->what[0] != '\0' && p->mend[0] != '\0' && p->file[0] != '\0');
    if (f->n++ < 12)
        snprintf(f->all + strlen(f->all), sizeof f->all - strlen(f->all), "%s\n", p->what);
}

static const struct {
    const char *sql, *part;
} plants[] = {
    {"UPDATE device SET visual_fold = 'X' WHERE id = 3", "device row 3"},
    {"UPDATE device SET bits = bits + 1 WHERE id = 4", "device row 4"},
    {"UPDATE device SET retag = 2 WHERE id = 4", "device row 4"},
    {"UPDATE device SET eid = NULL WHERE id = 4", "device row 4"},
    {"UPDATE device SET removed = '2026-13' WHERE id = 2", "device row 2"},
    {"UPDATE device SET colour = char(27) || '[2J' WHERE id = 2", "device row 2"},
    {"UPDATE animal SET born = 'soon' WHERE id = 5", "K0004"},
    {"UPDATE animal SET breed = char(10) WHERE id = 5", "animal row 5"},
    {"UPDATE animal SET mob_id = 77 WHERE id = 5", "table animal"},
    {"UPDATE device SET animal_id = 777 WHERE id = 5", "table device"},
    {"UPDATE event SET body = '{' WHERE body IS NOT NULL", "cannot be read"},
    {"UPDATE event SET body = replace(body, 'K0000', 'K0001') WHERE body IS NOT NULL", "belongs"},
    {"DELETE FROM event WHERE seq = 1", "not the one that added it"},
    {"DELETE FROM event WHERE animal_id = 2", "no event"},
    {"UPDATE session SET close_seq = 3", "disagree"},
    {"UPDATE session SET open_seq = 3", "disagree"},
    {"UPDATE session SET close_seq = NULL", "disagree"},
    {"DELETE FROM event WHERE kind = 5", "disagree"},
    {"UPDATE event SET session_id = 1 WHERE seq = 1", "outside"},
    {"UPDATE event SET kind = 4 WHERE kind = 2", "outside"},
    {"UPDATE event SET body = 'x' WHERE kind = 4", "lot"},
};

static void test_verify_finds_what_was_planted(void **state)
{
    struct help *h = *state;
    char path[160];
    struct lm_record rec;
    const char *keys[] = {"K0001"};
    struct lm_open open = {.kind = LM_WALK, .keys = keys, .n_keys = 1};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .open = &open};
    int64_t session = 0;
    fill(h->s, 0, 8);
    get_ok(h->s, "K0000", &rec);
    rec.status = LM_DEAD;
    put_ok(h->s, &rec);
    /* Two living animals of one number are a matter for the keeper, not a fault of the file. */
    rec = animal("twin", 900, "no 0001");
    put_ok(h->s, &rec);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
    ev.kind = LM_EVENT_HEADS;
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
    ev.kind = LM_EVENT_CLOSE;
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
    help_reopen(h);
    lm_store_close(h->s);
    sound(h->path);
    snprintf(path, sizeof path, "%s/planted.db", h->dir);
    for (size_t i = 0; i < sizeof plants / sizeof plants[0]; i++) {
        struct faults f = {0};
        copy_file(h->path, path);
        assert_int_equal(sql_of(path, plants[i].sql), SQLITE_OK);
        struct lm_store *s = must_open(path, LM_STORE_READ);
        assert_int_equal(lm_store_verify(s, collect, &f), LM_EINPUT);
        lm_store_close(s);
        if (strstr(f.all, plants[i].part) == NULL)
            fail_msg("%s: verify said: %s", plants[i].sql, f.all);
    }
    h->s = must_open(h->path, LM_STORE_WRITE);
}

/* One byte of what is kept turns over, in a table and in an index alike. */
static void test_verify_finds_a_flipped_byte(void **state)
{
    struct help *h = *state;
    char path[160];
    struct lm_record rec = animal("A1", 1, "FLIPME417");
    fill(h->s, 0, 30);
    rec.devices[0].eid = code(900);
    put_ok(h->s, &rec);
    lm_store_close(h->s);
    FILE *f = fopen(h->path, "rb");
    static char whole[1 << 20];
    size_t size = fread(whole, 1, sizeof whole, f), flipped = 0;
    fclose(f);
    assert_true(size > 0 && size < sizeof whole);
    snprintf(path, sizeof path, "%s/flipped.db", h->dir);
    for (char *at = whole; (at = memmem(at, size - (size_t) (at - whole), "FLIPME", 6)); at++) {
        struct faults found = {0};
        *at ^= 2;
        f = fopen(path, "wb");
        assert_int_equal(fwrite(whole, 1, size, f), size);
        fclose(f);
        *at ^= 2;
        struct lm_store *s = must_open(path, LM_STORE_READ);
        assert_int_equal(lm_store_verify(s, collect, &found), LM_EINPUT);
        assert_true(found.n > 0);
        lm_store_close(s);
        flipped++;
    }
    assert_int_equal(flipped, 3); /* the number, the number folded, its index */
    h->s = must_open(h->path, LM_STORE_WRITE);
}

/* Every page in turn overwritten with noise: an answer each time, never a crash. */
static void test_damaged_pages(void **state)
{
    struct help *h = *state;
    char path[160];
    static char noise[4096];
    struct stat sb;
    unsigned refused = 0;
    fill(h->s, 0, 60);
    lm_store_close(h->s);
    assert_int_equal(stat(h->path, &sb), 0);
    for (size_t i = 0; i < sizeof noise; i++)
        noise[i] = (char) (i * 2654435761u >> 13);
    snprintf(path, sizeof path, "%s/noise.db", h->dir);
    for (long page = 0; page < sb.st_size / 4096; page++) {
        struct lm_store *s = NULL;
        struct lm_problem p;
        struct faults found = {0};
        copy_file(h->path, path);
        FILE *f = fopen(path, "r+b");
        fseek(f, page * 4096, SEEK_SET);
        assert_int_equal(fwrite(noise, 1, sizeof noise, f), sizeof noise);
        fclose(f);
        if (lm_store_open(path, LM_STORE_READ, &s, &p) != LM_OK) {
            assert_int_equal(p.err, LM_EINPUT);
            refused++;
            continue;
        }
        if (lm_store_verify(s, collect, &found) != LM_EINPUT || found.n == 0)
            fail_msg("page %ld is noise and nobody noticed", page);
        lm_store_close(s);
    }
    assert_true(refused >= 1);
    h->s = must_open(h->path, LM_STORE_WRITE);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_backup_while_somebody_writes),
        WITH(test_backup_refusals),
        WITH(test_verify_finds_what_was_planted),
        WITH(test_verify_finds_a_flipped_byte),
        WITH(test_damaged_pages),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
