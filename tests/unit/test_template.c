/** The template's decoder and driver: what every copy of it should be tested for. */
#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "sink_log.h"
#include "drivers/template.h"

/** 999 000000012345, 999 000000067890 as frames; the second one holds the start byte. */
#define FRAME_A "\xA5\x80\x00\xF9\xC0\x00\x00\x30\x39\xA2"
#define FRAME_B "\xA5\x80\x00\xF9\xC0\x00\x01\x09\x32\x75"
#define FRAME_A5 "\xA5\x80\x00\xF9\xC0\x00\x00\xA5\xA5\x83"
#define BAD_SUM "\xA5\x80\x00\xF9\xC0\x00\x00\x30\x39\xA3"
#define ALL_ZERO "\xA5\x00\x00\x00\x00\x00\x00\x00\x00\x00"
#define A "999000000012345"
#define B "999000000067890"
#define WITH_A5 "999000000042405"

#define ROW(legend, bytes, want)                                                                   \
    {                                                                                              \
        legend, bytes, sizeof bytes - 1, want                                                      \
    }

static const struct {
    const char *legend;
    const char *bytes;
    size_t len;
    const char *want;
} rows[] = {
    ROW("one frame", FRAME_A, A),
    ROW("two frames in one read", FRAME_A FRAME_B, A " " B),
    ROW("garbage before", "\x01\x02\xFF" FRAME_A, A),
    ROW("garbage between", FRAME_A "???" FRAME_B, A " " B),
    ROW("start byte inside the code", FRAME_A5 FRAME_A, WITH_A5 " " A),
    ROW("wrong sum", BAD_SUM, "!check"),
    ROW("wrong sum, then a good one", BAD_SUM FRAME_A, "!check " A),
    ROW("a start byte too many", "\xA5" FRAME_A, "!check " A),
    ROW("half a frame, then a whole one", "\xA5\x80\x00\xF9\xC0" FRAME_A, "!check " A),
    ROW("the all-zero code", ALL_ZERO, "!range"),
    ROW("nothing", "", ""),
};

static void test_frames(void **unused)
{
    (void) unused;
    struct sink_log log;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (size_t piece = 0; piece < 11; piece++) {
            sink_log_feed(&log, &lm_decoder_template, NULL, 0, rows[i].bytes, rows[i].len, piece);
            if (strcmp(log.text, rows[i].want) != 0)
                fail_msg("%s: want '%s', got '%s'", rows[i].legend, rows[i].want, log.text);
        }
    }
}

static void test_truncated(void **unused)
{
    (void) unused;
    struct sink_log log;
    for (size_t cut = 0; cut < 10; cut++) {
        struct lm_sink sink = sink_log_sink(&log);
        void *state = lm_decoder_template.new_(NULL, 0, NULL);
        assert_non_null(state);
        lm_decoder_template.feed(state, (const uint8_t *) FRAME_A, cut, &sink);
        assert_string_equal(log.text, "");
        lm_decoder_template.reset(state);
        lm_decoder_template.feed(state, (const uint8_t *) FRAME_B, 10, &sink);
        assert_string_equal(log.text, B);
        lm_decoder_template.free_(state);
    }
}

static void test_garbage(void **unused)
{
    (void) unused;
    static uint8_t bytes[100000];
    uint64_t seed = 5;
    struct sink_log log;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = sink_log_random(&seed);
    /* The sum has 8 bits only: a few of some 400 starts get through, which is why the comment on
     * integrity in a driver matters. */
    sink_log_feed(&log, &lm_decoder_template, NULL, 0, bytes, sizeof bytes, 0);
    assert_true(log.rejects[LM_REJECT_CHECK] > 100);
    assert_true(log.readings < 10);
}

static void test_pipe(void **unused)
{
    (void) unused;
    const struct lm_driver_ops *ops = &lm_driver_template;
    char path[] = "/tmp/lugmark-template-XXXXXX";
    assert_non_null(mkdtemp(path));
    char pipe[64];
    snprintf(pipe, sizeof pipe, "%s/pipe", path);
    const struct lm_setting s = {"pipe", pipe};
    struct lm_problem problem = {0};
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    void *state = ops->new_(&s, 1, &problem);
    assert_non_null(state);
    int fd = -1;
    assert_int_equal(ops->open(state, &fd, &problem), LM_ENOTFOUND);
    assert_int_equal(mkfifo(pipe, 0600), 0);
    for (int times = 1; times <= 2; times++) {
        assert_int_equal(ops->open(state, &fd, &problem), LM_OK);
        assert_true((fcntl(fd, F_GETFD) & FD_CLOEXEC) != 0);
        assert_string_equal(ops->describe(state), pipe);
        int writer = open(pipe, O_WRONLY | O_CLOEXEC);
        assert_true(writer >= 0);
        assert_int_equal(ops->service(state, &sink), LM_OK); /* nothing there: does not block */
        assert_int_equal(write(writer, FRAME_A "\xA5\x80", 12), 12);
        assert_int_equal(ops->service(state, &sink), LM_OK);
        close(writer);
        assert_int_equal(ops->service(state, &sink), LM_EGONE);
        assert_int_equal(log.readings, times); /* the half frame met nothing */
        ops->close(state);
        assert_string_equal(ops->describe(state), "");
    }
    assert_string_equal(log.text, A " " A);
    ops->free_(state);
    unlink(pipe);
    rmdir(path);
}

static void test_bad_settings(void **unused)
{
    (void) unused;
    struct lm_problem problem = {0};
    assert_null(lm_driver_template.new_(NULL, 0, &problem));
    assert_int_equal(problem.err, LM_EINPUT);
    assert_non_null(strstr(problem.what, "pipe"));
    const struct lm_setting s = {"pipe", "/tmp"};
    void *state = lm_driver_template.new_(&s, 1, &problem);
    int fd = -1;
    assert_int_equal(lm_driver_template.open(state, &fd, &problem), LM_ENOSUP);
    lm_driver_template.free_(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frames),
        cmocka_unit_test(test_truncated),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_pipe),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
