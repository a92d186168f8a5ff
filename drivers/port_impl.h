/** @file port_impl.h
 * What the files of the port module share. Private to drivers/port*.c.
 */
#ifndef DRIVERS_PORT_IMPL_H
#define DRIVERS_PORT_IMPL_H

#include <limits.h>
#include <termios.h>

#include "lugmark/port.h"

struct sp_port;

struct lm_port {
    int fd;                 /**< read and written; -1 when there is none */
    int guard;              /**< opened and locked first; -1 once `fd` has taken its place */
    tcflag_t found_cflag;   /**< control flags of the line as they were found */
    bool exclusive;         /**< TIOCEXCL is on, by us */
    struct sp_port *native; /**< NULL with termios */
    char path[PATH_MAX];    /**< real path of the node */
};

/**
 * Open the port of @p port->path with libserialport and set the line.
 * @param[in]  given    The path as the user wrote it.
 * @param[out] refused  True when libserialport will not have this tty at all; then nothing is open
 *                      and the caller may do it by termios.
 * @return LM_OK (also when refused), or an error with @p p filled. On an error after opening,
 *         `native` and `fd` are set and lm_port_close() cleans up.
 */
enum lm_err lm_port_native_open(struct lm_port *port, const char *given, const struct lm_line *line,
    bool *refused, struct lm_problem *p);

/** Close what lm_port_native_open() opened. */
void lm_port_native_close(struct lm_port *port);

/** Make an open tty raw, with the line's settings. @return LM_OK, LM_ENOSUP or LM_EIO. */
enum lm_err lm_port_tty_set(int fd, const struct lm_line *line, struct lm_problem *p);

/**
 * Look what came of bits, parity and stop bits: setting them succeeds when any of it could be done.
 * @return LM_OK or LM_ENOSUP.
 */
enum lm_err lm_port_tty_check(int fd, const struct lm_line *line, struct lm_problem *p);

/** Say why a node could not be opened, from errno @p why. @return The error for it. */
enum lm_err lm_port_why(const char *path, int why, struct lm_problem *p);

/**
 * Find out who has a node open.
 * @param[in]  real  Real path of the node.
 * @param[out] out   Such as `minicom (process 4711)`; "" when it cannot be told.
 */
void lm_port_who(const char *real, char *out, size_t size);

#endif
