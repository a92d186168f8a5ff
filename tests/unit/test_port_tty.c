/** The port module on a pseudo-terminal, without libserialport's consent: the termios part. */
#include "pty.h"

#include <errno.h>
#include <grp.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/prctl.h>
#include <sys/stat.h>

#include "lugmark/port.h"

static const struct lm_line usual = {9600, 8, 'N', 1};

enum { NOBODY = 65534 };

static struct lm_port *must_open(const char *path)
{
    struct lm_problem problem = {0};
    struct lm_port *port = NULL;
    if (lm_port_open(path, &usual, &port, &problem) != LM_OK)
        fail_msg("%s: %s", path, problem.what);
    assert_non_null(port);
    return port;
}

/** Open, expect a failure, and check that it says which path and what to do, and leaks nothing. */
static struct lm_problem must_fail(const char *path, const struct lm_line *line, enum lm_err want)
{
    struct lm_problem problem = {0};
    struct lm_port *port = (struct lm_port *) &problem;
    int before = pty_open_fds();
    enum lm_err err = lm_port_open(path, line, &port, &problem);
    if (err != want)
        fail_msg("%s: want %d, got %d: %s", path, want, err, problem.what);
    assert_null(port);
    assert_int_equal(problem.err, want);
    assert_true(problem.what[0] != '\0' && problem.mend[0] != '\0');
    assert_int_equal(pty_open_fds(), before);
    return problem;
}

/** Root passes every check that these tests are about: be nobody for a while. Else do nothing. */
static bool drop_root(void)
{
    if (geteuid() != 0)
        return false;
    assert_int_equal(setgroups(0, NULL), 0);
    assert_int_equal(setegid(NOBODY), 0);
    assert_int_equal(seteuid(NOBODY), 0);
    return true;
}

static void take_root(bool dropped)
{
    if (!dropped)
        return;
    assert_int_equal(seteuid(0), 0);
    assert_int_equal(setegid(0), 0);
    /* A change of user makes a process untraceable, and the leak check traces it at the end. */
    assert_int_equal(prctl(PR_SET_DUMPABLE, 1), 0);
}

static void test_line_parse(void **unused)
{
    (void) unused;
    static const struct {
        const char *text;
        struct lm_line want;
    } good[] = {{"9600 8N1", {9600, 8, 'N', 1}}, {"  115200   7e2 ", {115200, 7, 'E', 2}},
        {"4000000 5o1", {4000000, 5, 'O', 1}}, {"50 6E1", {50, 6, 'E', 1}}};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct lm_line line = {0};
        assert_int_equal(lm_line_parse(good[i].text, &line), LM_OK);
        assert_int_equal(line.baud, good[i].want.baud);
        assert_int_equal(line.bits, good[i].want.bits);
        assert_int_equal(line.parity, good[i].want.parity);
        assert_int_equal(line.stop, good[i].want.stop);
    }
    static const char *const bad[] = {"", "9600", "9600 ", "9600 8", "9600 8N", "9600 8N3",
        "9600 9N1", "9600 4N1", "9600 8M1", "9600 8N1x", "9600 8N1 x", "96008N1", "-9600 8N1",
        "49 8N1", "4000001 8N1", "99999999999999999999 8N1", "9600\t8N1", "x 8N1", " 8N1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct lm_line line = {1, 2, 'x', 3};
        if (lm_line_parse(bad[i], &line) != LM_EFRAME)
            fail_msg("'%s' was taken", bad[i]);
        assert_int_equal(line.baud, 1); /* untouched */
    }
}

static void test_settings(void **unused)
{
    (void) unused;
    static const struct {
        struct lm_line line;
        speed_t speed;
        tcflag_t flags;
    } rows[] = {{{9600, 8, 'N', 1}, B9600, CS8}, {{115200, 8, 'N', 2}, B115200, CS8 | CSTOPB},
        {{300, 8, 'N', 1}, B300, CS8}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct pty pty = pty_open();
        struct lm_port *port = NULL;
        struct termios t;
        assert_int_equal(lm_port_open(pty.path, &rows[i].line, &port, NULL), LM_OK);
        assert_int_equal(tcgetattr(lm_port_fd(port), &t), 0);
        assert_int_equal(cfgetispeed(&t), rows[i].speed);
        assert_int_equal(cfgetospeed(&t), rows[i].speed);
        assert_int_equal(t.c_cflag & (CSIZE | CSTOPB | PARENB), rows[i].flags);
        assert_true((t.c_cflag & (CLOCAL | CREAD)) == (CLOCAL | CREAD));
        assert_int_equal(t.c_lflag & (ICANON | ECHO | ISIG | IEXTEN), 0);
        assert_int_equal(t.c_iflag & (IXON | IXOFF | ICRNL | INLCR | IGNCR | ISTRIP), 0);
        assert_int_equal(t.c_oflag & OPOST, 0);
        assert_int_equal(t.c_cc[VMIN], 1);
        int flags = fcntl(lm_port_fd(port), F_GETFL);
        assert_true((flags & O_NONBLOCK) != 0);
        assert_int_equal(fcntl(lm_port_fd(port), F_GETFD), FD_CLOEXEC);
        assert_false(lm_port_is_native(port));
        assert_string_equal(lm_port_path(port), pty.path);
        lm_port_close(port);
        pty_unplug(&pty);
    }
}

static void test_settings_it_cannot_have(void **unused)
{
    (void) unused;
    static const struct lm_line bad[] = {
        {9600, 7, 'E', 1}, {9600, 7, 'N', 1}, {9600, 8, 'O', 1}, {12345, 8, 'N', 1}};
    struct pty pty = pty_open();
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        must_fail(pty.path, &bad[i], LM_ENOSUP);
    lm_port_close(must_open(pty.path)); /* and what failed holds nothing */
    pty_unplug(&pty);
}

static void test_data(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct lm_port *port = must_open(pty.path);
    uint8_t buf[64];
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0); /* silence */
    pty_say(&pty, "\x02"
                  "999\r\n\xff\x11\x13\x03\x04\x7f");
    pty_wait(lm_port_fd(port));
    assert_int_equal(lm_port_read(port, buf, 5), 5); /* never more than was asked for */
    assert_memory_equal(buf,
        "\x02"
        "999\r",
        5);
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 7);
    assert_memory_equal(buf, "\n\xff\x11\x13\x03\x04\x7f", 7);
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0);
    assert_int_equal(lm_port_read(port, buf, 0), 0);
    assert_int_equal(lm_port_write(port, (const uint8_t *) "ask\n", 4), LM_OK);
    pty_wait(pty.master);
    assert_int_equal(read(pty.master, buf, sizeof buf), 4);
    assert_memory_equal(buf, "ask\n", 4);
    lm_port_close(port);
    pty_unplug(&pty);
}

/** What a reader said before anybody listened belongs to an animal that has gone. */
static void test_flushed(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    uint8_t buf[64];
    pty_say(&pty, "stale\r");
    struct lm_port *port = must_open(pty.path);
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0);
    pty_say(&pty, "new\r");
    pty_wait(lm_port_fd(port));
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 4);
    lm_port_close(port);
    pty_unplug(&pty);
}

static void test_hang_up(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct lm_port *port = must_open(pty.path);
    uint8_t buf[64];
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0);
    pty_unplug(&pty);
    pty_wait(lm_port_fd(port));
    for (int i = 0; i < 3; i++)
        assert_int_equal(lm_port_read(port, buf, sizeof buf), LM_EGONE);
    assert_int_equal(lm_port_write(port, (const uint8_t *) "x", 1), LM_EGONE);
    lm_port_close(port);
    must_fail("/dev/pts/999999", &usual, LM_ENOTFOUND);
}

static void test_full_queue(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct lm_port *port = must_open(pty.path);
    static const uint8_t block[1000];
    enum lm_err err = LM_OK;
    for (int i = 0; i < 1000 && err == LM_OK; i++)
        err = lm_port_write(port, block, sizeof block);
    assert_int_equal(err, LM_EAGAIN);
    lm_port_close(port);
    pty_unplug(&pty);
}

static void test_exclusive(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    int before = pty_open_fds();
    struct lm_port *port = must_open(pty.path);
    int locked = 0;
    assert_int_equal(ioctl(lm_port_fd(port), TIOCGEXCL, &locked), 0);
    assert_true(locked != 0);
    must_fail(pty.path, &usual, LM_EBUSY);
    must_fail(pty.path, &usual, LM_EBUSY); /* failing did not unlock it */
    lm_port_close(port);
    assert_int_equal(pty_open_fds(), before);
    port = must_open(pty.path);
    lm_port_close(port);
    /* TIOCEXCL is taken back: it would stay while somebody else has the tty open. */
    int other = open(pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    port = must_open(pty.path);
    lm_port_close(port);
    assert_int_equal(ioctl(other, TIOCGEXCL, &locked), 0);
    assert_int_equal(locked, 0);
    close(other);
    pty_unplug(&pty);
}

/** Other programs' locks, of both kinds, are respected. */
static void test_others_locks(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    int other = open(pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(other >= 0);
    assert_int_equal(flock(other, LOCK_EX | LOCK_NB), 0);
    must_fail(pty.path, &usual, LM_EBUSY);
    assert_int_equal(flock(other, LOCK_UN), 0);
    /* TIOCEXCL does not bind root. */
    assert_int_equal(fchmod(other, 0666), 0);
    assert_int_equal(ioctl(other, TIOCEXCL), 0);
    bool dropped = drop_root();
    must_fail(pty.path, &usual, LM_EBUSY);
    take_root(dropped);
    close(other);
    pty_unplug(&pty);
}

static void test_permission(void **unused)
{
    (void) unused;
    struct pty pty = pty_open();
    struct stat node;
    assert_int_equal(chmod(pty.path, 0060), 0);
    assert_int_equal(stat(pty.path, &node), 0);
    const struct group *group = getgrgid(node.st_gid);
    assert_non_null(group);
    bool dropped = drop_root();
    struct lm_problem problem = must_fail(pty.path, &usual, LM_EIO);
    take_root(dropped);
    char want[100];
    snprintf(want, sizeof want, "add yourself to group %s ", group->gr_name);
    assert_non_null(strstr(problem.mend, want));
    assert_non_null(strstr(problem.what, pty.path));
    /* Where the group may not either, joining it would not help. */
    assert_int_equal(chmod(pty.path, 0020), 0);
    dropped = drop_root();
    problem = must_fail(pty.path, &usual, LM_EIO);
    take_root(dropped);
    assert_null(strstr(problem.mend, "add yourself"));
    assert_non_null(strstr(problem.mend, "udev"));
    pty_unplug(&pty);
}

static void test_what_is_no_port(void **unused)
{
    (void) unused;
    char dir[] = "/tmp/lugmark-port-XXXXXX";
    char file[64], pipe[64], dangling[64];
    assert_non_null(mkdtemp(dir));
    snprintf(file, sizeof file, "%s/file", dir);
    snprintf(pipe, sizeof pipe, "%s/pipe", dir);
    snprintf(dangling, sizeof dangling, "%s/dangling", dir);
    close(open(file, O_CREAT | O_WRONLY | O_CLOEXEC, 0600));
    assert_int_equal(mkfifo(pipe, 0600), 0);
    assert_int_equal(symlink("/dev/ttyNONE", dangling), 0);
    must_fail(file, &usual, LM_ENOSUP);
    must_fail(pipe, &usual, LM_ENOSUP); /* and is not waited for */
    must_fail(dir, &usual, LM_ENOSUP);
    must_fail("/dev/null", &usual, LM_ENOSUP);
    must_fail(dangling, &usual, LM_ENOTFOUND);
    must_fail("/tmp/lugmark-there-is-none", &usual, LM_ENOTFOUND);
    must_fail("/dev/null/x", &usual, LM_ENOTFOUND);
    must_fail("", &usual, LM_ENOTFOUND);
    unlink(file);
    unlink(pipe);
    unlink(dangling);
    rmdir(dir);
}

static void test_stable_link(void **unused)
{
    (void) unused;
    char dir[] = "/tmp/lugmark-port-XXXXXX";
    char link[64];
    struct pty pty = pty_open();
    assert_non_null(mkdtemp(dir));
    snprintf(link, sizeof link, "%s/front", dir);
    assert_int_equal(symlink(pty.path, link), 0);
    struct lm_port *port = must_open(link);
    assert_string_equal(lm_port_path(port), pty.path);
    must_fail(pty.path, &usual, LM_EBUSY); /* the lock is on the port, not on its name */
    lm_port_close(port);
    unlink(link);
    rmdir(dir);
    pty_unplug(&pty);
}

static void count_port(const char *path, const char *description, void *ctx)
{
    char *before = ctx;
    assert_int_equal(strncmp(path, "/dev/", 5), 0);
    assert_null(strstr(path, "/pts/"));
    assert_non_null(description);
    assert_true(strcmp(before, path) < 0); /* in order, none twice */
    snprintf(before, 256, "%s", path);
}

static void test_list(void **unused)
{
    (void) unused;
    char before[256] = "";
    int fds = pty_open_fds();
    assert_int_equal(lm_port_list(count_port, before), LM_OK);
    assert_int_equal(pty_open_fds(), fds);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_line_parse),
        cmocka_unit_test(test_settings),
        cmocka_unit_test(test_settings_it_cannot_have),
        cmocka_unit_test(test_data),
        cmocka_unit_test(test_flushed),
        cmocka_unit_test(test_hang_up),
        cmocka_unit_test(test_full_queue),
        cmocka_unit_test(test_exclusive),
        cmocka_unit_test(test_others_locks),
        cmocka_unit_test(test_permission),
        cmocka_unit_test(test_what_is_no_port),
        cmocka_unit_test(test_stable_link),
        cmocka_unit_test(test_list),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
