/* Who has a busy port: found by its lock, else by its open files, else not at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <fcntl.h>
#include <signal.h>
#include <string.h>
#include <sys/file.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "drivers/port_impl.h"
#include "pty.h"

/** A process that has a tty open, and locked if @p lock, under a name of its own. */
static pid_t holder(const char *path, bool lock, const char *name)
{
    int ready[2];
    char byte = 0;
    assert_int_equal(pipe(ready), 0);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL); /* a check that fails leaves nobody behind */
        int fd = open(path, O_RDWR | O_NOCTTY);
        bool good = fd >= 0 && prctl(PR_SET_NAME, name) == 0 && (!lock || flock(fd, LOCK_EX) == 0);
        if (!good || write(ready[1], &byte, 1) != 1)
            _exit(1);
        pause();
        _exit(0);
    }
    close(ready[1]);
    assert_int_equal(read(ready[0], &byte, 1), 1);
    close(ready[0]);
    return pid;
}

static void let_go(pid_t pid)
{
    assert_int_equal(kill(pid, SIGKILL), 0);
    assert_int_equal(waitpid(pid, NULL, 0), pid);
}

static void expect(const char *path, const char *name, pid_t pid)
{
    char who[96], want[96] = "";
    if (name != NULL)
        snprintf(want, sizeof want, "%s (process %ld)", name, (long) pid);
    lm_port_who(path, who, sizeof who);
    assert_string_equal(who, want);
}

static void by_its_lock(void **state)
{
    (void) state;
    struct pty pty = pty_open();
    pid_t idle = holder(pty.path, false, "onlooker"); /* the one with the lock is the one to name */
    pid_t pid = holder(pty.path, true, "reading");
    expect(pty.path, "reading", pid);
    let_go(pid);
    expect(pty.path, "onlooker", idle);
    let_go(idle);
    expect(pty.path, NULL, 0);
    pty_unplug(&pty);
}

static void by_its_open_file(void **state)
{
    (void) state;
    struct pty one = pty_open(), two = pty_open();
    pid_t pid = holder(two.path, false, "quiet one");
    expect(two.path, "quiet one", pid);
    expect(one.path, NULL, 0);
    let_go(pid);
    pty_unplug(&one);
    pty_unplug(&two);
}

static void a_name_of_any_bytes(void **state)
{
    (void) state;
    struct pty pty = pty_open();
    pid_t pid = holder(pty.path, true, "a\033[2J\xff\xc3) (b");
    expect(pty.path,
        "a?[2J?"
        "?) (b",
        pid);
    let_go(pid);
    pty_unplug(&pty);
}

static void we_ourselves(void **state)
{
    (void) state;
    struct pty pty = pty_open();
    char who[96];
    int fd = open(pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    expect(pty.path, NULL, 0); /* open, but not by another: nothing to tell anybody */
    assert_int_equal(flock(fd, LOCK_EX | LOCK_NB), 0);
    lm_port_who(pty.path, who, sizeof who);
    assert_string_equal(who, "another reader of this same program");
    close(fd);
    pty_unplug(&pty);
}

static void what_is_not_there(void **state)
{
    (void) state;
    char who[8] = "before";
    lm_port_who("/tmp/lugmark-there-is-none", who, sizeof who);
    assert_string_equal(who, "");
    struct pty pty = pty_open();
    pid_t pid = holder(pty.path, true, "a long name");
    lm_port_who(pty.path, who, sizeof who); /* cut, never written past its end */
    assert_string_equal(who, "a long ");
    let_go(pid);
    pty_unplug(&pty);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_its_lock),
        cmocka_unit_test(by_its_open_file),
        cmocka_unit_test(a_name_of_any_bytes),
        cmocka_unit_test(we_ourselves),
        cmocka_unit_test(what_is_not_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
