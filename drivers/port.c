/** @file port.c
 * One serial port: finding the node, keeping others off it, reading and writing.
 */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "port_impl.h"

/** Fastest line taken, bits per second: what the fastest USB bridges do. */
#define BAUD_MAX 4000000u
#define BAUD_MIN 50u

enum lm_err lm_line_parse(const char *text, struct lm_line *line)
{
    uint32_t baud = 0;
    while (*text == ' ')
        text++;
    for (; *text >= '0' && *text <= '9'; text++) {
        baud = baud * 10 + (uint32_t) (*text - '0');
        if (baud > BAUD_MAX)
            return LM_EFRAME;
    }
    if (baud < BAUD_MIN || *text != ' ')
        return LM_EFRAME;
    while (*text == ' ')
        text++;
    if (text[0] < '5' || text[0] > '8' || text[1] == '\0' || !strchr("NEOneo", text[1]) ||
        (text[2] != '1' && text[2] != '2'))
        return LM_EFRAME;
    struct lm_line parsed = {.baud = baud,
        .bits = (uint8_t) (text[0] - '0'),
        .parity = (char) (text[1] & ~0x20),
        .stop = (uint8_t) (text[2] - '0')};
    for (text += 3; *text != '\0'; text++) {
        if (*text != ' ')
            return LM_EFRAME;
    }
    *line = parsed;
    return LM_OK;
}

/** Resolve the link, and refuse what is no device before anything is opened. */
static enum lm_err find_node(const char *path, char real[PATH_MAX], struct lm_problem *p)
{
    struct stat node;
    if (realpath(path, real) == NULL || stat(real, &node) != 0)
        return lm_port_why(path, errno, p);
    return S_ISCHR(node.st_mode) ? LM_OK : lm_port_why(path, ENOTTY, p);
}

/**
 * Open the node and lock it, before anybody changes its settings.
 * Neither kind of lock is enough alone. flock() binds only programs that ask for it, but it holds
 * against root and is seen by a second lugmark. TIOCEXCL, set once the port is open, keeps out
 * every program, but not root's.
 */
static enum lm_err take_guard(struct lm_port *port, struct lm_problem *p)
{
    port->guard = open(port->path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (port->guard < 0)
        return lm_port_why(port->path, errno, p);
    struct termios found;
    if (tcgetattr(port->guard, &found) != 0)
        return lm_port_why(port->path, errno, p); /* ENOTTY: some other kind of device */
    if (flock(port->guard, LOCK_EX | LOCK_NB) != 0)
        return lm_port_why(port->path, errno, p);
    port->found_cflag = found.c_cflag;
    return LM_OK;
}

static enum lm_err set_up(
    struct lm_port *port, const char *path, const struct lm_line *line, struct lm_problem *p)
{
    bool refused = false;
    enum lm_err err = lm_port_native_open(port, path, line, &refused, p);
    if (err == LM_OK && refused) {
        port->fd = port->guard;
        port->guard = -1;
        err = lm_port_tty_set(port->fd, line, p);
    }
    if (err != LM_OK)
        return err;
    if (ioctl(port->fd, TIOCEXCL) != 0)
        return lm_port_why(port->path, errno, p);
    port->exclusive = true;
    /* Bytes from before the line was set are noise; those of a reader that was read by nobody are
     * of an animal that is no longer there. */
    if (tcflush(port->fd, TCIFLUSH) != 0)
        return lm_port_why(port->path, errno, p);
    return LM_OK;
}

enum lm_err lm_port_open(
    const char *path, const struct lm_line *line, struct lm_port **port, struct lm_problem *p)
{
    *port = NULL;
    struct lm_port *made = calloc(1, sizeof *made);
    if (made == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    made->fd = -1;
    made->guard = -1;
    enum lm_err err = find_node(path, made->path, p);
    if (err == LM_OK)
        err = take_guard(made, p);
    if (err == LM_OK)
        err = set_up(made, path, line, p);
    if (err != LM_OK) {
        lm_port_close(made);
        return err;
    }
    *port = made;
    return LM_OK;
}

void lm_port_close(struct lm_port *port)
{
    if (port == NULL)
        return;
    /* TIOCEXCL stays with a tty that somebody else has open, and would lock the next one out. */
    if (port->exclusive)
        (void) ioctl(port->fd, TIOCNXCL);
    lm_port_native_close(port);
    if (port->fd >= 0)
        close(port->fd);
    if (port->guard >= 0)
        close(port->guard);
    free(port);
}

int lm_port_fd(const struct lm_port *port)
{
    return port->fd;
}

const char *lm_port_path(const struct lm_port *port)
{
    return port->path;
}

bool lm_port_is_native(const struct lm_port *port)
{
    return port->native != NULL;
}

long lm_port_read(struct lm_port *port, uint8_t *buf, size_t size)
{
    if (size == 0)
        return 0;
    ssize_t n = read(port->fd, buf, size);
    if (n > 0)
        return n;
    if (n < 0 && (errno == EAGAIN || errno == EINTR)) {
        struct pollfd now = {.fd = port->fd, .events = POLLIN};
        bool gone = poll(&now, 1, 0) > 0 && (now.revents & (POLLHUP | POLLERR | POLLNVAL)) != 0 &&
                    (now.revents & POLLIN) == 0;
        return gone ? LM_EGONE : 0;
    }
    return LM_EGONE;
}

enum lm_err lm_port_write(struct lm_port *port, const uint8_t *buf, size_t len)
{
    ssize_t n = write(port->fd, buf, len);
    if (n >= 0 && (size_t) n == len)
        return LM_OK;
    /* Half a command is no command: the caller sends it again, and the reader sees the new start.
     */
    if (n >= 0 || errno == EAGAIN || errno == EINTR)
        return LM_EAGAIN;
    return LM_EGONE;
}
