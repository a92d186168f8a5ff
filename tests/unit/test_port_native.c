/** The port module with the real libserialport, on a pseudo-terminal.
 *
 * Two things stand in its way there, and both are got round: it wants the port in sysfs, so the
 * name leads from both /dev and /sys/class/tty to one symbolic link; and it wants modem lines,
 * which ioctl_shim.c plays.
 */
#include "pty.h"
#include "ioctl_shim.h"

#include <sys/ioctl.h>

#include "lugmark/port.h"

static const struct lm_line usual = {9600, 8, 'N', 1};

/** A pty with a name that passes libserialport. */
struct fixture {
    struct pty pty;
    char dir[32];
    char link[64];
    char name[96];
};

static int set_up(void **state)
{
    static struct fixture f;
    f.pty = pty_open();
    snprintf(f.dir, sizeof f.dir, "/tmp/lugmark-native-XXXXXX");
    assert_non_null(mkdtemp(f.dir));
    snprintf(f.link, sizeof f.link, "%s/vtty0", f.dir);
    snprintf(f.name, sizeof f.name, "/dev/../../..%s", f.link);
    assert_int_equal(symlink(f.pty.path, f.link), 0);
    ioctl_shim_modem_lines(true, 0);
    *state = &f;
    return 0;
}

static int tear_down(void **state)
{
    struct fixture *f = *state;
    ioctl_shim_modem_lines(false, 0);
    pty_unplug(&f->pty);
    unlink(f->link);
    rmdir(f->dir);
    return 0;
}

static struct lm_port *must_open(const struct fixture *f, const struct lm_line *line)
{
    struct lm_problem problem = {0};
    struct lm_port *port = NULL;
    if (lm_port_open(f->name, line, &port, &problem) != LM_OK)
        fail_msg("%s: %s", f->name, problem.what);
    return port;
}

static void test_is_native(void **state)
{
    const struct fixture *f = *state;
    int before = pty_open_fds();
    struct lm_port *port = must_open(f, &usual);
    assert_true(lm_port_is_native(port));
    assert_string_equal(lm_port_path(port), f->pty.path);
    assert_int_equal(pty_open_fds(), before + 1);
    int fd = lm_port_fd(port);
    assert_int_equal(fcntl(fd, F_GETFD), FD_CLOEXEC);
    assert_true((fcntl(fd, F_GETFL) & O_NONBLOCK) != 0);
    lm_port_close(port);
    assert_int_equal(pty_open_fds(), before);
}

/** The kernel's own view of the line: it knows speeds that termios has no constant for. */
struct kernel_termios2 {
    unsigned iflag, oflag, cflag, lflag;
    unsigned char line, cc[19];
    unsigned ispeed, ospeed;
};

static void test_line(void **state)
{
    const struct fixture *f = *state;
    static const uint32_t bauds[] = {9600, 115200, 123456};
    for (size_t i = 0; i < sizeof bauds / sizeof bauds[0]; i++) {
        const struct lm_line line = {bauds[i], 8, 'N', i % 2 == 0 ? 1 : 2};
        struct lm_port *port = must_open(f, &line);
        struct kernel_termios2 k;
        assert_true(lm_port_is_native(port));
        assert_int_equal(ioctl(lm_port_fd(port), _IOR('T', 0x2A, struct kernel_termios2), &k), 0);
        assert_int_equal(k.ospeed, bauds[i]);
        assert_int_equal(k.ispeed, bauds[i]);
        assert_int_equal(k.cflag & CSIZE, CS8);
        assert_int_equal((k.cflag & CSTOPB) != 0, line.stop == 2);
        assert_true((k.cflag & (CLOCAL | CREAD)) == (CLOCAL | CREAD));
        assert_int_equal(k.lflag & (ICANON | ECHO | ISIG | IEXTEN), 0);
        assert_int_equal(k.iflag & (IXON | IXOFF | ICRNL | INLCR | IGNCR | ISTRIP), 0);
        assert_int_equal(k.cc[VMIN], 1);
        lm_port_close(port);
    }
}

/** What libserialport 0.1.1 gets wrong or changes behind our back. */
static void test_left_as_found(void **state)
{
    const struct fixture *f = *state;
    for (int hupcl = 0; hupcl <= 1; hupcl++) {
        int other = open(f->pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
        struct termios t;
        assert_int_equal(tcgetattr(other, &t), 0);
        t.c_cflag |= CRTSCTS;
        t.c_cflag = hupcl ? t.c_cflag | HUPCL : t.c_cflag & ~(tcflag_t) HUPCL;
        assert_int_equal(tcsetattr(other, TCSANOW, &t), 0);
        struct lm_port *port = must_open(f, &usual);
        assert_true(lm_port_is_native(port));
        assert_int_equal(tcgetattr(lm_port_fd(port), &t), 0);
        assert_int_equal(t.c_cflag & CRTSCTS, 0);
        assert_int_equal((t.c_cflag & HUPCL) != 0, hupcl);
        lm_port_close(port);
        close(other);
    }
}

/** Readers are reset or powered by these lines: opening and closing must not move them. */
static void test_modem_lines(void **state)
{
    const struct fixture *f = *state;
    static const int found[] = {0, TIOCM_DTR, TIOCM_RTS, TIOCM_DTR | TIOCM_RTS};
    for (size_t i = 0; i < sizeof found / sizeof found[0]; i++) {
        ioctl_shim_modem_lines(true, found[i]);
        struct lm_port *port = must_open(f, &usual);
        assert_true(lm_port_is_native(port));
        assert_int_equal(ioctl_shim_lines(), found[i]);
        lm_port_close(port);
        assert_int_equal(ioctl_shim_lines(), found[i]);
    }
}

static void test_settings_it_cannot_have(void **state)
{
    const struct fixture *f = *state;
    const struct lm_line line = {9600, 7, 'E', 1};
    struct lm_problem problem = {0};
    struct lm_port *port = NULL;
    int before = pty_open_fds();
    assert_int_equal(lm_port_open(f->name, &line, &port, &problem), LM_ENOSUP);
    assert_null(port);
    assert_non_null(strstr(problem.what, "7E1"));
    assert_int_equal(pty_open_fds(), before);
    lm_port_close(must_open(f, &usual));
}

static void test_data_and_hang_up(void **state)
{
    struct fixture *f = *state;
    uint8_t buf[64];
    pty_say(&f->pty, "stale\r");
    struct lm_port *port = must_open(f, &usual);
    assert_true(lm_port_is_native(port));
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0);
    pty_say(&f->pty, "999000000012345\r\n");
    pty_wait(lm_port_fd(port));
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 17);
    assert_memory_equal(buf, "999000000012345\r\n", 17);
    tcflush(f->pty.master, TCIFLUSH); /* the echo of what came before the port was open */
    assert_int_equal(lm_port_write(port, (const uint8_t *) "ask\r", 4), LM_OK);
    pty_wait(f->pty.master);
    assert_int_equal(read(f->pty.master, buf, sizeof buf), 4);
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 0);
    pty_unplug(&f->pty);
    pty_wait(lm_port_fd(port));
    assert_int_equal(lm_port_read(port, buf, sizeof buf), LM_EGONE);
    assert_int_equal(lm_port_write(port, (const uint8_t *) "x", 1), LM_EGONE);
    lm_port_close(port);
}

static void test_exclusive(void **state)
{
    const struct fixture *f = *state;
    struct lm_problem problem = {0};
    struct lm_port *port = must_open(f, &usual), *second = NULL;
    int locked = 0;
    assert_true(lm_port_is_native(port));
    assert_int_equal(ioctl(lm_port_fd(port), TIOCGEXCL, &locked), 0);
    assert_true(locked != 0);
    int before = pty_open_fds();
    assert_int_equal(lm_port_open(f->name, &usual, &second, &problem), LM_EBUSY);
    assert_int_equal(lm_port_open(f->pty.path, &usual, &second, &problem), LM_EBUSY);
    assert_int_equal(pty_open_fds(), before);
    lm_port_close(port);
    lm_port_close(must_open(f, &usual));
}

/** Without modem lines libserialport finds the port but cannot open it: termios does. */
static void test_falls_back(void **state)
{
    struct fixture *f = *state;
    ioctl_shim_modem_lines(false, 0);
    int before = pty_open_fds();
    struct lm_port *port = must_open(f, &usual), *second = NULL;
    assert_false(lm_port_is_native(port));
    assert_int_equal(pty_open_fds(), before + 1);
    assert_int_equal(lm_port_open(f->name, &usual, &second, NULL), LM_EBUSY);
    uint8_t buf[8];
    pty_say(&f->pty, "x\r");
    pty_wait(lm_port_fd(port));
    assert_int_equal(lm_port_read(port, buf, sizeof buf), 2);
    lm_port_close(port);
    assert_int_equal(pty_open_fds(), before);
}

/** What a pseudo-terminal cannot be set to is said, and nothing stays open. */
static void test_lines_it_has_not(void **state)
{
    const struct fixture *f = *state;
    static const struct {
        struct lm_line line;
        const char *words;
    } rows[] = {{{9600, 8, 'O', 1}, "8O1"}, {{9600, 8, 'E', 1}, "8E1"}, {{9600, 7, 'N', 1}, "7N1"},
        {{9600, 9, 'N', 1}, "9N1"}, {{9600, 8, 'N', 3}, "8N3"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct lm_problem problem = {0};
        struct lm_port *port = NULL;
        int before = pty_open_fds();
        assert_int_equal(lm_port_open(f->name, &rows[i].line, &port, &problem), LM_ENOSUP);
        assert_null(port);
        if (strstr(problem.what, rows[i].words) == NULL)
            fail_msg("%s: %s", rows[i].words, problem.what);
        assert_true(problem.mend[0] != '\0');
        assert_int_equal(pty_open_fds(), before);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_is_native, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_line, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_lines_it_has_not, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_left_as_found, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_modem_lines, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_settings_it_cannot_have, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_data_and_hang_up, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_exclusive, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_falls_back, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
