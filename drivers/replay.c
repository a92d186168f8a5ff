/** @file replay.c
 * Driver `replay`: a file of readings, as fast as it can be read or at the pace it was taken.
 *
 * Settings:  file = path; pace = real or once (default); gap_ms = pause between lines without a
 *            time at real pace, 0 to 3600000, default 1000.
 * Framing:   one reading a line, ended by LF or CR LF:
 *              anything that lm_decode() takes
 *              TIME,LANE,CODE      each may be empty but the code, each may stand in quotes
 *            Empty lines, lines that begin with `#` and a heading `time,lane,eid` are passed over.
 * Integrity: text that is no code is a doubtful reading, as in reconcile, and not lost. A row that
 *            has not three fields and a line over 4096 bytes are counted and passed over.
 * Oddities:  a regular file cannot be waited for, so the loop is given an event counter: always
 *            readable with `once`, never with `real`, which goes by tick(). A time that cannot be
 *            read is left out, the code is kept. Times that run backwards cause no pause.
 *            Closed and opened again it goes on where it was: no reading comes twice.
 * Fixtures:  none; tests/unit/test_replay.c writes its own files.
 */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "list.h"

/** Longest line, bytes: a raw telegram in 0 and 1 with time and lane needs some 200. */
#define REPLAY_LINE_MAX 4096u
/** Most lines taken in one turn, so that a long file does not starve live readers. */
#define TURN_LINES 256
#define GAP_DEFAULT_MS 1000
#define GAP_MAX_MS 3600000
#define FIELDS 3

struct replay {
    char path[PATH_MAX];
    char found[PATH_MAX]; /**< real path while open, else "" */
    bool real;            /**< at the pace of the file's times */
    int64_t gap_ms;
    FILE *in; /**< NULL while closed */
    int fd;
    off_t offset; /**< where to go on after a close */
    bool started; /**< the first line was seen */
    bool finished;
    bool have_next; /**< `next` waits for `due_ms` */
    struct lm_event next;
    int64_t due_ms;    /**< monotonic; 0 before the first reading */
    int64_t last_t_ms; /**< time of the line before, LM_TIME_NONE when it had none */
};

enum line_end { LINE_READ, LINE_TOO_LONG, LINE_LAST };

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/** Read one line without its end; a longer one is read away to its end. */
static enum line_end read_line(FILE *in, char line[REPLAY_LINE_MAX], size_t *len)
{
    size_t n = 0;
    int c;
    while ((c = getc_unlocked(in)) != EOF && c != '\n') {
        if (n < REPLAY_LINE_MAX)
            line[n] = (char) c;
        n++;
    }
    *len = n;
    if (n > REPLAY_LINE_MAX)
        return LINE_TOO_LONG;
    if (n == 0 && c == EOF)
        return LINE_LAST;
    if (n > 0 && line[n - 1] == '\r')
        (*len)--;
    return LINE_READ;
}

struct field {
    const char *text;
    size_t len;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static struct field trimmed(const char *text, size_t len)
{
    while (len > 0 && is_blank(text[len - 1]))
        len--;
    while (len > 0 && is_blank(*text)) {
        text++;
        len--;
    }
    return (struct field){text, len};
}

/** Cut a row at its commas. @return How many fields it has; only the first FIELDS are kept. */
static size_t split(struct field line, struct field fields[FIELDS])
{
    size_t n = 0;
    for (;;) {
        const char *comma = memchr(line.text, ',', line.len);
        size_t len = comma != NULL ? (size_t) (comma - line.text) : line.len;
        struct field f = trimmed(line.text, len);
        if (f.len >= 2 && f.text[0] == '"' && f.text[f.len - 1] == '"')
            f = trimmed(f.text + 1, f.len - 2);
        if (n < FIELDS)
            fields[n] = f;
        n++;
        if (comma == NULL)
            return n;
        line.text += len + 1;
        line.len -= len + 1;
    }
}

static bool is_word(struct field f, const char *word)
{
    return f.len == strlen(word) && strncasecmp(f.text, word, f.len) == 0;
}

static struct lm_event blank_event(void)
{
    return (struct lm_event){
        .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE};
}

/** Make an event of one line. @return false when the line gives none. */
static bool take_line(struct replay *r, struct field line, const struct lm_sink *sink)
{
    static const char bom[] = "\xef\xbb\xbf";
    bool first = !r->started;
    r->started = true;
    if (first && line.len >= 3 && memcmp(line.text, bom, 3) == 0)
        line = (struct field){line.text + 3, line.len - 3};
    line = trimmed(line.text, line.len);
    if (line.len == 0 || line.text[0] == '#')
        return false;
    r->next = blank_event();
    struct field f[FIELDS];
    size_t n = split(line, f);
    if (n == 1) {
        lm_event_reading(&r->next, f[0].text, f[0].len);
        return true;
    }
    if (n == FIELDS && is_word(f[0], "time") && is_word(f[1], "lane") && is_word(f[2], "eid"))
        return false;
    if (n != FIELDS || f[2].len == 0) {
        sink->reject(sink->ctx, LM_REJECT_SYNTAX, line.len);
        return false;
    }
    lm_event_reading(&r->next, f[2].text, f[2].len);
    if (lm_time_parse(f[0].text, f[0].len, &r->next.t_ms) != LM_OK)
        r->next.t_ms = LM_TIME_NONE;
    lm_text_copy(r->next.lane, sizeof r->next.lane, f[1].text, f[1].len);
    return true;
}

/** When the next reading is due, from its time and that of the one before. */
static void set_due(struct replay *r)
{
    int64_t wait = r->gap_ms;
    if (r->next.t_ms != LM_TIME_NONE && r->last_t_ms != LM_TIME_NONE)
        wait = r->next.t_ms > r->last_t_ms ? r->next.t_ms - r->last_t_ms : 0;
    r->due_ms = r->due_ms == 0 ? now_ms() : r->due_ms + wait;
    if (r->next.t_ms != LM_TIME_NONE)
        r->last_t_ms = r->next.t_ms;
}

/** Hand on what is due, a bounded number of lines. */
static enum lm_err advance(struct replay *r, const struct lm_sink *sink)
{
    char line[REPLAY_LINE_MAX];
    for (int turn = 0; turn < TURN_LINES; turn++) {
        if (r->have_next) {
            if (r->real && r->due_ms > now_ms())
                return LM_OK;
            r->have_next = false;
            sink->reading(sink->ctx, &r->next);
        }
        size_t len = 0;
        switch (read_line(r->in, line, &len)) {
        case LINE_LAST:
            r->finished = !ferror(r->in);
            return LM_EGONE;
        case LINE_TOO_LONG:
            sink->reject(sink->ctx, LM_REJECT_TOO_LONG, len);
            continue;
        case LINE_READ:
            break;
        }
        r->have_next = take_line(r, (struct field){line, len}, sink);
        if (r->have_next)
            set_due(r);
    }
    return LM_OK;
}

static enum lm_err replay_service(void *state, const struct lm_sink *sink)
{
    struct replay *r = state;
    return r->in != NULL ? advance(r, sink) : LM_EGONE;
}

static int replay_tick_ms(void *state)
{
    const struct replay *r = state;
    if (r->in == NULL || !r->real)
        return -1;
    int64_t wait = r->have_next ? r->due_ms - now_ms() : 0;
    if (wait > INT_MAX)
        return INT_MAX;
    return wait > 0 ? (int) wait : 0;
}

static void replay_close(void *state)
{
    struct replay *r = state;
    if (r->in == NULL)
        return;
    off_t at = ftello(r->in);
    if (at >= 0)
        r->offset = at;
    fclose(r->in);
    close(r->fd);
    r->in = NULL;
    r->fd = -1;
    r->found[0] = '\0';
}

static enum lm_err cannot_open(const struct replay *r, int why, struct lm_problem *p)
{
    enum lm_err err = why == ENOENT || why == ENOTDIR ? LM_ENOTFOUND : LM_EIO;
    return lm_problem_set(
        p, err, "correct the reader's file", "%.200s: %s", r->path, strerror(why));
}

static enum lm_err replay_open(void *state, int *fd, struct lm_problem *p)
{
    struct replay *r = state;
    struct stat about;
    replay_close(r);
    int in = open(r->path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (in < 0)
        return cannot_open(r, errno, p);
    /* A pipe would have to be waited for, and an endless device would never end. */
    if (fstat(in, &about) != 0 || !S_ISREG(about.st_mode)) {
        close(in);
        return lm_problem_set(p, LM_ENOSUP, "name a file", "%.200s is no regular file", r->path);
    }
    int events = eventfd(r->real ? 0 : 1, EFD_CLOEXEC | EFD_NONBLOCK);
    FILE *lines = lseek(in, r->offset, SEEK_SET) >= 0 ? fdopen(in, "r") : NULL;
    if (events < 0 || lines == NULL) {
        int why = errno;
        if (events >= 0)
            close(events);
        if (lines != NULL)
            fclose(lines);
        else
            close(in);
        return cannot_open(r, why, p);
    }
    r->in = lines;
    r->fd = events;
    if (r->due_ms != 0)
        r->due_ms = now_ms(); /* the time it was closed for is not made up for */
    if (realpath(r->path, r->found) == NULL)
        snprintf(r->found, sizeof r->found, "%s", r->path);
    *fd = r->fd;
    return LM_OK;
}

static void replay_free(void *state)
{
    if (state == NULL)
        return;
    replay_close(state);
    free(state);
}

static enum lm_err read_gap(const char *text, int64_t *gap_ms, struct lm_problem *p)
{
    *gap_ms = GAP_DEFAULT_MS;
    if (text == NULL)
        return LM_OK;
    char *end = NULL;
    errno = 0;
    long value = strtol(text, &end, 10);
    if (end == text || *end != '\0' || errno != 0 || value < 0 || value > GAP_MAX_MS)
        return lm_problem_set(
            p, LM_EINPUT, "write milliseconds, 0 to 3600000", "gap_ms '%.60s' is no pause", text);
    *gap_ms = value;
    return LM_OK;
}

static enum lm_err read_settings(
    struct replay *r, const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    const char *file = lm_setting_get(settings, n, "file");
    const char *pace = lm_setting_get(settings, n, "pace");
    if (file == NULL || *file == '\0')
        return lm_problem_set(
            p, LM_EINPUT, "add file = PATH to this reader", "a replay needs a file");
    if (strlen(file) >= sizeof r->path)
        return lm_problem_set(p, LM_EINPUT, NULL, "file is longer than a path can be");
    snprintf(r->path, sizeof r->path, "%s", file);
    r->real = pace != NULL && strcmp(pace, "real") == 0;
    if (pace != NULL && !r->real && strcmp(pace, "once") != 0)
        return lm_problem_set(
            p, LM_EINPUT, "write real or once", "pace '%.60s' is not known", pace);
    return read_gap(lm_setting_get(settings, n, "gap_ms"), &r->gap_ms, p);
}

static void *replay_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    struct replay *r = calloc(1, sizeof *r);
    if (r == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    r->fd = -1;
    r->last_t_ms = LM_TIME_NONE;
    if (read_settings(r, settings, n, p) != LM_OK) {
        free(r);
        return NULL;
    }
    return r;
}

static const char *replay_describe(void *state)
{
    const struct replay *r = state;
    return r->found;
}

static bool replay_finished(void *state)
{
    const struct replay *r = state;
    return r->finished;
}

static const char *const replay_keys[] = {"file", "pace", "gap_ms", NULL};

const struct lm_driver_ops lm_driver_replay = {
    .name = "replay",
    .new_ = replay_new,
    .open = replay_open,
    .service = replay_service,
    .tick_ms = replay_tick_ms,
    .tick = replay_service,
    .close = replay_close,
    .free_ = replay_free,
    .describe = replay_describe,
    .finished = replay_finished,
    .keys = replay_keys,
};
