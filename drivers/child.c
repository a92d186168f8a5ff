/** @file child.c
 * Running a program beside the loop: posix_spawn, pipes, a process group, and its end.
 */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/pidfd.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "child.h"

/** What SIGKILL is given before it is let be: only a process stuck in the kernel needs longer. */
#define KILL_MS 1000
#define POLL_MS 20

int64_t child_now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

void child_init(struct child *c)
{
    *c = (struct child){.watch = -1, .out = -1, .err = -1, .ending = -1};
}

static void close_one(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

static void close_all(struct child *c)
{
    close_one(&c->watch); /* before what it watches */
    close_one(&c->out);
    close_one(&c->err);
    close_one(&c->ending);
}

/* --- start --- */

/** A fresh program's signals: the daemon ignores some, and ignoring is inherited. */
static int set_attributes(posix_spawnattr_t *attr)
{
    sigset_t all, none;
    sigfillset(&all);
    sigemptyset(&none);
    int bad = posix_spawnattr_setsigdefault(attr, &all);
    if (bad == 0)
        bad = posix_spawnattr_setsigmask(attr, &none);
    if (bad == 0)
        bad = posix_spawnattr_setpgroup(attr, 0);
    return bad != 0 ? bad
                    : posix_spawnattr_setflags(attr,
                          POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETPGROUP);
}

static int set_actions(
    posix_spawn_file_actions_t *actions, const char *dir, int out_end, int err_end)
{
    int bad = posix_spawn_file_actions_addopen(actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    if (bad == 0)
        bad = posix_spawn_file_actions_adddup2(actions, out_end, STDOUT_FILENO);
    if (bad == 0)
        bad = posix_spawn_file_actions_adddup2(actions, err_end, STDERR_FILENO);
    if (bad == 0)
        bad = posix_spawn_file_actions_addclosefrom_np(actions, STDERR_FILENO + 1);
    if (bad == 0 && dir[0] != '\0')
        bad = posix_spawn_file_actions_addchdir_np(actions, dir);
    return bad;
}

static int spawn(struct child *c, char *const argv[], const char *dir, int out_end, int err_end)
{
    posix_spawnattr_t attr;
    posix_spawn_file_actions_t actions;
    int bad = posix_spawnattr_init(&attr);
    if (bad != 0)
        return bad;
    bad = posix_spawn_file_actions_init(&actions);
    if (bad == 0) {
        bad = set_attributes(&attr);
        if (bad == 0)
            bad = set_actions(&actions, dir, out_end, err_end);
        if (bad == 0)
            bad = posix_spawnp(&c->pid, argv[0], &actions, &attr, argv, environ);
        posix_spawn_file_actions_destroy(&actions);
    }
    posix_spawnattr_destroy(&attr);
    if (bad != 0)
        c->pid = 0;
    return bad;
}

/** A pipe whose reading end does not block; the writing end, the program's, does. */
static int make_pipe(int *read_end, int *write_end)
{
    int ends[2];
    if (pipe2(ends, O_CLOEXEC) != 0)
        return errno;
    *read_end = ends[0];
    *write_end = ends[1];
    return fcntl(ends[0], F_SETFL, O_NONBLOCK) == 0 ? 0 : errno;
}

static int add_watch(struct child *c, int fd)
{
    struct epoll_event readable = {.events = EPOLLIN};
    return epoll_ctl(c->watch, EPOLL_CTL_ADD, fd, &readable) == 0 ? 0 : errno;
}

static int watch(struct child *c)
{
    c->watch = epoll_create1(EPOLL_CLOEXEC);
    if (c->watch < 0)
        return errno;
    c->ending = pidfd_open(c->pid, 0); /* close-on-exec; without it the end is polled for */
    int bad = add_watch(c, c->out);
    if (bad == 0)
        bad = add_watch(c, c->err);
    if (bad == 0 && c->ending >= 0)
        bad = add_watch(c, c->ending);
    return bad;
}

static enum lm_err cannot(int why, const char *name, const char *dir, struct lm_problem *p)
{
    if (dir[0] != '\0' && access(dir, X_OK) != 0)
        return lm_problem_set(p, errno == ENOENT ? LM_ENOTFOUND : LM_EIO,
            "correct the reader's dir", "the folder %.200s: %s", dir, strerror(errno));
    if (why == ENOENT || why == ENOTDIR)
        return lm_problem_set(p, LM_ENOTFOUND,
            "correct the reader's command, or install the program", "there is no program %.200s",
            name);
    if (why == EACCES)
        return lm_problem_set(p, LM_EIO, "make it executable (chmod +x), for the daemon's user too",
            "%.200s may not be run", name);
    if (why == ENOEXEC)
        return lm_problem_set(p, LM_EIO, "begin a script with a line such as #!/usr/bin/python3",
            "%.200s is no program", name);
    return lm_problem_set(p, LM_EIO, NULL, "starting %.200s: %s", name, strerror(why));
}

enum lm_err child_start(struct child *c, char *const argv[], const char *dir, struct lm_problem *p)
{
    int out_end = -1, err_end = -1;
    child_init(c);
    int bad = make_pipe(&c->out, &out_end);
    if (bad == 0)
        bad = make_pipe(&c->err, &err_end);
    if (bad == 0)
        bad = spawn(c, argv, dir, out_end, err_end);
    close_one(&out_end);
    close_one(&err_end);
    if (bad != 0) {
        close_all(c);
        return cannot(bad, argv[0], dir, p);
    }
    bad = watch(c);
    if (bad != 0) {
        child_ask(c);
        return lm_problem_set(p, LM_EIO, NULL, "watching %.200s: %s", argv[0], strerror(bad));
    }
    return LM_OK;
}

/* --- end --- */

bool child_has_ended(struct child *c)
{
    siginfo_t info = {0};
    if (c->pid == 0 || c->ended)
        return true;
    if (waitid(P_PID, (id_t) c->pid, &info, WEXITED | WNOHANG | WNOWAIT) != 0 || info.si_pid == 0)
        return false;
    c->ended = true;
    c->code = info.si_code;
    c->value = info.si_status;
    return true;
}

void child_ask(struct child *c)
{
    if (c->pid == 0)
        return;
    if (c->asked_ms == 0) {
        kill(-c->pid, SIGTERM);
        c->asked_ms = child_now_ms();
    }
    close_one(&c->watch);
    close_one(&c->out);
    close_one(&c->err);
}

bool child_is_gone(struct child *c)
{
    if (c->pid == 0)
        return true;
    bool ended = child_has_ended(c);
    if (!ended && child_now_ms() - c->asked_ms < CHILD_GRACE_MS)
        return false;
    kill(-c->pid, SIGKILL); /* it, or what it started and left behind */
    if (waitpid(c->pid, NULL, WNOHANG) != c->pid)
        return false;
    close_all(c);
    child_init(c);
    return true;
}

void child_end(struct child *c)
{
    child_ask(c);
    int64_t last = child_now_ms() + CHILD_GRACE_MS + KILL_MS;
    while (!child_is_gone(c) && child_now_ms() < last) {
        struct pollfd end = {.fd = c->ending, .events = POLLIN};
        (void) poll(&end, c->ending >= 0 ? 1 : 0, POLL_MS);
    }
}

void child_how(const struct child *c, char *out, size_t size)
{
    if (!c->ended) {
        snprintf(out, size, "closed its standard output");
        return;
    }
    if (c->code == CLD_EXITED) {
        snprintf(out, size, "ended with exit status %d", c->value);
        return;
    }
    const char *name = sigdescr_np(c->value);
    snprintf(out, size, "was ended by signal %d (%s)", c->value, name != NULL ? name : "unknown");
}
