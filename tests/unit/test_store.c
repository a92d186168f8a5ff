/* The register as a file: opening, refusing, settings, transactions. */
#include "store_help.h"

#include <fcntl.h>

static enum lm_err open_as(const char *path, enum lm_store_mode mode, struct lm_problem *p)
{
    struct lm_store *s = NULL;
    enum lm_err err = lm_store_open(path, mode, &s, p);
    assert_true((err == LM_OK) == (s != NULL));
    assert_int_equal(err, p->err);
    lm_store_close(s);
    return err;
}

static void raw(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    char *said = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &said) != SQLITE_OK)
        fail_msg("%s: %s", sql, said);
    sqlite3_close(db);
}

static void write_bytes(const char *path, const char *text, size_t len)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, len, f), len);
    fclose(f);
}

static void test_create(void **state)
{
    struct help *h = *state;
    char path[160], part[160];
    struct stat sb;
    struct lm_problem p;
    snprintf(path, sizeof path, "%s/a/b/r.db", h->dir);
    assert_int_equal(open_as(path, LM_STORE_WRITE, &p), LM_ENOTFOUND);
    assert_true(p.mend[0] != '\0');
    assert_int_equal(open_as(path, LM_STORE_READ, &p), LM_ENOTFOUND);
    mode_t old = umask(0);
    assert_int_equal(open_as(path, LM_STORE_CREATE, &p), LM_OK);
    umask(old);
    assert_int_equal(stat(path, &sb), 0);
    assert_int_equal(sb.st_mode & 07777, 0600);
    snprintf(part, sizeof part, "%s/a/b", h->dir);
    assert_int_equal(stat(part, &sb), 0);
    assert_int_equal(sb.st_mode & 07777, 0700);
    assert_int_equal(open_as(path, LM_STORE_READ, &p), LM_OK);
    assert_int_equal(open_as(path, LM_STORE_CREATE, &p), LM_OK);
    remove(path);
    rmdir(part);
    snprintf(part, sizeof part, "%s/a", h->dir);
    assert_int_equal(rmdir(part), 0);
}

static void test_wal_is_private(void **state)
{
    struct help *h = *state;
    char path[160];
    struct stat sb;
    struct lm_record rec = animal("A1", 1, "1");
    put_ok(h->s, &rec);
    snprintf(path, sizeof path, "%s-wal", h->path);
    assert_int_equal(stat(path, &sb), 0);
    assert_int_equal(sb.st_mode & 07777, 0600);
}

static void test_not_a_register(void **state)
{
    struct help *h = *state;
    static const char garbage[] = "animal,eid,visual\nA1,999000000000001,0417\n";
    static const struct {
        const char *name, *sql, *part;
        enum lm_err err;
    } files[] = {
        {"garbage", NULL, "not a register", LM_EINPUT},
        {"foreign", "PRAGMA application_id = 77; CREATE TABLE t(x)", "another program", LM_EINPUT},
        {"kin", "PRAGMA application_id = 77; PRAGMA user_version = 1; CREATE TABLE animal(x)",
            "another program", LM_EINPUT},
        {"anon", "CREATE TABLE t(x)", "another program", LM_EINPUT},
        {"newer", "PRAGMA application_id = 1282762573; PRAGMA user_version = 99; CREATE TABLE t(x)",
            "newer version", LM_ENEWER},
    };
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        char path[160];
        struct lm_problem p;
        snprintf(path, sizeof path, "%s/%s.db", h->dir, files[i].name);
        if (files[i].sql != NULL)
            raw(path, files[i].sql);
        else
            write_bytes(path, garbage, sizeof garbage - 1);
        for (int mode = LM_STORE_READ; mode <= LM_STORE_CREATE; mode++) {
            assert_int_equal(open_as(path, (enum lm_store_mode) mode, &p), files[i].err);
            says(&p, files[i].part);
            assert_true(p.mend[0] != '\0');
            text_is(p.file, path, "file");
        }
    }
}

static void test_refused_file_is_untouched(void **state)
{
    struct help *h = *state;
    char path[160], before[4096 * 4], after[sizeof before];
    struct lm_problem p;
    snprintf(path, sizeof path, "%s/other.db", h->dir);
    raw(path, "PRAGMA application_id = 77; CREATE TABLE t(x); INSERT INTO t VALUES(1)");
    int fd = open(path, O_RDONLY);
    ssize_t n = read(fd, before, sizeof before);
    close(fd);
    assert_int_equal(open_as(path, LM_STORE_CREATE, &p), LM_EINPUT);
    fd = open(path, O_RDONLY);
    assert_int_equal(read(fd, after, sizeof after), n);
    close(fd);
    assert_memory_equal(before, after, (size_t) n);
}

static void test_empty_and_odd_paths(void **state)
{
    struct help *h = *state;
    char path[160];
    struct lm_problem p;
    snprintf(path, sizeof path, "%s/empty.db", h->dir);
    write_bytes(path, "", 0);
    assert_int_equal(open_as(path, LM_STORE_WRITE, &p), LM_EINPUT);
    assert_int_equal(open_as(path, LM_STORE_CREATE, &p), LM_OK);
    assert_int_equal(open_as(h->dir, LM_STORE_WRITE, &p), LM_EINPUT);
    assert_int_equal(open_as("", LM_STORE_CREATE, &p), LM_EARG);
    snprintf(path, sizeof path, "%s/register.db/x.db", h->dir);
    assert_int_equal(open_as(path, LM_STORE_CREATE, &p), LM_EIO);
}

/* A name that SQLite has a meaning for is a file like any other. */
static void test_names_of_sqlite(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "1");
    char here[512];
    assert_non_null(getcwd(here, sizeof here));
    assert_int_equal(chdir(h->dir), 0);
    struct lm_store *s = must_open(":memory:", LM_STORE_CREATE);
    put_ok(s, &rec);
    lm_store_close(s);
    s = must_open(":memory:", LM_STORE_WRITE);
    assert_int_equal(lm_store_animals(s), 1);
    lm_store_close(s);
    assert_int_equal(chdir(here), 0);
}

static void test_settings(void **state)
{
    struct help *h = *state;
    char text[32] = "x";
    assert_int_equal(lm_store_setting(h->s, "holding.name", text, sizeof text), LM_OK);
    text_is(text, "", "unset");
    assert_int_equal(lm_store_set(h->s, "holding.name", "Example holding"), LM_OK);
    assert_int_equal(lm_store_set(h->s, "holding.name", "Upper holding"), LM_OK);
    help_reopen(h);
    assert_int_equal(lm_store_setting(h->s, "holding.name", text, sizeof text), LM_OK);
    text_is(text, "Upper holding", "setting");
    assert_int_equal(lm_store_set(h->s, "holding.name", "two\nlines"), LM_EARG);
    assert_int_equal(lm_store_set(h->s, "holding.name", ""), LM_OK);
    assert_int_equal(lm_store_setting(h->s, "holding.name", text, sizeof text), LM_OK);
    text_is(text, "", "emptied");
}

static void test_read_only(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "1"), got;
    put_ok(h->s, &rec);
    struct lm_store *r = must_open(h->path, LM_STORE_READ);
    get_ok(r, "A1", &got);
    got.status = LM_DEAD;
    assert_int_equal(lm_store_put(r, &got, T0, "", NULL), LM_EIO);
    assert_int_equal(lm_store_set(r, "k", "v"), LM_EIO);
    says(lm_store_problem(r), "reading only");
    struct lm_event ev = {.kind = LM_EVENT_UNDO, .t_ms = T0};
    assert_int_equal(lm_store_append(r, NULL, &ev, NULL, NULL), LM_EIO);
    get_ok(r, "A1", &got);
    assert_int_equal(got.status, LM_ON_FARM);
    lm_store_close(r);
}

static void test_transactions(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "1"), other = animal("A2", 2, "2"), got;
    memcpy(rec.mob, "new", 4);
    memcpy(other.mob, "new", 4);
    assert_int_equal(lm_store_commit(h->s), LM_EARG);
    lm_store_rollback(h->s);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    assert_int_equal(lm_store_begin(h->s), LM_EARG);
    put_ok(h->s, &rec);
    lm_store_rollback(h->s);
    assert_int_equal(lm_store_get(h->s, "A1", &got), LM_ENOTFOUND);
    /* The mob made in the dropped transaction is not remembered as being there. */
    put_ok(h->s, &other);
    get_ok(h->s, "A2", &got);
    text_is(got.mob, "new", "mob");
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    put_ok(h->s, &rec);
    struct lm_store *b = must_open(h->path, LM_STORE_WRITE);
    sqlite3_busy_timeout(b->db, 20);
    assert_int_equal(lm_store_begin(b), LM_EBUSY); /* at once, not in the middle of the work */
    assert_int_equal(lm_store_commit(b), LM_EARG);
    assert_int_equal(lm_store_set(b, "k", "v"), LM_EBUSY);
    assert_true(lm_store_problem(b)->mend[0] != '\0');
    assert_int_equal(lm_store_get(b, "A1", &got), LM_ENOTFOUND);
    assert_false(lm_store_changed(b));
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    assert_true(lm_store_changed(b));
    assert_false(lm_store_changed(b));
    get_ok(b, "A1", &got);
    assert_int_equal(lm_store_set(b, "k", "v"), LM_OK);
    assert_false(lm_store_changed(b));
    assert_true(lm_store_changed(h->s));
    lm_store_close(b);
    sound(h->path);
}

static void test_null_handles(void **state)
{
    struct lm_record rec = animal("A1", 1, "1");
    (void) state;
    lm_store_close(NULL);
    assert_true(lm_store_problem(NULL)->what[0] != '\0');
    assert_int_equal(lm_store_put(NULL, &rec, T0, "", NULL), LM_EARG);
    assert_int_equal(lm_store_get(NULL, "A1", &rec), LM_EARG);
    assert_int_equal(lm_store_animals(NULL), 0);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_create),
        WITH(test_wal_is_private),
        WITH(test_not_a_register),
        WITH(test_refused_file_is_untouched),
        WITH(test_empty_and_odd_paths),
        WITH(test_names_of_sqlite),
        WITH(test_settings),
        WITH(test_read_only),
        WITH(test_transactions),
        cmocka_unit_test(test_null_handles),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
