/* Driver `program`: the command's words, lines cut anywhere, messages, and how it ends. */
#include "sink_log.h"

#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <unistd.h>

#include "drivers/child.h"
#include "drivers/program.h"

/* --- the command --- */

static void splits_a_command(void **state)
{
    (void) state;
    static const struct {
        const char *command;
        const char *words[5];
    } table[] = {
        {"prog", {"prog"}},
        {"  prog\t-a   b  ", {"prog", "-a", "b"}},
        {"prog 'a  b' \"c d\"", {"prog", "a  b", "c d"}},
        {"prog a'b c'd", {"prog", "ab cd"}},
        {"prog '' \"\"", {"prog", "", ""}},
        {"prog \"it's\" 'say \"x\"'", {"prog", "it's", "say \"x\""}},
        {"prog a\\ b $HOME *", {"prog", "a\\", "b", "$HOME", "*"}},
        {"'my prog'", {"my prog"}},
    };
    struct program *g = calloc(1, sizeof *g);
    struct lm_problem p;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_int_equal(program_command(g, table[i].command, &p), LM_OK);
        size_t n = 0;
        for (; n < 5 && table[i].words[n] != NULL; n++)
            assert_string_equal(g->argv[n], table[i].words[n]);
        assert_null(g->argv[n]);
    }
    static const char *const bad[] = {"", "   ", "prog 'a", "prog a\"", "''", "\"\" a"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(program_command(g, bad[i], &p), LM_EINPUT);
    char many[5000];
    memset(many, 'a', sizeof many);
    many[4500] = '\0';
    assert_int_equal(program_command(g, many, &p), LM_EINPUT);
    for (size_t i = 1; i < 2 * PROGRAM_WORDS + 2; i += 2)
        many[i] = ' ';
    many[2 * PROGRAM_WORDS - 1] = '\0';
    assert_int_equal(program_command(g, many, &p), LM_OK);
    assert_null(g->argv[PROGRAM_WORDS]);
    many[2 * PROGRAM_WORDS - 1] = ' ';
    many[2 * PROGRAM_WORDS + 1] = '\0';
    assert_int_equal(program_command(g, many, &p), LM_EINPUT);
    free(g);
}

/* --- lines --- */

static void note(void *ctx, const char *line)
{
    char word[PROGRAM_NOTE_MAX + 3];
    snprintf(word, sizeof word, "[%s]", line);
    sink_log_add(ctx, word);
}

static struct program *lines_only(void)
{
    struct program *g = calloc(1, sizeof *g);
    assert_int_equal(program_init(g, NULL), LM_OK);
    return g;
}

static void takes_lines_cut_anywhere(void **state)
{
    (void) state;
    static const char text[] =
        "{\"reading\":\"999000000000001\"}\n\n \r\nrubbish\n"
        "{\"reading\":\"uid:04A1B2C3D4E5F6\"}\r\n{\"close\":true}\n"
        "{\"reading\":\"999999999999999\"}\n{\"reading\":\"999000000000002\"}";
    for (size_t piece = 1; piece < sizeof text; piece++) {
        struct program *g = lines_only();
        struct sink_log log;
        struct lm_sink sink = sink_log_sink(&log);
        size_t n = 0;
        for (size_t at = 0; at < strlen(text); at += piece) {
            size_t left = strlen(text) - at;
            n += program_take_output(g, text + at, left < piece ? left : piece, &sink);
        }
        assert_int_equal(n, 3);
        n += program_take_rest(g, &sink);
        assert_int_equal(n, 4);
        assert_int_equal(program_take_rest(g, &sink), 0);
        assert_string_equal(log.text, "999000000000001 !syntax uid:04A1B2C3D4E5F6 !syntax ?range "
                                      "999000000000002");
        program_free(g);
    }
}

static void long_lines_are_counted_once(void **state)
{
    (void) state;
    struct program *g = lines_only();
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    static char block[PROGRAM_LINE_MAX];
    memset(block, ' ', sizeof block);
    memcpy(block, "{\"heads\":", 9);
    block[sizeof block - 1] = '}';
    for (int i = 0; i < 5; i++)
        assert_int_equal(program_take_output(g, block, sizeof block, &sink), 0);
    assert_int_equal(log.rejects[LM_REJECT_TOO_LONG], 1);
    static const char next[] = "\n{\"reading\":\"999000000000001\"}\n";
    assert_int_equal(program_take_output(g, next, strlen(next), &sink), 1);
    memcpy(block, "{\"reading\":\"999000000000002\"", 28); /* as long as a line may be */
    assert_int_equal(program_take_output(g, block, sizeof block, &sink), 0);
    assert_int_equal(program_take_output(g, "\n", 1, &sink), 1);
    assert_string_equal(log.text, "!too-long 999000000000001 999000000000002");
    program_free(g);
}

static void messages_are_cut_to_lines(void **state)
{
    (void) state;
    struct program *g = lines_only();
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    char text[1000];
    program_take_messages(g, "unheard\n", 8, &sink); /* a sink that wants none */
    sink.note = note;
    program_take_messages(g, "a\0b \r\n\n\nc", 9, &sink);
    program_take_messages(g, "d\n", 2, &sink);
    assert_string_equal(log.text, "[a b] [cd]");
    memset(text, 'x', sizeof text);
    program_take_messages(g, text, sizeof text, &sink);
    program_take_messages(g, "\nend", 4, &sink);
    assert_int_equal(strlen(log.text), strlen("[a b] [cd] []") + PROGRAM_NOTE_MAX - 1);
    program_take_rest(g, &sink);
    assert_string_equal(g->last, "end");
    assert_string_equal(log.text + strlen(log.text) - 6, " [end]");
    program_free(g);
}

/* --- life --- */

static struct program *made(const char *command)
{
    const struct lm_setting settings[] = {{"command", command}};
    struct lm_problem p = {0};
    struct program *g = lm_driver_find("program")->new_(settings, 1, &p);
    if (g == NULL)
        fail_msg("%s", p.what);
    return g;
}

/** Serve it as the loop does until it is gone. @return How many turns said something. */
static unsigned serve(struct program *g, int fd, struct lm_sink *sink)
{
    const struct lm_driver_ops *ops = lm_driver_find("program");
    unsigned said = 0;
    for (int turn = 0; turn < 2000; turn++) {
        struct pollfd ready = {.fd = fd, .events = POLLIN};
        int wait = ops->tick_ms(g);
        (void) poll(&ready, 1, wait >= 0 ? wait : 5000);
        enum lm_err err = ops->service(g, sink);
        if (err == LM_EGONE)
            return said;
        assert_true(err == LM_OK || err == LM_EAGAIN);
        said += err == LM_OK;
    }
    fail_msg("it never ends");
    return said;
}

static void says_how_it_ended(void **state)
{
    (void) state;
    static const struct {
        const char *command, *log, *why;
        unsigned said; /* turns, at least */
    } table[] = {
        {"sh -c 'echo \"{\\\"heads\\\":\\\"\"'", "!syntax", "sh ended with exit status 0", 0},
        {"sh -c 'echo lost >&2; exit 3'", "", "sh ended with exit status 3; it said: lost", 0},
        {"sh -c 'kill -6 $$'", "", "sh was ended by signal 6 (Aborted)", 0},
        {"echo '{\"reading\":\"999000000000001\"}'", "999000000000001",
            "echo ended with exit status 0", 1},
        {"sh -c 'exec >&-; sleep 30'", "", "sh closed its standard output", 0},
        {"sh -c 'sleep 30 & exit 4'", "", "sh ended with exit status 4", 0},
    };
    const struct lm_driver_ops *ops = lm_driver_find("program");
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct program *g = made(table[i].command);
        struct sink_log log;
        struct lm_sink sink = sink_log_sink(&log);
        struct lm_problem p = {0};
        int fd = -1;
        assert_int_equal(ops->service(g, &sink), LM_EGONE);
        assert_int_equal(ops->open(g, &fd, &p), LM_OK);
        assert_int_equal(strncmp(ops->describe(g), "process ", 8), 0);
        assert_true(serve(g, fd, &sink) >= table[i].said);
        ops->gone(g, &p);
        if (strncmp(p.what, table[i].why, strlen(table[i].why)) != 0)
            fail_msg("%s: %s", table[i].command, p.what);
        assert_string_equal(log.text, table[i].log);
        ops->close(g);
        assert_string_equal(ops->describe(g), "");
        assert_int_equal(ops->tick_ms(g), -1);
        ops->free_(g);
    }
}

static void is_opened_again_when_the_last_one_is_gone(void **state)
{
    (void) state;
    const struct lm_driver_ops *ops = lm_driver_find("program");
    struct program *g = made("sh -c 'trap \"\" TERM; echo up >&2; while :; do sleep 1; done'");
    struct sink_log log;
    struct lm_sink sink = sink_log_sink(&log);
    struct lm_problem p = {0};
    int fd = -1;
    assert_int_equal(ops->open(g, &fd, &p), LM_OK);
    while (g->last[0] == '\0')
        assert_int_equal(ops->service(g, &sink), LM_EAGAIN);
    pid_t first = g->child.pid;
    ops->close(g);
    assert_int_equal(ops->open(g, &fd, &p), LM_EBUSY);
    int64_t start = child_now_ms();
    while (ops->open(g, &fd, &p) == LM_EBUSY)
        usleep(20000);
    assert_in_range(child_now_ms() - start, CHILD_GRACE_MS - 200, CHILD_GRACE_MS + 2000);
    assert_int_not_equal(g->child.pid, first);
    assert_int_equal(kill(first, 0), -1);
    start = child_now_ms();
    ops->free_(g); /* at the end of the daemon it is waited for */
    assert_in_range(child_now_ms() - start, 0, CHILD_GRACE_MS + 1500);
}

static void does_not_start_what_is_not_there(void **state)
{
    (void) state;
    const struct lm_driver_ops *ops = lm_driver_find("program");
    struct lm_problem p = {0};
    int fd = -1, before = dup(0);
    close(before);
    struct program *g = made("/nowhere/at-all");
    for (int i = 0; i < 20; i++)
        assert_int_equal(ops->open(g, &fd, &p), LM_ENOTFOUND);
    assert_non_null(strstr(p.what, "/nowhere/at-all"));
    ops->free_(g);
    int after = dup(0);
    close(after);
    assert_int_equal(after, before); /* no descriptor is left over */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splits_a_command),
        cmocka_unit_test(takes_lines_cut_anywhere),
        cmocka_unit_test(long_lines_are_counted_once),
        cmocka_unit_test(messages_are_cut_to_lines),
        cmocka_unit_test(says_how_it_ended),
        cmocka_unit_test(is_opened_again_when_the_last_one_is_gone),
        cmocka_unit_test(does_not_start_what_is_not_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
