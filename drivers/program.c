/** @file program.c
 * Driver `program`: any program that writes event lines on its standard output.
 *
 * Settings:  command = the program and its arguments, split at blanks; '...' and "..." hold blanks
 *            together. No shell is involved: no variables, no wildcards, no pipes. dir = the folder
 *            that it runs in; without it the daemon's.
 * Link:      standard output is a pipe; standard input is empty; standard error goes to the
 *            daemon's log.
 * Framing:   one JSON object a line (lugmark/eventline.h): a reading, a sighting or a head count.
 *            Time and lane are stamped by the daemon, whatever the line says of them.
 * Integrity: a line that is no event, or one that a reader may not say, is counted and passed over;
 *            so is one over 65536 bytes.
 * Oddities:  it runs in a process group of its own, which is ended as a whole: SIGTERM, after two
 *            seconds SIGKILL. Ended by itself it is started again after the daemon's back-off. One
 *            that closes its output, or leaves it to a process of another group, is ended too.
 * Fixtures:  fixtures/programs/.
 */
#include "program.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <unistd.h>

#include "list.h"

/** Bytes taken in one turn: some hundred lines, so that one program cannot starve the readers. */
#define TURN_BYTES 4096u
/** What is taken once the program itself has ended: a pipe holds less. */
#define AFTER_END_BYTES 131072u
/** How long a program may live on without its output before it is taken for gone. */
#define MUTE_MS 500
/** How often the end is looked for where no descriptor tells it. */
#define LOOK_MS 1000

/* --- settings --- */

/** Take one word off a command, unquoted into @p out. @return false at the end or at an open quote.
 */
static bool take_word(const char **at, char **out)
{
    const char *c = *at;
    char *to = *out;
    while (*c == ' ' || *c == '\t')
        c++;
    if (*c == '\0')
        return false;
    char quote = '\0';
    for (; *c != '\0' && (quote != '\0' || (*c != ' ' && *c != '\t')); c++) {
        if (quote != '\0' && *c == quote)
            quote = '\0';
        else if (quote == '\0' && (*c == '\'' || *c == '"'))
            quote = *c;
        else
            *to++ = *c;
    }
    *to++ = '\0';
    *at = c;
    *out = to;
    return quote == '\0';
}

enum lm_err program_command(struct program *g, const char *command, struct lm_problem *p)
{
    size_t n = 0;
    char *out = g->words;
    const char *at = command;
    if (strlen(command) >= sizeof g->words - PROGRAM_WORDS)
        return lm_problem_set(p, LM_EINPUT, "put it into a script", "command is too long");
    for (;;) {
        char *word = out;
        bool good = take_word(&at, &out);
        if (!good && out != word)
            return lm_problem_set(
                p, LM_EINPUT, "close the quote", "command '%.100s' has an open quote", command);
        if (!good)
            break;
        if (n == PROGRAM_WORDS)
            return lm_problem_set(p, LM_EINPUT, "put it into a script",
                "command has more than %u words", PROGRAM_WORDS);
        g->argv[n++] = word;
    }
    g->argv[n] = NULL;
    if (n == 0 || g->argv[0][0] == '\0')
        return lm_problem_set(p, LM_EINPUT, "add command = PROGRAM and its arguments",
            "a program reader needs a command");
    return LM_OK;
}

enum lm_err program_init(struct program *g, struct lm_problem *p)
{
    child_init(&g->child);
    g->store = lm_eventline_new();
    return g->store != NULL ? LM_OK : lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
}

static void *program_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    const char *command = lm_setting_get(settings, n, "command");
    const char *dir = lm_setting_get(settings, n, "dir");
    struct program *g = calloc(1, sizeof *g);
    if (g == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    enum lm_err err = program_init(g, p);
    if (err == LM_OK)
        err = program_command(g, command != NULL ? command : "", p);
    if (err == LM_OK && dir != NULL && strlen(dir) >= sizeof g->dir)
        err = lm_problem_set(p, LM_EINPUT, NULL, "dir is longer than a path can be");
    if (err != LM_OK) {
        program_free(g);
        return NULL;
    }
    snprintf(g->dir, sizeof g->dir, "%s", dir != NULL ? dir : "");
    return g;
}

/* --- life --- */

enum lm_err program_open(void *state, int *fd, struct lm_problem *p)
{
    struct program *g = state;
    program_close(g);
    if (!child_is_gone(&g->child))
        return lm_problem_set(p, LM_EBUSY, "nothing: it is ended by force in a moment",
            "%.200s, asked to end, still runs", g->argv[0]);
    enum lm_err err = child_start(&g->child, g->argv, g->dir, p);
    if (err != LM_OK)
        return err;
    g->open = true;
    g->out_ended_ms = 0;
    g->after_end = g->len = g->note_len = 0;
    g->skipping = false;
    g->last[0] = '\0';
    snprintf(g->found, sizeof g->found, "process %ld", (long) g->child.pid);
    *fd = g->child.watch;
    return LM_OK;
}

/** Read one turn of a pipe. @return Bytes; 0 for none now. A pipe at its end is closed. */
static size_t take_pipe(struct program *g, int *pipe, char buf[TURN_BYTES])
{
    if (*pipe < 0)
        return 0;
    ssize_t n = read(*pipe, buf, TURN_BYTES);
    if (n > 0)
        return (size_t) n;
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return 0;
    epoll_ctl(g->child.watch, EPOLL_CTL_DEL, *pipe, NULL);
    close(*pipe);
    *pipe = -1;
    return 0;
}

/** Whether there is nothing more to wait for, and what is left of its last line. */
static bool is_over(struct program *g, bool ended, size_t taken, const struct lm_sink *sink)
{
    if (g->child.out < 0 && g->out_ended_ms == 0)
        g->out_ended_ms = child_now_ms();
    if (ended)
        g->after_end += taken;
    bool over = ended ? taken == 0 || g->after_end > AFTER_END_BYTES
                      : g->child.out < 0 && child_now_ms() - g->out_ended_ms >= MUTE_MS;
    if (over)
        (void) program_take_rest(g, sink);
    return over;
}

enum lm_err program_service(void *state, const struct lm_sink *sink)
{
    struct program *g = state;
    char buf[TURN_BYTES];
    if (!g->open)
        return LM_EGONE;
    /* Asked first: what it wrote before it ended is in the pipe by then. */
    bool ended = child_has_ended(&g->child);
    size_t err = take_pipe(g, &g->child.err, buf);
    program_take_messages(g, buf, err, sink);
    size_t out = take_pipe(g, &g->child.out, buf);
    size_t events = program_take_output(g, buf, out, sink);
    if ((ended || g->child.out < 0) && is_over(g, ended, out + err, sink))
        return LM_EGONE;
    return events > 0 ? LM_OK : LM_EAGAIN;
}

int program_tick_ms(void *state)
{
    struct program *g = state;
    if (!g->open)
        return -1;
    if (g->child.out < 0) {
        int64_t left = g->out_ended_ms + MUTE_MS - child_now_ms();
        return left > 0 ? (int) left : 0;
    }
    return g->child.ending < 0 ? LOOK_MS : -1;
}

void program_gone(void *state, struct lm_problem *p)
{
    struct program *g = state;
    char how[CHILD_HOW_MAX];
    bool said = g->last[0] != '\0';
    child_how(&g->child, how, sizeof how);
    lm_problem_set(p, LM_EGONE, said ? NULL : "run it by hand to see why", "%.60s %s%s%.150s",
        g->argv[0], how, said ? "; it said: " : "", g->last);
}

void program_close(void *state)
{
    struct program *g = state;
    if (!g->open)
        return;
    child_ask(&g->child);
    g->open = false;
    g->found[0] = '\0';
}

void program_free(void *state)
{
    struct program *g = state;
    if (g == NULL)
        return;
    program_close(g);
    child_end(&g->child);
    lm_eventline_free(g->store);
    free(g);
}

const char *program_describe(void *state)
{
    const struct program *g = state;
    return g->found;
}

static const char *const program_keys[] = {"command", "dir", NULL};

const struct lm_driver_ops lm_driver_program = {
    .name = "program",
    .new_ = program_new,
    .open = program_open,
    .service = program_service,
    .tick_ms = program_tick_ms,
    .tick = program_service,
    .close = program_close,
    .free_ = program_free,
    .describe = program_describe,
    .gone = program_gone,
    .finished = NULL,
    .keys = program_keys,
};
