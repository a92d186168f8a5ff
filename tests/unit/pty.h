/** @file pty.h
 * A pseudo-terminal for tests: the master is the reader, the slave's node is the port.
 */
#ifndef TESTS_PTY_H
#define TESTS_PTY_H

#include <dirent.h>
#include <fcntl.h>
#include <poll.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>
#include <cmocka.h>

struct pty {
    int master; /**< -1 once it was unplugged */
    char path[64];
};

static inline struct pty pty_open(void)
{
    struct pty pty;
    pty.master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(pty.master >= 0);
    assert_int_equal(grantpt(pty.master), 0);
    assert_int_equal(unlockpt(pty.master), 0);
    assert_int_equal(ptsname_r(pty.master, pty.path, sizeof pty.path), 0);
    return pty;
}

static inline void pty_unplug(struct pty *pty)
{
    if (pty->master >= 0)
        close(pty->master);
    pty->master = -1;
}

static inline void pty_say(const struct pty *pty, const char *bytes)
{
    size_t len = strlen(bytes);
    assert_int_equal(write(pty->master, bytes, len), len);
}

/** Wait until a descriptor is readable or hung up; a test that waits for ever fails instead. */
static inline void pty_wait(int fd)
{
    struct pollfd p = {.fd = fd, .events = POLLIN};
    assert_int_equal(poll(&p, 1, 5000), 1);
}

/** How many descriptors this process has open. */
static inline int pty_open_fds(void)
{
    int n = 0;
    DIR *dir = opendir("/proc/self/fd");
    assert_non_null(dir);
    while (readdir(dir) != NULL)
        n++;
    closedir(dir);
    return n;
}

#endif
