/** Driver `replay`: what lines it takes, the end of the file, pace, and going on after a close. */
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "sink_log.h"
#include "drivers/list.h"

#define A "999000000012345"
#define B "999000000067890"

static const struct lm_driver_ops *const ops = &lm_driver_replay;

/** A file of its own for each test. */
struct file {
    char path[64];
};

static struct file write_file(const void *bytes, size_t len)
{
    struct file f;
    snprintf(f.path, sizeof f.path, "/tmp/lugmark-replay-XXXXXX");
    int fd = mkstemp(f.path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, bytes, len), len);
    close(fd);
    return f;
}

static void *make(const struct file *f, const char *pace, const char *gap)
{
    const struct lm_setting s[] = {{"file", f->path}, {"pace", pace}, {"gap_ms", gap}};
    struct lm_problem problem = {0};
    void *state = ops->new_(s, gap != NULL ? 3 : 2, &problem);
    if (state == NULL)
        fail_msg("%s", problem.what);
    return state;
}

static bool readable(int fd)
{
    struct pollfd p = {.fd = fd, .events = POLLIN};
    return poll(&p, 1, 0) == 1 && (p.revents & POLLIN) != 0;
}

/** Run it to its end as the loop does with pace `once`, and log what comes. */
static void run_once(struct sink_log *log, const void *bytes, size_t len)
{
    struct file f = write_file(bytes, len);
    struct lm_sink sink = sink_log_sink(log);
    void *state = make(&f, "once", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    assert_true(readable(fd));
    assert_true((fcntl(fd, F_GETFD) & FD_CLOEXEC) != 0);
    assert_int_equal(ops->tick_ms(state), -1);
    assert_false(ops->finished(state));
    enum lm_err err = LM_OK;
    for (int turns = 0; err == LM_OK && turns < 100; turns++) {
        assert_true(readable(fd));
        err = ops->service(state, &sink);
    }
    assert_int_equal(err, LM_EGONE);
    assert_true(ops->finished(state));
    ops->close(state);
    assert_true(ops->finished(state));
    assert_string_equal(ops->describe(state), "");
    ops->free_(state);
    unlink(f.path);
}

static const struct {
    const char *legend;
    const char *text;
    const char *want;
} rows[] = {
    {"an empty file", "", ""},
    {"15 digits", A "\n" B "\n", A " " B},
    {"CR LF", A "\r\n" B "\r\n", A " " B},
    {"no end after the last line", A "\n" B, A " " B},
    {"empty lines and comments", "\n# a comment, with, commas\n  \n" A "\n\n", A},
    {"byte order mark", "\xef\xbb\xbf" A "\n", A},
    {"3 + 12", "999 000000012345\n999-000000067890\n", A " " B},
    {"hex", "8000F9C000003039\n", A},
    {"telegram", "002FB1EA2E12B77880406D7F08040201\n", "123112233445566"},
    {"country in letters", "GB 000000012345\n", "826000000012345"},
    {"time, lane, code", "2026-11-02T08:00:01.250Z,1," A "\n", A},
    {"only the code", ",," A "\n", A},
    {"quoted", "\"2026-11-02T08:00:01Z\",\"1\",\"" A "\"\n", A},
    {"heading", "time,lane,eid\n,," A "\n", A},
    {"heading behind a byte order mark", "\xef\xbb\xbfTime, Lane, EID\r\n,," A "\n", A},
    {"two fields", "1," A "\n" B "\n", "!syntax " B},
    {"four fields", ",,," A "\n" B "\n", "!syntax " B},
    {"no code in a row", "2026-11-02T08:00:01Z,1,\n" B "\n", "!syntax " B},
    {"a bad time loses no reading", "yesterday,1," A "\n", A},
    {"damaged by a spreadsheet", "9.99E+14\n", "?damaged"},
    {"out of range", "999999999999999\n", "?range"},
    {"bad CRC", "002FB1EA2E12B77880416D7F08040201\n", "?check"},
    {"words", "hello\n" A "\n", "?damaged " A},
};

static void test_lines(void **unused)
{
    (void) unused;
    struct sink_log log;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        run_once(&log, rows[i].text, strlen(rows[i].text));
        if (strcmp(log.text, rows[i].want) != 0)
            fail_msg("%s: want '%s', got '%s'", rows[i].legend, rows[i].want, log.text);
    }
}

static void test_fields_are_kept(void **unused)
{
    (void) unused;
    struct sink_log log;
    static const char row[] = "2026-11-02T08:00:01.250Z, north ,8000F9C000003039\n";
    run_once(&log, row, sizeof row - 1);
    char when[LM_TIME_TEXT_SIZE];
    assert_string_equal(lm_time_format(log.last.t_ms, when), "2026-11-02T08:00:01.250Z");
    assert_string_equal(log.last.lane, "north");
    assert_int_equal(log.last.eid.known, LM_EID_FULL);
    run_once(&log, A "\n", 16);
    assert_int_equal(log.last.t_ms, LM_TIME_NONE);
    assert_string_equal(log.last.lane, "");
    run_once(&log, "9.99E+14\n", 9);
    assert_string_equal(log.last.text, "9.99E+14");
}

static void test_hostile_bytes(void **unused)
{
    (void) unused;
    struct sink_log log;
    static char bytes[20000];
    memset(bytes, 'x', sizeof bytes);
    memcpy(bytes + 10000, "\n" A "\n", 17);
    run_once(&log, bytes, sizeof bytes);
    assert_string_equal(log.text, "!too-long " A " !too-long");
    assert_int_equal(log.bytes, 10000 + 20000 - 10017);
    memset(bytes, '7', 4096);
    bytes[4096] = '\n';
    run_once(&log, bytes, 4097);
    assert_string_equal(log.text, "?damaged");
    memset(bytes, 0, 500);
    bytes[500] = '\n';
    run_once(&log, bytes, 501);
    assert_string_equal(log.text, "?damaged");
    uint64_t seed = 1;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (char) sink_log_random(&seed);
    run_once(&log, bytes, sizeof bytes);
    assert_null(strstr(log.text, "999"));
}

/** A long file is read in bounded turns, each line once and in order. */
static void test_turns_are_bounded(void **unused)
{
    (void) unused;
    enum { LINES = 1000 };
    static char bytes[LINES * 16 + 1];
    for (int i = 0; i < LINES; i++)
        snprintf(bytes + i * 16, 17, "999%012d\n", i + 1);
    struct file f = write_file(bytes, sizeof bytes - 1);
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = make(&f, "once", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    size_t before = 0;
    for (enum lm_err err = LM_OK; err == LM_OK; before = log.readings) {
        err = ops->service(state, &sink);
        assert_true(log.readings - before <= 256);
        assert_int_equal(lm_eid_national(log.last.eid), log.readings);
        if (before == 0) { /* closed and opened again half way: nothing twice, nothing lost */
            ops->close(state);
            assert_int_equal(ops->service(state, &sink), LM_EGONE);
            assert_false(ops->finished(state));
            assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
        }
    }
    assert_int_equal(log.readings, LINES);
    ops->free_(state);
    unlink(f.path);
}

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static void wait_ms(int ms)
{
    struct timespec t = {ms / 1000, ms % 1000 * 1000000L};
    nanosleep(&t, NULL);
}

static void test_real_pace(void **unused)
{
    (void) unused;
    static const char text[] = "time,lane,eid\n"
                               "2026-11-02T08:00:01.000Z,1," A "\n"
                               "2026-11-02T08:00:01.200Z,1," B "\n"
                               "2026-11-02T08:00:00.000Z,1," A "\n" /* backwards: no pause */
                               ",1," B "\n";                        /* no time: gap_ms */
    static const int64_t due[] = {0, 200, 200, 300};
    struct file f = write_file(text, sizeof text - 1);
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = make(&f, "real", "100");
    int fd = -1;
    assert_int_equal(ops->tick_ms(state), -1);
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    assert_false(readable(fd));
    int64_t start = now_ms();
    size_t seen = 0;
    for (enum lm_err err = LM_OK; err == LM_OK;) {
        int wait = ops->tick_ms(state);
        assert_in_range(wait, 0, 200);
        assert_true(wait == 0 || log.readings > 0);
        wait_ms(wait);
        err = ops->tick(state, &sink);
        for (; seen < log.readings; seen++)
            assert_in_range(now_ms() - start, due[seen], due[seen] + 2000);
    }
    assert_string_equal(log.text, A " " B " " A " " B);
    assert_true(now_ms() - start >= 300);
    assert_true(ops->finished(state));
    ops->free_(state);
    unlink(f.path);
}

/** Before its time nothing comes, however often the loop asks. */
static void test_real_pace_holds_back(void **unused)
{
    (void) unused;
    static const char text[] = "2026-11-02T08:00:00Z,1," A "\n2126-11-02T08:00:00Z,1," B "\n";
    struct file f = write_file(text, sizeof text - 1);
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = make(&f, "real", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    for (int i = 0; i < 100; i++)
        assert_int_equal(ops->tick(state, &sink), LM_OK);
    assert_string_equal(log.text, A);
    assert_int_equal(ops->tick_ms(state), INT32_MAX); /* a hundred years, as far as an int goes */
    assert_false(ops->finished(state));
    ops->free_(state);
    unlink(f.path);
}

static void test_open_fails(void **unused)
{
    (void) unused;
    static const struct {
        const char *path;
        enum lm_err want;
    } bad[] = {{"/tmp/lugmark-there-is-none", LM_ENOTFOUND}, {"/tmp", LM_ENOSUP},
        {"/dev/null", LM_ENOSUP}, {"/dev/null/x", LM_ENOTFOUND}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct file f;
        snprintf(f.path, sizeof f.path, "%s", bad[i].path);
        struct lm_problem problem = {0};
        void *state = make(&f, "once", NULL);
        int fd = -1;
        assert_int_equal(ops->open(state, &fd, &problem), bad[i].want);
        assert_non_null(strstr(problem.what, bad[i].path));
        assert_true(problem.mend[0] != '\0');
        ops->free_(state);
    }
}

/** A file that comes later is found by a later open, and described by its real path. */
static void test_found_later(void **unused)
{
    (void) unused;
    struct file f = write_file(A "\n", 16), link = f;
    snprintf(link.path, sizeof link.path, "%.50s-link", f.path);
    void *state = make(&link, "once", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_ENOTFOUND);
    assert_int_equal(symlink(f.path, link.path), 0);
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    assert_string_equal(ops->describe(state), f.path);
    ops->free_(state);
    unlink(link.path);
    unlink(f.path);
}

static void test_bad_settings(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_setting s[2];
        const char *names;
    } bad[] = {{{{"x", "y"}, {"pace", "once"}}, "file"}, {{{"file", ""}, {"pace", "once"}}, "file"},
        {{{"file", "f"}, {"pace", "fast"}}, "pace"}, {{{"file", "f"}, {"gap_ms", "-1"}}, "gap_ms"},
        {{{"file", "f"}, {"gap_ms", "1s"}}, "gap_ms"}, {{{"file", "f"}, {"gap_ms", ""}}, "gap_ms"},
        {{{"file", "f"}, {"gap_ms", "99999999999999999999"}}, "gap_ms"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct lm_problem problem = {0};
        assert_null(ops->new_(bad[i].s, 2, &problem));
        assert_int_equal(problem.err, LM_EINPUT);
        assert_non_null(strstr(problem.what, bad[i].names));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lines),
        cmocka_unit_test(test_fields_are_kept),
        cmocka_unit_test(test_hostile_bytes),
        cmocka_unit_test(test_turns_are_bounded),
        cmocka_unit_test(test_real_pace),
        cmocka_unit_test(test_real_pace_holds_back),
        cmocka_unit_test(test_open_fails),
        cmocka_unit_test(test_found_later),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
