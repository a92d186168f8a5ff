/** @file serial.c
 * Driver `serial`: a reader on a serial port, real or not.
 *
 * Settings:  port = a tty or a stable link to one; line = 9600 8N1 (default); decoder = text
 *            (default) or another, and the settings of that decoder. For a reader that must be told
 *            or asked: init = bytes said once after each opening; poll = bytes said every poll_ms
 *            (1000); reply_ms = how long to wait for an answer: one that does not come is counted
 *            as no-reply, and asked for again at once. In init and poll \r \n \t \0 \\ and \x02
 *            stand for bytes.
 * Link:      opened exclusively by port.c, never probed; no flow control.
 * Framing:   the decoder's.
 * Integrity: the decoder's.
 * Oddities:  a line that broke off is dropped when the port closes or after a long silence, so that
 *            it cannot run together with the next animal's. Writing never waits: what does not go
 *            into a full line at once is said again a little later.
 * Fixtures:  fixtures/serial/.
 */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "asking.h"
#include "lugmark/port.h"
#include "list.h"

/** Most bytes taken in one turn: some 400 lines, so that one mad reader cannot starve the others.
 */
#define TURN_BYTES 8192u
#define READ_BYTES 4096u
/** Half a line older than this is dropped. Long, because radio links stall for seconds. */
#define STALE_MS 10000

struct serial {
    char path[PATH_MAX];
    struct lm_line line;
    const struct lm_decoder_ops *decoder;
    void *decoding;
    struct lm_port *port; /**< NULL while closed */
    int64_t heard_ms;     /**< when bytes last came, by the monotonic clock */
    struct lm_asking asking;
};

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/** Read the driver's own settings. */
static enum lm_err read_settings(
    struct serial *s, const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    const char *port = lm_setting_get(settings, n, "port");
    const char *line = lm_setting_get(settings, n, "line");
    const char *decoder = lm_setting_get(settings, n, "decoder");
    if (port == NULL || *port == '\0')
        return lm_problem_set(p, LM_EINPUT, "add port = /dev/serial/by-id/... to this reader",
            "a serial reader needs a port");
    if (strlen(port) >= sizeof s->path)
        return lm_problem_set(p, LM_EINPUT, NULL, "port is longer than a path can be");
    snprintf(s->path, sizeof s->path, "%s", port);
    if (lm_line_parse(line != NULL ? line : "9600 8N1", &s->line) != LM_OK)
        return lm_problem_set(p, LM_EINPUT,
            "write baud, then bits 5-8, parity N, E or O and stop bits 1 or 2, as in 9600 8N1",
            "line '%.60s' is no line setting", line);
    s->decoder = lm_decoder_find(decoder != NULL ? decoder : "text");
    if (s->decoder != NULL)
        return LM_OK;
    char mend[LM_PROBLEM_TEXT_MAX] = "write one of:";
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++) {
        size_t used = strlen(mend);
        snprintf(mend + used, sizeof mend - used, " %s", *name);
    }
    return lm_problem_set(p, LM_EINPUT, mend, "decoder '%.60s' is not known", decoder);
}

static void serial_close(void *state)
{
    struct serial *s = state;
    if (s->port == NULL)
        return;
    lm_port_close(s->port);
    s->port = NULL;
    s->decoder->reset(s->decoding);
}

static void serial_free(void *state)
{
    struct serial *s = state;
    if (s == NULL)
        return;
    if (s->decoding != NULL) {
        serial_close(s);
        s->decoder->free_(s->decoding);
    }
    free(s);
}

static void *serial_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    struct serial *s = calloc(1, sizeof *s);
    if (s == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    if (read_settings(s, settings, n, p) == LM_OK &&
        lm_asking_read(&s->asking, settings, n, p) == LM_OK)
        s->decoding = s->decoder->new_(settings, n, p);
    if (s->decoding == NULL) {
        serial_free(s);
        return NULL;
    }
    return s;
}

static enum lm_err serial_open(void *state, int *fd, struct lm_problem *p)
{
    struct serial *s = state;
    serial_close(s);
    enum lm_err err = lm_port_open(s->path, &s->line, &s->port, p);
    if (err != LM_OK)
        return err;
    s->heard_ms = now_ms();
    lm_asking_open(&s->asking, s->heard_ms);
    *fd = lm_port_fd(s->port);
    return LM_OK;
}

static enum lm_err serial_service(void *state, const struct lm_sink *sink)
{
    struct serial *s = state;
    uint8_t buf[READ_BYTES];
    if (s->port == NULL)
        return LM_EGONE;
    for (size_t taken = 0; taken < TURN_BYTES;) {
        long n = lm_port_read(s->port, buf, sizeof buf);
        if (n < 0)
            return LM_EGONE;
        if (n == 0)
            break;
        int64_t now = now_ms();
        if (now - s->heard_ms > STALE_MS)
            s->decoder->reset(s->decoding);
        s->heard_ms = now;
        lm_asking_heard(&s->asking);
        s->decoder->feed(s->decoding, buf, (size_t) n, sink);
        taken += (size_t) n;
        if ((size_t) n < sizeof buf)
            break; /* that was all: to ask again costs as much as to take it */
    }
    return LM_OK;
}

static int serial_tick_ms(void *state)
{
    const struct serial *s = state;
    return s->port != NULL ? lm_asking_wait_ms(&s->asking, now_ms()) : -1;
}

static enum lm_err serial_tick(void *state, const struct lm_sink *sink)
{
    struct serial *s = state;
    int64_t now = now_ms();
    size_t len = 0;
    bool missed = false;
    if (s->port == NULL)
        return LM_EGONE;
    const uint8_t *bytes = lm_asking_due(&s->asking, now, &len, &missed);
    if (missed)
        sink->reject(sink->ctx, LM_REJECT_NO_REPLY, 0);
    if (bytes == NULL)
        return LM_OK;
    enum lm_err err = lm_port_write(s->port, bytes, len);
    if (err == LM_EAGAIN)
        lm_asking_again(&s->asking, now);
    return err == LM_EAGAIN ? LM_OK : err;
}

static const char *serial_describe(void *state)
{
    const struct serial *s = state;
    return s->port != NULL ? lm_port_path(s->port) : "";
}

static const char *const serial_keys[] = {"port", "line", "decoder", LM_ASKING_KEYS, NULL};

const struct lm_driver_ops lm_driver_serial = {
    .name = "serial",
    .new_ = serial_new,
    .open = serial_open,
    .service = serial_service,
    .tick_ms = serial_tick_ms,
    .tick = serial_tick,
    .close = serial_close,
    .free_ = serial_free,
    .describe = serial_describe,
    .finished = NULL,
    .keys = serial_keys,
};
