/** What is said to a reader: after each opening once, again and again, and when no answer comes. */
#include "pty.h"
#include "sink_log.h"

#include <time.h>

#include "drivers/asking.h"
#include "drivers/list.h"

#define A "999000000012345"

static const struct lm_driver_ops *const ops = &lm_driver_serial;

static int64_t now = 1000;

/** Stands in front of libc's: time passes only when a test lets it. */
int clock_gettime(clockid_t clock, struct timespec *t)
{
    (void) clock;
    t->tv_sec = now / 1000;
    t->tv_nsec = now % 1000 * 1000000;
    return 0;
}

/** Move the clock on as the loop would wait, in small steps, and tick when it is time. */
static void pass(void *state, const struct lm_sink *sink, int ms)
{
    for (int64_t end = now + ms; now < end;) {
        int wait = ops->tick_ms(state);
        if (wait < 0 || wait > end - now) {
            now = end;
            return;
        }
        now += wait;
        if (wait == 0)
            assert_int_equal(ops->tick(state, sink), LM_OK);
    }
}

/** Read what came within @p ms. @return How much. */
static size_t read_within(const struct pty *pty, char *out, size_t size, int ms)
{
    struct pollfd p = {.fd = pty->master, .events = POLLIN};
    if (poll(&p, 1, ms) <= 0)
        return 0;
    ssize_t n = read(pty->master, out, size);
    assert_true(n > 0);
    return (size_t) n;
}

/** What the reader at the other end has heard since is this, and no more. */
static void heard(const struct pty *pty, const char *want)
{
    char got[4096];
    size_t n = 0, more = 1;
    while (n < strlen(want) && more > 0)
        n += more = read_within(pty, got + n, sizeof got - 1 - n, 5000);
    n += read_within(pty, got + n, sizeof got - 1 - n, 30);
    got[n] = '\0';
    assert_string_equal(got, want);
}

static void *make(const struct pty *pty, const char *init, const char *poll, const char *reply_ms)
{
    struct lm_setting s[5] = {{"port", pty->path}};
    struct lm_problem p = {0};
    size_t n = 1;
    if (init != NULL)
        s[n++] = (struct lm_setting){"init", init};
    if (poll != NULL) {
        s[n++] = (struct lm_setting){"poll", poll};
        s[n++] = (struct lm_setting){"poll_ms", "500"};
    }
    if (reply_ms != NULL)
        s[n++] = (struct lm_setting){"reply_ms", reply_ms};
    void *state = ops->new_(s, n, &p);
    if (state == NULL)
        fail_msg("%s", p.what);
    return state;
}

static void test_silent_driver(void **unused)
{
    (void) unused;
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct pty pty = pty_open();
    void *state = make(&pty, NULL, NULL, NULL);
    int fd = -1;
    assert_int_equal(ops->tick_ms(state), -1);
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    assert_int_equal(ops->tick_ms(state), -1);
    pass(state, &sink, 100000);
    heard(&pty, "");
    ops->free_(state);
    pty_unplug(&pty);
}

static void test_init_once_an_opening(void **unused)
{
    (void) unused;
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct pty pty = pty_open();
    void *state = make(&pty, "\\x02ON\\\\\\r\\n", NULL, NULL);
    for (int times = 0; times < 3; times++) {
        int fd = -1;
        assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
        assert_int_equal(ops->tick_ms(state), 0);
        pass(state, &sink, 10000);
        heard(&pty, "\x02ON\\\r\n");
        assert_int_equal(ops->tick_ms(state), -1);
        ops->close(state);
        assert_int_equal(ops->tick_ms(state), -1);
        assert_int_equal(ops->tick(state, &sink), LM_EGONE);
    }
    ops->free_(state);
    pty_unplug(&pty);
}

static void test_polls_at_its_interval(void **unused)
{
    (void) unused;
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct pty pty = pty_open();
    void *state = make(&pty, "i", "p", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    pass(state, &sink, 400);
    heard(&pty, "i");
    pass(state, &sink, 200);
    heard(&pty, "p");
    pass(state, &sink, 5000);
    heard(&pty, "pppppppppp");
    pty_say(&pty, A "\r"); /* an answer changes nothing about the interval */
    pty_wait(fd);
    assert_int_equal(ops->service(state, &sink), LM_OK);
    pass(state, &sink, 1000);
    heard(&pty, "pp");
    assert_string_equal(log.text, A); /* without reply_ms nothing is missed */
    ops->free_(state);
    pty_unplug(&pty);
}

/** sink_log expects bytes for each reject; here there are none. */
struct missing {
    unsigned times;
    unsigned readings;
};

static void miss(void *ctx, enum lm_reject reject, size_t bytes)
{
    struct missing *m = ctx;
    assert_int_equal(reject, LM_REJECT_NO_REPLY);
    assert_int_equal(bytes, 0);
    m->times++;
}

static void read_one(void *ctx, const struct lm_event *event)
{
    struct missing *m = ctx;
    (void) event;
    m->readings++;
}

static void test_a_missing_answer(void **unused)
{
    (void) unused;
    struct missing m = {0};
    const struct lm_sink sink = {.reading = read_one, .reject = miss, .ctx = &m};
    struct pty pty = pty_open();
    void *state = make(&pty, NULL, "p", "100");
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    pass(state, &sink, 50);
    heard(&pty, "p");
    pass(state, &sink, 500); /* no answer: asked again every 100 ms, not every 500 */
    heard(&pty, "ppppp");
    assert_int_equal(m.times, 5);
    pty_say(&pty, A "\r");
    pty_wait(fd);
    assert_int_equal(ops->service(state, &sink), LM_OK);
    assert_int_equal(m.readings, 1);
    pass(state, &sink, 300); /* answered: nothing before its time */
    heard(&pty, "");
    pass(state, &sink, 200);
    heard(&pty, "p");
    assert_int_equal(m.times, 5);
    ops->free_(state);
    pty_unplug(&pty);
}

/** Nobody takes what is said: writing never waits, and the line works again when it is emptied. */
static void test_a_full_line(void **unused)
{
    (void) unused;
    char got[4096];
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct pty pty = pty_open();
    void *state =
        make(&pty, NULL, "0123456789012345678901234567890123456789012345678901234567\\r", NULL);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, NULL), LM_OK);
    pass(state, &sink, 600000); /* 1200 questions, many times what a pty holds */
    pty_say(&pty, A "\r");
    pty_wait(fd);
    assert_int_equal(ops->service(state, &sink), LM_OK);
    assert_int_equal(log.readings, 1);
    while (read_within(&pty, got, sizeof got, 100) > 0) {
    }
    pass(state, &sink, 600);
    size_t n = read_within(&pty, got, sizeof got, 5000);
    assert_true(n >= 10 && got[n - 1] == '\r');
    ops->free_(state);
    pty_unplug(&pty);
}

/** What could not be said is said again, and is no question without an answer. */
static void test_said_again(void **unused)
{
    (void) unused;
    static const struct lm_setting s[] = {{"init", "i"}, {"poll", "p"}, {"reply_ms", "100"}};
    struct lm_asking a;
    size_t len = 0;
    bool missed = true;
    assert_int_equal(lm_asking_read(&a, s, 3, NULL), LM_OK);
    lm_asking_open(&a, 0);
    assert_int_equal(*lm_asking_due(&a, 0, &len, &missed), 'i');
    lm_asking_again(&a, 0);
    assert_int_equal(lm_asking_wait_ms(&a, 0), 100);
    assert_null(lm_asking_due(&a, 99, &len, &missed));
    assert_int_equal(*lm_asking_due(&a, 100, &len, &missed), 'i');
    assert_int_equal(*lm_asking_due(&a, 1100, &len, &missed), 'p');
    lm_asking_again(&a, 1100);
    assert_int_equal(*lm_asking_due(&a, 1200, &len, &missed), 'p');
    assert_false(missed);
    assert_int_equal(*lm_asking_due(&a, 1300, &len, &missed), 'p');
    assert_true(missed);
}

static void test_bad_settings(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_setting s;
        const char *what;
        const char *mend;
    } bad[] = {
        {{"init", "\\q"}, "init: '\\q'", "\\x02"},
        {{"init", "ab\\x0"}, "init: '\\x0'", "\\x02"},
        {{"poll", "\\"}, "poll: '\\'", "\\x02"},
        {{"poll", ""}, "poll: it is empty", "such as"},
        {{"poll", "01234567890123456789012345678901234567890123456789012345678901234"},
            "poll: more than 64 bytes", "shorten"},
        {{"poll_ms", "19"}, "poll_ms: '19'", "500"},
        {{"poll_ms", "1.5"}, "poll_ms: '1.5'", "500"},
        {{"poll_ms", "99999999999"}, "poll_ms:", "500"},
        {{"reply_ms", "60001"}, "reply_ms: '60001'", "500"},
        {{"poll_ms", "500"}, "poll_ms: nothing is asked", "poll ="},
        {{"reply_ms", "500"}, "reply_ms: nothing is asked", "poll ="},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        const struct lm_setting s[] = {{"port", "/nowhere"}, bad[i].s};
        struct lm_problem p = {0};
        assert_null(ops->new_(s, 2, &p));
        assert_int_equal(p.err, LM_EINPUT);
        if (strstr(p.what, bad[i].what) == NULL || strstr(p.mend, bad[i].mend) == NULL)
            fail_msg("%s; to mend: %s", p.what, p.mend);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_silent_driver),
        cmocka_unit_test(test_init_once_an_opening),
        cmocka_unit_test(test_polls_at_its_interval),
        cmocka_unit_test(test_a_missing_answer),
        cmocka_unit_test(test_a_full_line),
        cmocka_unit_test(test_said_again),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
