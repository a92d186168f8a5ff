/* The daemon's socket, from the other end: connecting, and lines in both directions. */
#include "client.h"

#include "wire/wire.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "lugmark/control.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define GREETING_MS 5000
#define SEND_MS 5000
#define BLOCK 65536u
#define LINE_MAX_BYTES                                                                             \
    (256u << 20) /* findings of a big session are one line; no daemon sends more */

struct lm_client {
    int fd;
    json_t *greeting;
    char *buf;
    size_t size, begin, end;
};

int lm_client_path(const struct lm_args *args, char *out, size_t size)
{
    const char *given = lm_arg(args, "socket"), *run = getenv("XDG_RUNTIME_DIR");
    const char *env = getenv("LUGMARK_SOCKET");
    const size_t most = sizeof((struct sockaddr_un *) NULL)->sun_path;
    int len = -1;
    if (given == NULL && env != NULL && env[0] != '\0')
        given = env;
    if (given == NULL && run != NULL && run[0] != '\0')
        len = snprintf(out, size, "%s/lugmark.sock", run);
    /* A person's own session folder is there even when the daemon is the system's. */
    if (given == NULL && (len < 0 || access(out, F_OK) != 0) &&
        (len < 0 || access("/run/lugmark/control.sock", F_OK) == 0))
        given = "/run/lugmark/control.sock";
    if (given != NULL)
        len = snprintf(out, size, "%s", given);
    if (len <= 0 || (size_t) len >= size || (size_t) len >= most)
        return lm_usage(args, "the path of the socket is empty or longer than %zu bytes", most - 1);
    return LM_EXIT_OK;
}

static int64_t clock_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t) now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* Wait for the descriptor; false when the time is up. */
static bool ready(int fd, short what, int64_t until_ms)
{
    struct pollfd one = {.fd = fd, .events = what};
    for (;;) {
        int64_t left = until_ms - clock_ms();
        int n = poll(&one, 1, left > 0 ? (int) left : 0);
        if (n > 0)
            return true;
        if (n == 0 || errno != EINTR)
            return false;
    }
}

static enum lm_err greet(struct lm_client *c, struct lm_problem *p)
{
    char *line, schema[64];
    size_t len;
    enum lm_err err = lm_client_line(c, GREETING_MS, &line, &len);
    if (err == LM_OK)
        c->greeting = json_loadb(line, len, 0, NULL);
    if (err == LM_EGONE)
        return lm_problem_set(p, err, _("look at its log"), _("the daemon closed the connection"));
    if (err == LM_EAGAIN)
        return lm_problem_set(p, err, _("look at its log"), _("the daemon does not answer"));
    lm_json_text(c->greeting, "schema", schema, sizeof schema);
    if (strcmp(schema, LM_CONTROL_SCHEMA) != 0)
        return lm_problem_set(p, LM_ENOSUP, _("use lugmark and lugmarkd of the same version"),
            "the daemon speaks \"%s\", not " LM_CONTROL_SCHEMA, schema);
    return LM_OK;
}

static enum lm_err refused(const char *path, struct lm_problem *p)
{
    if (errno == EACCES || errno == EPERM)
        return lm_problem_set(p, LM_EIO, _("join the group that owns the socket, and log in again"),
            _("you may not use the daemon's socket %s"), path);
    if (errno == ENOENT || errno == ECONNREFUSED || errno == ENOTSOCK || errno == ENOTDIR)
        return lm_problem_set(
            p, LM_EGONE, _("start lugmarkd"), _("no daemon is running at %s"), path);
    return lm_problem_set(
        p, LM_EIO, NULL, _("the daemon at %s cannot be reached: %s"), path, strerror(errno));
}

enum lm_err lm_client_connect(const char *path, struct lm_client **client, struct lm_problem *p)
{
    struct sockaddr_un at = {.sun_family = AF_UNIX};
    struct lm_client *c = calloc(1, sizeof *c);
    enum lm_err err = LM_OK;
    if (c == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    snprintf(at.sun_path, sizeof at.sun_path, "%s", path);
    c->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    /* Also bounds connect(): a daemon that hangs with a full queue must not hang us. */
    setsockopt(
        c->fd, SOL_SOCKET, SO_SNDTIMEO, &(struct timeval){.tv_sec = 5}, sizeof(struct timeval));
    if (c->fd < 0 || connect(c->fd, (const struct sockaddr *) &at, sizeof at) != 0)
        err = refused(path, p);
    if (err == LM_OK)
        err = greet(c, p);
    if (err != LM_OK) {
        lm_client_close(c);
        return err;
    }
    *client = c;
    return LM_OK;
}

void lm_client_close(struct lm_client *client)
{
    if (client == NULL)
        return;
    if (client->fd >= 0)
        close(client->fd);
    json_decref(client->greeting);
    free(client->buf);
    free(client);
}

int lm_client_fd(const struct lm_client *client)
{
    return client->fd;
}

const json_t *lm_client_greeting(const struct lm_client *client)
{
    return client->greeting;
}

static enum lm_err send_all(int fd, const char *data, size_t len)
{
    int64_t until = clock_ms() + SEND_MS;
    while (len > 0) {
        ssize_t n = send(fd, data, len, MSG_NOSIGNAL | MSG_DONTWAIT);
        if (n > 0) {
            data += n;
            len -= (size_t) n;
        } else if (n < 0 && errno != EAGAIN && errno != EINTR) {
            return LM_EGONE;
        } else if (!ready(fd, POLLOUT, until)) {
            return LM_EAGAIN;
        }
    }
    return LM_OK;
}

enum lm_err lm_client_send(struct lm_client *client, const json_t *request)
{
    char *text = lm_wire_dumps(request);
    if (text == NULL)
        return LM_ENOMEM;
    size_t len = strlen(text);
    enum lm_err err = len < LM_CONTROL_OPEN_MAX ? send_all(client->fd, text, len) : LM_EINPUT;
    if (err == LM_OK)
        err = send_all(client->fd, "\n", 1);
    free(text);
    return err;
}

/* Make room for a block behind what is there. */
static enum lm_err make_room(struct lm_client *c)
{
    if (c->begin > 0)
        memmove(c->buf, c->buf + c->begin, c->end - c->begin);
    c->end -= c->begin;
    c->begin = 0;
    if (c->size - c->end > BLOCK)
        return LM_OK;
    if (c->size > LINE_MAX_BYTES)
        return LM_EFRAME;
    size_t size = c->size * 2 > 2 * BLOCK ? c->size * 2 : 2 * BLOCK;
    char *bigger = realloc(c->buf, size);
    if (bigger == NULL)
        return LM_ENOMEM;
    c->buf = bigger;
    c->size = size;
    return LM_OK;
}

enum lm_err lm_client_line(struct lm_client *client, int timeout_ms, char **line, size_t *len)
{
    struct lm_client *c = client;
    int64_t until = clock_ms() + timeout_ms;
    size_t searched = 0;
    for (;;) {
        char *at = c->buf != NULL ? c->buf + c->begin : NULL;
        size_t there = c->end - c->begin;
        char *stop =
            at != NULL && there > searched ? memchr(at + searched, '\n', there - searched) : NULL;
        if (stop != NULL) {
            *stop = '\0';
            *line = at;
            *len = (size_t) (stop - at);
            c->begin += *len + 1;
            return LM_OK;
        }
        searched = there;
        enum lm_err err = make_room(c);
        if (err != LM_OK)
            return err;
        if (!ready(c->fd, POLLIN, until))
            return LM_EAGAIN;
        ssize_t n = recv(c->fd, c->buf + c->end, BLOCK, MSG_DONTWAIT);
        if (n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR))
            return LM_EGONE;
        c->end += n > 0 ? (size_t) n : 0;
    }
}
