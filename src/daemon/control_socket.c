#include "control.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

void control_path(const char *wanted, char *path, size_t size)
{
    const char *named = wanted != NULL ? wanted : getenv("LUGMARK_SOCKET");
    const char *run = getenv("XDG_RUNTIME_DIR");
    if (named != NULL && named[0] != '\0') {
        snprintf(path, size, "%s", named);
    } else if (run != NULL && run[0] == '/') {
        snprintf(path, size, "%s/lugmark.sock", run);
    } else {
        snprintf(path, size, "/run/lugmark/control.sock");
    }
}

static enum lm_err system_problem(struct lm_problem *p, const char *path, const char *doing)
{
    int error = errno;
    snprintf(p->file, sizeof p->file, "%s", path);
    return lm_problem_set(p, LM_EIO,
        "check that its folder is there and may be written to, or name another with --socket",
        "%s: %s", doing, strerror(error));
}

/* Take away what is left of a daemon that died; never anything that answers or is no socket. */
static enum lm_err clear_stale(
    const struct sockaddr_un *at, const char *path, int fd, struct lm_problem *p)
{
    struct stat sb;
    if (lstat(path, &sb) != 0) {
        return errno == ENOENT ? LM_OK : system_problem(p, path, "looking for the control socket");
    }
    snprintf(p->file, sizeof p->file, "%s", path);
    if (!S_ISSOCK(sb.st_mode)) {
        return lm_problem_set(p, LM_EBUSY, "name another path with --socket",
            "there is something else where the control socket should be");
    }
    if (connect(fd, (const struct sockaddr *) at, sizeof *at) == 0) {
        return lm_problem_set(p, LM_EBUSY,
            "stop it first, or give this one its own --socket and --db",
            "a lugmarkd is at work here already");
    }
    if (errno == ENOENT) {
        return LM_OK;
    }
    if (errno != ECONNREFUSED) {
        return system_problem(p, path, "asking who has the control socket");
    }
    return unlink(path) == 0 || errno == ENOENT
               ? LM_OK
               : system_problem(p, path, "taking a stale control socket away");
}

static int new_socket(void)
{
    return socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
}

static enum lm_err bind_and_listen(
    int fd, const struct sockaddr_un *at, const char *path, struct lm_problem *p)
{
    mode_t before = umask(0117); /* 0660 from its first moment on */
    int bound = bind(fd, (const struct sockaddr *) at, sizeof *at);
    umask(before);
    if (bound != 0) {
        return system_problem(p, path, "making the control socket");
    }
    return listen(fd, 64) == 0 ? LM_OK : system_problem(p, path, "listening on the control socket");
}

int control_socket(const char *wanted, char *path, size_t size, struct lm_problem *p)
{
    struct sockaddr_un at = {.sun_family = AF_UNIX};
    control_path(wanted, path, size);
    size_t len = strlen(path);
    if (len >= sizeof at.sun_path) {
        snprintf(p->file, sizeof p->file, "%s", path);
        lm_problem_set(p, LM_EARG, "choose a shorter one with --socket",
            "a path of more than %zu bytes cannot be a socket", sizeof at.sun_path - 1);
        return -1;
    }
    memcpy(at.sun_path, path, len + 1);
    int probe = new_socket();
    int fd = new_socket();
    enum lm_err err = probe < 0 || fd < 0 ? system_problem(p, path, "making a socket")
                                          : clear_stale(&at, path, probe, p);
    if (err == LM_OK) {
        err = bind_and_listen(fd, &at, path, p);
    }
    if (probe >= 0) {
        close(probe);
    }
    if (err != LM_OK && fd >= 0) {
        close(fd);
    }
    return err == LM_OK ? fd : -1;
}
