/** @file port_native.c
 * Opening and setting a real port with libserialport.
 *
 * Written against libserialport 0.1.1. What it does not do is done here: the descriptor is made
 * close-on-exec, hardware flow control is switched off (it looks for that bit in the wrong word),
 * HUPCL is put back as it was found, so that closing does not reset readers that listen to DTR,
 * and VMIN is 1, so that read() tells silence (EAGAIN) from a hang-up (0).
 */
#include <errno.h>
#include <fcntl.h>
#include <libserialport.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "port_impl.h"

static enum sp_parity parity_of(char parity)
{
    switch (parity) {
    case 'E':
        return SP_PARITY_EVEN;
    case 'O':
        return SP_PARITY_ODD;
    default:
        return SP_PARITY_NONE;
    }
}

static enum lm_err set_line(
    struct sp_port *native, const struct lm_line *line, struct lm_problem *p)
{
    struct sp_port_config *config = NULL;
    if (sp_new_config(&config) != SP_OK)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    /* What is not set in a fresh configuration is left as it is: that keeps the modem lines. */
    bool set = sp_set_config_baudrate(config, (int) line->baud) == SP_OK &&
               sp_set_config_bits(config, line->bits) == SP_OK &&
               sp_set_config_parity(config, parity_of(line->parity)) == SP_OK &&
               sp_set_config_stopbits(config, line->stop) == SP_OK &&
               sp_set_config_xon_xoff(config, SP_XONXOFF_DISABLED) == SP_OK &&
               sp_set_config(native, config) == SP_OK;
    int why = set ? 0 : sp_last_error_code();
    sp_free_config(config);
    if (set)
        return LM_OK;
    return lm_problem_set(p, LM_ENOSUP, "check the line setting against the reader's manual",
        "the port cannot be set to %u %u%c%u: %s", line->baud, line->bits, line->parity, line->stop,
        strerror(why));
}

/** What libserialport leaves undone; see the top of the file. */
static enum lm_err finish(int fd, tcflag_t found_cflag, struct lm_problem *p)
{
    struct termios t;
    if (fcntl(fd, F_SETFD, FD_CLOEXEC) != 0 || tcgetattr(fd, &t) != 0)
        return lm_problem_set(p, LM_EIO, NULL, "the port cannot be set: %s", strerror(errno));
    t.c_cflag &= ~(tcflag_t) (CRTSCTS | HUPCL);
    t.c_cflag |= found_cflag & HUPCL;
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    if (tcsetattr(fd, TCSANOW, &t) != 0)
        return lm_problem_set(p, LM_EIO, NULL, "the port cannot be set: %s", strerror(errno));
    return LM_OK;
}

static bool same_node(int a, int b)
{
    struct stat sa, sb;
    return fstat(a, &sa) == 0 && fstat(b, &sb) == 0 && sa.st_rdev == sb.st_rdev;
}

/** Find the port: by its real node, which is what sysfs knows, else by the name as written. */
static struct sp_port *find(const char *real, const char *given)
{
    struct sp_port *native = NULL;
    if (sp_get_port_by_name(real, &native) == SP_OK)
        return native;
    return sp_get_port_by_name(given, &native) == SP_OK ? native : NULL;
}

/** sp_open() has done its part: move the lock to its descriptor and set the line. */
static enum lm_err take_over(
    struct lm_port *port, const char *given, const struct lm_line *line, struct lm_problem *p)
{
    if (sp_get_port_handle(port->native, &port->fd) != SP_OK || !same_node(port->fd, port->guard))
        return lm_problem_set(p, LM_EIO, NULL, "%.200s changed while it was opened", given);
    if (flock(port->fd, LOCK_EX | LOCK_NB) != 0)
        return lm_port_why(port->path, errno, p);
    close(port->guard);
    port->guard = -1;
    enum lm_err err = set_line(port->native, line, p);
    if (err == LM_OK)
        err = finish(port->fd, port->found_cflag, p);
    return err == LM_OK ? lm_port_tty_check(port->fd, line, p) : err;
}

enum lm_err lm_port_native_open(struct lm_port *port, const char *given, const struct lm_line *line,
    bool *refused, struct lm_problem *p)
{
    struct sp_port *native = find(port->path, given);
    *refused = native == NULL;
    if (*refused)
        return LM_OK;
    /* Versions after 0.1.1 lock in sp_open(), and our own lock would keep them out. */
    (void) flock(port->guard, LOCK_UN);
    if (sp_open(native, SP_MODE_READ_WRITE) == SP_OK) {
        port->native = native;
        return take_over(port, given, line, p);
    }
    int why = sp_last_error_code();
    sp_free_port(native);
    /* A tty without modem lines: libserialport asks for them and gives up. */
    if (why != ENOTTY && why != EINVAL)
        return lm_port_why(port->path, why, p);
    *refused = true;
    return flock(port->guard, LOCK_EX | LOCK_NB) == 0 ? LM_OK : lm_port_why(port->path, errno, p);
}

void lm_port_native_close(struct lm_port *port)
{
    if (port->native == NULL)
        return;
    sp_close(port->native);
    sp_free_port(port->native);
    port->native = NULL;
    port->fd = -1;
}
