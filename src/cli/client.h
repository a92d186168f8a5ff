/* The daemon's socket, from the other end. See lugmark/control.h. */
#ifndef LUGMARK_CLI_CLIENT_H
#define LUGMARK_CLI_CLIENT_H

#include <jansson.h>

#include "command.h"
#include "lugmark/err.h"

struct lm_client;

/**
 * Path of the socket: --socket, else $LUGMARK_SOCKET, else $XDG_RUNTIME_DIR/lugmark.sock where
 * there is one, else /run/lugmark/control.sock.
 * @return LM_EXIT_OK, or LM_EXIT_USAGE after saying what is wrong.
 */
int lm_client_path(const struct lm_args *args, char *out, size_t size);

/**
 * Connect and read the daemon's first line.
 * @param[out] client  Set on LM_OK. Ownership: lm_client_close().
 * @return LM_OK; LM_EGONE when no daemon is there; LM_EIO, LM_ENOSUP (it speaks another schema),
 *         LM_ENOMEM; @p p is filled.
 */
enum lm_err lm_client_connect(const char *path, struct lm_client **client, struct lm_problem *p);
void lm_client_close(struct lm_client *client); /**< NULL is allowed */

int lm_client_fd(const struct lm_client *client);

/** The daemon's first line. Borrowed. */
const json_t *lm_client_greeting(const struct lm_client *client);

/**
 * Send one request.
 * @return LM_OK, LM_EGONE, LM_EAGAIN (it does not read), LM_EINPUT (longer than the daemon takes)
 * or LM_ENOMEM.
 */
enum lm_err lm_client_send(struct lm_client *client, const json_t *request);

/**
 * One line from the daemon, waiting at most @p timeout_ms (0: only what is there).
 * @param[out] line  NUL-terminated, without its end; valid until the next call.
 * @return LM_OK; LM_EAGAIN: none in time; LM_EGONE: it hung up; LM_ENOMEM; LM_EFRAME: too long.
 */
enum lm_err lm_client_line(struct lm_client *client, int timeout_ms, char **line, size_t *len);

/**
 * Ask once: connect, send, wait for the answer, close. A request with a "token" is sent again when
 * the connection was lost before the answer came: the token makes that harmless.
 * @param[in]  request  Reference is taken over.
 * @param[out] answer   The answer, when it says ok; the caller drops the reference.
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_client_ask(const struct lm_args *args, json_t *request, json_t **answer);

/** Give a request a fresh token. @return LM_OK, LM_EIO when the system gives no random bytes. */
enum lm_err lm_client_token(json_t *request);

#endif
