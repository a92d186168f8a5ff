/** @file port_tty.c
 * Setting a tty by termios alone, for those that libserialport refuses: pseudo-terminals, which
 * emulators and bridges to other links are made of, and gadget ttys without modem lines.
 */
#include <errno.h>
#include <string.h>

#include "port_impl.h"

/** The speed constant of a baud, B0 when termios has none. */
static speed_t speed_of(uint32_t baud)
{
    static const struct {
        uint32_t baud;
        speed_t speed;
    } table[] = {{300, B300}, {600, B600}, {1200, B1200}, {2400, B2400}, {4800, B4800},
        {9600, B9600}, {19200, B19200}, {38400, B38400}, {57600, B57600}, {115200, B115200},
        {230400, B230400}, {460800, B460800}, {921600, B921600}, {1000000, B1000000}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].baud == baud)
            return table[i].speed;
    }
    return B0;
}

static tcflag_t size_of(unsigned bits)
{
    switch (bits) {
    case 5:
        return CS5;
    case 6:
        return CS6;
    case 7:
        return CS7;
    default:
        return CS8;
    }
}

static tcflag_t cflag_of(const struct lm_line *line)
{
    tcflag_t flags = size_of(line->bits);
    if (line->parity != 'N')
        flags |= PARENB;
    if (line->parity == 'O')
        flags |= PARODD;
    if (line->stop == 2)
        flags |= CSTOPB;
    return flags;
}

enum lm_err lm_port_tty_check(int fd, const struct lm_line *line, struct lm_problem *p)
{
    const tcflag_t frame = CSIZE | PARENB | PARODD | CSTOPB;
    struct termios now;
    if (tcgetattr(fd, &now) == 0 && (now.c_cflag & frame) == cflag_of(line))
        return LM_OK;
    return lm_problem_set(p, LM_ENOSUP, "check the line setting; a pseudo-terminal has only 8N",
        "this port cannot be set to %u%c%u", line->bits, line->parity, line->stop);
}

enum lm_err lm_port_tty_set(int fd, const struct lm_line *line, struct lm_problem *p)
{
    const tcflag_t frame = CSIZE | PARENB | PARODD | CSTOPB;
    struct termios t;
    speed_t speed = speed_of(line->baud);
    if (speed == B0)
        return lm_problem_set(p, LM_ENOSUP, "use a usual speed from 300 to 1000000",
            "this port cannot be set to %u baud", line->baud);
    if (tcgetattr(fd, &t) != 0)
        return lm_problem_set(p, LM_EIO, NULL, "the port cannot be set: %s", strerror(errno));
    cfmakeraw(&t);
    cfsetspeed(&t, speed);
    t.c_iflag &= ~(tcflag_t) (IXON | IXOFF | IXANY | INPCK);
    t.c_cflag &= ~(frame | (tcflag_t) CRTSCTS);
    t.c_cflag |= cflag_of(line) | CLOCAL | CREAD;
    /* With VMIN 1 a read of nothing is EAGAIN, so that 0 can only mean a hang-up. */
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    int failed = tcsetattr(fd, TCSANOW, &t) != 0 ? errno : 0;
    if (failed != 0 && failed != EINVAL)
        return lm_problem_set(p, LM_EIO, NULL, "the port cannot be set: %s", strerror(failed));
    return lm_port_tty_check(fd, line, p);
}
