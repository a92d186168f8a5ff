/** Driver `serial` as the loop uses it: open, bytes, readings, hang-up, and back again. */
#include "pty.h"
#include "sink_log.h"

#include <sys/syscall.h>
#include <time.h>

#include "drivers/list.h"
#include "lugmark/telegram.h"

#define A "999000000012345"
#define B "999000000067890"

static const struct lm_driver_ops *const ops = &lm_driver_serial;

static void *make(const char *port, const char *decoder)
{
    const struct lm_setting s[] = {
        {"lane", "1"}, {"port", port}, {"line", "9600 8N1"}, {"decoder", decoder}};
    struct lm_problem problem = {0};
    void *state = ops->new_(s, 4, &problem);
    if (state == NULL)
        fail_msg("%s", problem.what);
    return state;
}

/** Service until the sink has @p n readings and rejects together, as a loop would. */
static void service_until(void *state, int fd, struct sink_log *log, size_t n)
{
    struct lm_sink sink = {.reading = sink_log_reading, .reject = sink_log_reject, .ctx = log};
    for (;;) {
        size_t have = log->readings;
        for (size_t i = 0; i < LM_REJECTS; i++)
            have += log->rejects[i];
        if (have >= n)
            return;
        pty_wait(fd);
        assert_int_equal(ops->service(state, &sink), LM_OK);
    }
}

static void test_readings(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = make(pty.path, "text");
    int fd = -1;
    assert_string_equal(ops->describe(state), "");
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    assert_string_equal(ops->describe(state), pty.path);
    assert_int_equal(ops->service(state, &sink), LM_OK); /* nothing there */
    pty_say(&pty, A "\r\n99900000");
    service_until(state, fd, &log, 1);
    pty_say(&pty, "0067890\r\nnoise\r\n");
    service_until(state, fd, &log, 3);
    assert_string_equal(log.text, A " " B " !no-code");
    ops->free_(state); /* closes too */
    pty_unplug(&pty);
}

/** One turn takes a bounded amount, and the rest is still there for the next. */
static void test_bounded_turn(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = make(pty.path, "text");
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    enum { LINES = 1000 }; /* 16000 bytes: two turns and more, and less than a pty holds */
    for (int i = 0; i < LINES; i++)
        pty_say(&pty, A "\r");
    pty_wait(fd);
    assert_int_equal(ops->service(state, &sink), LM_OK);
    assert_in_range(log.readings, 1, 8192 * 3 / 2 / 16);
    for (int turns = 0; log.readings < LINES && turns < 1000; turns++) {
        pty_wait(fd);
        memset(log.text, 0, sizeof log.text);
        assert_int_equal(ops->service(state, &sink), LM_OK);
    }
    assert_int_equal(log.readings, LINES);
    ops->free_(state);
    pty_unplug(&pty);
}

/** Unplugged and back under the same stable link: same reader, no half line from before. */
static void test_unplugged_and_back(void **unused)
{
    (void) unused;
    char dir[] = "/tmp/lugmark-serial-XXXXXX", link[64];
    assert_non_null(mkdtemp(dir));
    snprintf(link, sizeof link, "%s/front", dir);
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct lm_problem problem = {0};
    void *state = make(link, "text");
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, &problem), LM_ENOTFOUND);
    int before = pty_open_fds();
    for (size_t times = 1; times <= 3; times++) {
        struct pty pty = pty_open();
        assert_int_equal(symlink(pty.path, link), 0);
        assert_int_equal(ops->open(state, &fd, &problem), LM_OK);
        assert_string_equal(ops->describe(state), pty.path);
        pty_say(&pty, A "\r\n9990000");
        service_until(state, fd, &log, times);
        pty_unplug(&pty);
        pty_wait(fd);
        assert_int_equal(ops->service(state, &sink), LM_EGONE);
        ops->close(state);
        ops->close(state); /* twice does no harm */
        assert_string_equal(ops->describe(state), "");
        assert_int_equal(ops->service(state, &sink), LM_EGONE);
        assert_int_equal(pty_open_fds(), before);
        unlink(link);
        assert_int_equal(ops->open(state, &fd, &problem), LM_ENOTFOUND);
    }
    assert_string_equal(log.text, A " " A " " A);
    ops->free_(state);
    rmdir(dir);
}

static int64_t clock_ahead_ms;

/** Stands in front of libc's: lets the test move the driver's clock on instead of waiting. */
int clock_gettime(clockid_t clock, struct timespec *t)
{
    int result = (int) syscall(SYS_clock_gettime, clock, t);
    t->tv_sec += clock_ahead_ms / 1000;
    return result;
}

/** Half a line is kept through a pause, but not for so long that it meets the next animal's. */
static void test_silence(void **unused)
{
    (void) unused;
    static const struct {
        int64_t pause_ms;
        const char *want;
    } rows[] = {{5000, B}, {11000, "!no-code"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct pty pty = pty_open();
        struct sink_log log;
        struct lm_sink sink = sink_log_sink(&log);
        void *state = make(pty.path, "text");
        int fd = -1;
        assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
        pty_say(&pty, "99900000");
        pty_wait(fd);
        assert_int_equal(ops->service(state, &sink), LM_OK);
        clock_ahead_ms += rows[i].pause_ms;
        pty_say(&pty, "0067890\r");
        service_until(state, fd, &log, 1);
        assert_string_equal(log.text, rows[i].want);
        pty_say(&pty, A "\r"); /* and a whole line after any silence is read */
        clock_ahead_ms += 3600000;
        service_until(state, fd, &log, 2);
        assert_non_null(strstr(log.text, A));
        ops->free_(state);
        pty_unplug(&pty);
    }
}

static void test_busy(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct lm_problem problem = {0};
    void *one = make(pty.path, "text"), *two = make(pty.path, "telegram");
    int fd = -1;
    assert_int_equal(ops->open(one, &fd, &problem), LM_OK);
    assert_int_equal(ops->open(two, &fd, &problem), LM_EBUSY);
    ops->close(one);
    assert_int_equal(ops->open(two, &fd, &problem), LM_OK);
    ops->free_(one);
    ops->free_(two);
    pty_unplug(&pty);
}

static void test_telegrams(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct sink_log log;
    sink_log_sink(&log);
    void *state = make(pty.path, "telegram");
    int fd = -1;
    uint8_t telegram[LM_FDXB_BYTES];
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    lm_fdxb_encode(
        UINT64_C(0x8000F9C000003039), 0, telegram); /* all byte values must get through */
    assert_int_equal(write(pty.master, telegram, sizeof telegram), sizeof telegram);
    service_until(state, fd, &log, 1);
    assert_string_equal(log.text, A);
    ops->free_(state);
    pty_unplug(&pty);
}

static void test_bad_settings(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_setting s[2];
        const char *names;
        const char *mend;
    } bad[] = {
        {{{"line", "9600 8N1"}, {"x", "y"}}, "port", "port ="},
        {{{"port", ""}, {"x", "y"}}, "port", "port ="},
        {{{"port", "p"}, {"line", "9600"}}, "line '9600'", "9600 8N1"},
        {{{"port", "p"}, {"decoder", "txt"}}, "decoder 'txt'", "telegram text"},
        {{{"port", "p"}, {"decoder", ""}}, "decoder ''", "telegram text"},
        {{{"port", "p"}, {"pattern", "("}}, "pattern '('", "group"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct lm_problem problem = {0};
        assert_null(ops->new_(bad[i].s, 2, &problem));
        assert_int_equal(problem.err, LM_EINPUT);
        assert_non_null(strstr(problem.what, bad[i].names));
        assert_non_null(strstr(problem.mend, bad[i].mend));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_readings),
        cmocka_unit_test(test_bounded_turn),
        cmocka_unit_test(test_unplugged_and_back),
        cmocka_unit_test(test_silence),
        cmocka_unit_test(test_busy),
        cmocka_unit_test(test_telegrams),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
