#include "rehearse_port.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static enum lm_err take_link(const char *target, const char *link, struct lm_problem *p)
{
    struct stat st;
    if (lstat(link, &st) == 0 && !S_ISLNK(st.st_mode))
        return lm_problem_set(p, LM_EEXISTS, "name a link that does not exist yet",
            "%s is there and is no link", link);
    unlink(link);
    if (symlink(target, link) != 0)
        return lm_problem_set(p, LM_EIO, "choose a folder that you may write to",
            "cannot make the link %s: %s", link, strerror(errno));
    return LM_OK;
}

/** Bytes must pass as they are: no echo, no line editing. */
static void make_raw(int slave)
{
    struct termios t;
    if (tcgetattr(slave, &t) == 0) {
        cfmakeraw(&t);
        tcsetattr(slave, TCSANOW, &t);
    }
}

enum lm_err lm_fake_port_open(struct lm_fake_port *port, const char *link, struct lm_problem *p)
{
    char name[128];
    memset(port, 0, sizeof *port);
    port->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (port->master < 0 || grantpt(port->master) != 0 || unlockpt(port->master) != 0 ||
        ptsname_r(port->master, name, sizeof name) != 0) {
        lm_fake_port_close(port);
        return lm_problem_set(
            p, LM_EIO, NULL, "cannot make a pseudo-terminal: %s", strerror(errno));
    }
    int slave = open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (slave >= 0) {
        make_raw(slave);
        close(slave);
    }
    enum lm_err err = take_link(name, link, p);
    if (err)
        lm_fake_port_close(port);
    else
        snprintf(port->link, sizeof port->link, "%s", link);
    return err;
}

enum lm_err lm_fake_port_wait(const struct lm_fake_port *port, int timeout_ms)
{
    /* the master end reports a hang-up as long as nobody has the other end open */
    for (int waited = 0; waited < timeout_ms; waited += 50) {
        struct pollfd pfd = {.fd = port->master, .events = POLLOUT};
        if (poll(&pfd, 1, 0) >= 0 && !(pfd.revents & POLLHUP))
            return LM_OK;
        poll(NULL, 0, 50);
    }
    return LM_EAGAIN;
}

enum lm_err lm_fake_port_send(const struct lm_fake_port *port, struct lm_eid eid, unsigned style)
{
    char digits[LM_EID_TEXT_SIZE], line[64];
    lm_eid_format(eid, digits);
    int len;
    switch (style % 4) {
    case 0:
        len = snprintf(line, sizeof line, "%.3s%.12s\r\n", digits, digits + 3);
        break;
    case 1:
        len = snprintf(line, sizeof line, "%.3s %.12s\r\n", digits, digits + 3);
        break;
    case 2:
        len = snprintf(line, sizeof line, "\x02%.3s%.12s\r", digits, digits + 3);
        break;
    default:
        len = snprintf(line, sizeof line, "R1,%.3s-%.12s\r\n", digits, digits + 3);
        break;
    }
    return write(port->master, line, (size_t) len) == len ? LM_OK : LM_EIO;
}

void lm_fake_port_close(struct lm_fake_port *port)
{
    if (port->link[0])
        unlink(port->link);
    if (port->master >= 0)
        close(port->master);
    port->master = -1;
    port->link[0] = '\0';
}
