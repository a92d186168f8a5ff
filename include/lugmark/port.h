/** @file port.h
 * One serial port, opened exclusively and without blocking.
 *
 * Real ports are opened and set by libserialport. It refuses pseudo-terminals (they are not in
 * sysfs and have no modem lines), so for those this module falls back to termios. Either way the
 * caller reads the descriptor through lm_port_read(), which can tell a hang-up from silence.
 */
#ifndef LUGMARK_PORT_H
#define LUGMARK_PORT_H

#include "lugmark/err.h"
#include <stdbool.h>
#include <stdint.h>

/** Line settings, as in `9600 8N1`. */
struct lm_line {
    uint32_t baud; /**< bits per second */
    uint8_t bits;  /**< 5-8 */
    char parity;   /**< N, E, O */
    uint8_t stop;  /**< 1 or 2 */
};

/** Parse `9600 8N1`. @return LM_OK or LM_EFRAME. */
enum lm_err lm_line_parse(const char *text, struct lm_line *line);

struct lm_port;

/**
 * Open a port: exclusive (flock and TIOCEXCL), close-on-exec, raw, flushed, modem lines as they
 * are.
 * @param[in]  path  A tty, or a stable link to one. Never probed, never guessed.
 * @param[out] port  Set on LM_OK. Ownership: lm_port_close().
 * @return LM_OK; LM_ENOTFOUND; LM_EBUSY: another program has it; LM_EIO with @p p saying why
 *         (permission: which group to join); LM_ENOSUP: not a tty, or settings it cannot have.
 */
enum lm_err lm_port_open(
    const char *path, const struct lm_line *line, struct lm_port **port, struct lm_problem *p);

void lm_port_close(struct lm_port *port);             /**< NULL is allowed */
int lm_port_fd(const struct lm_port *port);           /**< to be watched; stays the port's own */
const char *lm_port_path(const struct lm_port *port); /**< real path behind the link */
bool lm_port_is_native(const struct lm_port *port);   /**< whether libserialport opened it */

/**
 * Read what is there.
 * @return Bytes read, 0 when there is nothing now, LM_EGONE (negative) after a hang-up.
 */
long lm_port_read(struct lm_port *port, uint8_t *buf, size_t size);

/** Write all of a short command. @return LM_OK, LM_EAGAIN when the queue is full, LM_EGONE. */
enum lm_err lm_port_write(struct lm_port *port, const uint8_t *buf, size_t len);

/** Called for each port the system lists. */
typedef void lm_port_fn(const char *path, const char *description, void *ctx);

/** List real serial ports with libserialport; opens none. @return LM_OK or LM_EIO. */
enum lm_err lm_port_list(lm_port_fn *fn, void *ctx);

#endif
