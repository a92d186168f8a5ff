/* Full disks, sudden death, older and newer files. */
#include "store_help.h"

#include <signal.h>
#include <sys/wait.h>
#include <time.h>

/* --- a full disk --- */

static void set_pages(struct lm_store *s, unsigned more)
{
    char sql[64];
    sqlite3_stmt *st = NULL;
    assert_int_equal(sqlite3_prepare_v2(s->db, "PRAGMA page_count", -1, &st, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(st), SQLITE_ROW);
    snprintf(sql, sizeof sql, "PRAGMA max_page_count = %d", sqlite3_column_int(st, 0) + (int) more);
    sqlite3_finalize(st);
    assert_int_equal(sqlite3_exec(s->db, sql, NULL, NULL, NULL), SQLITE_OK);
}

/* Put animals until one does not fit. @return how many did. */
static unsigned put_until_full(struct lm_store *s, unsigned from)
{
    for (unsigned i = from;; i++) {
        char key[16];
        snprintf(key, sizeof key, "F%04u", i);
        struct lm_record rec = animal(key, i + 10000, key);
        enum lm_err err = lm_store_put(s, &rec, T0, "", NULL);
        if (err == LM_OK)
            continue;
        assert_int_equal(err, LM_EFULL);
        says(lm_store_problem(s), "not made");
        assert_true(strstr(lm_store_problem(s)->mend, "space") != NULL);
        return i - from;
    }
}

static void test_full_disk_each_for_itself(void **state)
{
    struct help *h = *state;
    fill(h->s, 0, 20);
    set_pages(h->s, 4);
    unsigned n = put_until_full(h->s, 0);
    assert_true(n > 0);
    assert_int_equal(lm_store_animals(h->s), 20 + n);
    assert_int_equal(lm_store_last_seq(h->s), 20 + n);
    sound(h->path);
    set_pages(h->s, 1000); /* space was made: the same handle goes on */
    fill(h->s, 500, 20);
    assert_int_equal(lm_store_animals(h->s), 40 + n);
    sound(h->path);
}

static void test_full_disk_in_a_transaction(void **state)
{
    struct help *h = *state;
    struct lm_record got, small = animal("small", 70000, "");
    fill(h->s, 0, 20);
    set_pages(h->s, 4);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    assert_true(put_until_full(h->s, 0) > 0);
    /* From here on the transaction is lost, whatever would still fit. */
    assert_int_equal(lm_store_put(h->s, &small, T0, "", NULL), LM_EFULL);
    assert_int_equal(lm_store_set(h->s, "k", "v"), LM_EFULL);
    assert_int_equal(lm_store_commit(h->s), LM_EFULL);
    says(lm_store_problem(h->s), "full");
    assert_int_equal(lm_store_animals(h->s), 20);
    assert_int_equal(lm_store_get(h->s, "F0000", &got), LM_ENOTFOUND);
    set_pages(h->s, 1000);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    put_ok(h->s, &small);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    sound(h->path);
}

static void test_full_disk_journal_can_be_tried_again(void **state)
{
    struct help *h = *state;
    struct lm_event ev = {.kind = LM_EVENT_READING, .t_ms = T0, .eid = code(1)};
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event start = {.kind = LM_EVENT_OPEN, .t_ms = T0, .open = &open};
    int64_t session = 0;
    unsigned n = 0;
    assert_int_equal(lm_store_append(h->s, &session, &start, NULL, NULL), LM_OK);
    set_pages(h->s, 1);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    enum lm_err err;
    while ((err = lm_store_append(h->s, &session, &ev, NULL, NULL)) == LM_OK)
        n++;
    assert_int_equal(err, LM_EFULL);
    assert_int_equal(session, 1);
    assert_int_equal(lm_store_commit(h->s), LM_EFULL);
    assert_int_equal(lm_store_last_seq(h->s), 1);
    set_pages(h->s, 1000);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    for (unsigned i = 0; i <= n; i++)
        assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_OK);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    assert_int_equal(lm_store_last_seq(h->s), n + 2);
    sound(h->path);
}

/* --- sudden death --- */

static void die_writing(const char *path, int to, int64_t session)
{
    struct lm_store *s = NULL;
    if (lm_store_open(path, LM_STORE_WRITE, &s, NULL) != LM_OK)
        _exit(1);
    for (unsigned turn = 0;; turn++) {
        struct lm_event ev = {.kind = LM_EVENT_READING, .t_ms = T0, .clock_ms = turn};
        int64_t seq = 0;
        ev.eid = lm_eid_from_bits((UINT64_C(0x8000) << 48) | (UINT64_C(999) << 38) | (turn + 1));
        bool ok = lm_store_begin(s) == LM_OK;
        for (unsigned k = 0; ok && k < turn % 5 + 1; k++)
            ok = lm_store_append(s, &session, &ev, NULL, &seq) == LM_OK;
        struct lm_record rec = {.n_devices = 1};
        snprintf(rec.key, sizeof rec.key, "D%lld", (long long) seq);
        snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "%u", turn);
        ok = ok && lm_store_put(s, &rec, T0, "", &seq) == LM_OK;
        if (!ok || lm_store_commit(s) != LM_OK)
            _exit(1);
        if (write(to, &seq, sizeof seq) != sizeof seq) /* acknowledged */
            _exit(1);
    }
}

/* Let a child write, kill it after some acknowledged commits. @return the last one it told of. */
static int64_t kill_a_writer(const char *path, int64_t session, unsigned after)
{
    int pipe_fd[2], status = 0;
    int64_t seq = 0, told;
    unsigned n = 0;
    assert_int_equal(pipe(pipe_fd), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(pipe_fd[0]);
        die_writing(path, pipe_fd[1], session);
    }
    close(pipe_fd[1]);
    for (; read(pipe_fd[0], &told, sizeof told) == sizeof told; n++) {
        seq = told;
        if (n == after) { /* somewhere inside the next commit */
            struct timespec nap = {0, 13000 * (long) (after % 17)};
            nanosleep(&nap, NULL);
            kill(child, SIGKILL);
        }
    }
    close(pipe_fd[0]);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    return seq;
}

struct run {
    int64_t next, session;
};

static enum lm_err in_turn(const struct lm_event *ev, void *ctx)
{
    struct run *run = ctx;
    assert_int_equal(ev->seq, run->next);
    run->next++;
    return LM_OK;
}

static void test_kill_loses_nothing_acknowledged(void **state)
{
    struct help *h = *state;
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event start = {.kind = LM_EVENT_OPEN, .t_ms = T0, .open = &open};
    int64_t session = 0;
    assert_int_equal(lm_store_append(h->s, &session, &start, NULL, NULL), LM_OK);
    lm_store_close(h->s);
    for (unsigned round = 0; round < 12; round++) {
        int64_t told = kill_a_writer(h->path, session, 3 + round * 7);
        sound(h->path);
        struct run run = {1, session};
        struct lm_store *s = must_open(h->path, LM_STORE_WRITE);
        assert_true(lm_store_last_seq(s) >= told);
        assert_int_equal(lm_store_events(s, session, 0, in_turn, &run), LM_OK);
        assert_int_equal(run.next, lm_store_last_seq(s) + 1);
        lm_store_close(s);
    }
    h->s = must_open(h->path, LM_STORE_WRITE);
}

/* --- older and newer files --- */

/* Today's tables as if they were the first: the file that is then brought forward can be filled. */
static char *tables_of_today(void)
{
    char *all = NULL;
    size_t size;
    FILE *out = open_memstream(&all, &size);
    assert_non_null(out);
    for (int i = 0; i < lm_store_schema.n; i++)
        fputs(lm_store_schema.steps[i], out);
    fclose(out);
    return all;
}

static void test_migration(void **state)
{
    struct help *h = *state;
    char *today = tables_of_today();
    const char *steps[] = {today,
        "ALTER TABLE animal ADD COLUMN note TEXT NOT NULL DEFAULT 'none';"
        "CREATE TABLE extra(x INTEGER) STRICT;",
        "UPDATE animal SET note = 'seen';"};
    const struct lm_schema first = {steps, 1}, third = {steps, 3};
    char path[160], kept[192];
    struct lm_store *s = NULL;
    struct lm_problem p;
    struct lm_record got;
    struct stat sb;
    snprintf(path, sizeof path, "%s/old.db", h->dir);
    snprintf(kept, sizeof kept, "%s.v1.bak", path);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_CREATE, &first, &s, &p), LM_OK);
    fill(s, 0, 25);
    lm_store_close(s);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_READ, &third, &s, &p), LM_EINPUT);
    says(&p, "older version");
    assert_int_equal(access(kept, F_OK), -1);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_WRITE, &third, &s, &p), LM_OK);
    assert_int_equal(lm_store_animals(s), 25);
    get_ok(s, "K0003", &got);
    assert_int_equal(sqlite3_exec(s->db, "SELECT x FROM extra", NULL, NULL, NULL), SQLITE_OK);
    lm_store_close(s);
    /* The file as it was is beside it, whole and private, and today's program opens it. */
    assert_int_equal(stat(kept, &sb), 0);
    assert_int_equal(sb.st_mode & 07777, 0600);
    assert_int_equal(lm_store_open_schema(kept, LM_STORE_READ, &first, &s, &p), LM_OK);
    assert_int_equal(lm_store_animals(s), 25);
    lm_store_close(s);
    /* The second time there is nothing to do, and an older program keeps its hands off. */
    assert_int_equal(lm_store_open_schema(path, LM_STORE_WRITE, &third, &s, &p), LM_OK);
    lm_store_close(s);
    snprintf(kept, sizeof kept, "%s.v3.bak", path);
    assert_int_equal(access(kept, F_OK), -1);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_WRITE, &first, &s, &p), LM_ENEWER);
    assert_null(s);
    free(today);
}

static void test_failed_migration_changes_nothing(void **state)
{
    struct help *h = *state;
    char *today = tables_of_today();
    const char *steps[] = {
        today, "CREATE TABLE extra(x INTEGER) STRICT;", "UPDATE nothing_there SET x = 1;"};
    const struct lm_schema first = {steps, 1}, broken = {steps, 3};
    char path[160], kept[192];
    struct lm_store *s = NULL;
    struct lm_problem p;
    snprintf(path, sizeof path, "%s/old.db", h->dir);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_CREATE, &first, &s, &p), LM_OK);
    fill(s, 0, 5);
    lm_store_close(s);
    for (int i = 1; i <= 2; i++) { /* each try keeps its copy under a name of its own */
        assert_int_not_equal(lm_store_open_schema(path, LM_STORE_WRITE, &broken, &s, &p), LM_OK);
        assert_null(s);
        snprintf(kept, sizeof kept, i == 1 ? "%s.v1.bak" : "%s.v1.2.bak", path);
        assert_int_equal(access(kept, F_OK), 0);
    }
    assert_int_not_equal(sql_of(path, "SELECT x FROM extra"), SQLITE_OK);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_WRITE, &first, &s, &p), LM_OK);
    assert_int_equal(lm_store_animals(s), 5);
    lm_store_close(s);
    free(today);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_full_disk_each_for_itself),
        WITH(test_full_disk_in_a_transaction),
        WITH(test_full_disk_journal_can_be_tried_again),
        WITH(test_kill_loses_nothing_acknowledged),
        WITH(test_migration),
        WITH(test_failed_migration_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
