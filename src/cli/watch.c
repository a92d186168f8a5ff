/* lugmark watch: see every animal go by, on a screen or as lines. */
#include "command.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "terminal.h"
#include "verdict.h"
#include "watch_model.h"
#include "watch_screen.h"

#define RETRY_MS 1000
#define BURST 512 /* lines taken before the screen is drawn once: a burst must not flicker */

enum how { AS_LINES, AS_JSON, AS_SCREEN };

struct watching {
    const struct lm_args *args;
    char path[256];
    enum how how;
    bool bell, until_close;
    long after; /* asked for on the command line, 0 for none */
    int signals;
    struct lm_client *client;
    struct lm_terminal terminal;
    struct lm_watch model;
    bool more; /* lines wait in the client's buffer, where poll() cannot see them */
    bool stop;
};

/* --- connecting --- */

static enum lm_err ask_all(struct watching *x)
{
    int64_t after = x->model.last_seq > 0 ? x->model.last_seq : x->after;
    json_t *watch = json_pack("{s:s}", "do", "watch");
    json_t *status = json_pack("{s:s}", "do", "status");
    json_t *readers = json_pack("{s:s}", "do", "readers");
    if (after > 0)
        json_object_set_new(watch, "after", json_integer(after));
    enum lm_err err = lm_client_send(x->client, status);
    if (err == LM_OK)
        err = lm_client_send(x->client, readers);
    if (err == LM_OK)
        err = lm_client_send(x->client, watch);
    json_decref(watch);
    json_decref(status);
    json_decref(readers);
    return err;
}

static enum lm_err connect_it(struct watching *x, struct lm_problem *p)
{
    enum lm_err err = lm_client_connect(x->path, &x->client, p);
    if (err != LM_OK)
        return err;
    lm_watch_greet(&x->model, lm_client_greeting(x->client));
    return ask_all(x);
}

static void lose(struct watching *x)
{
    if (x->model.connected && x->how != AS_SCREEN)
        fputs(_("lugmark watch: lost the daemon, trying again\n"), stderr);
    lm_client_close(x->client);
    x->client = NULL;
    x->model.connected = false;
}

/* --- showing --- */

static void show_words(const char *event, const json_t *line)
{
    char text[LM_PROBLEM_TEXT_MAX];
    if (strcmp(event, "reader") == 0) {
        printf(_("reader %s"), lm_json_text(line, "name", text, sizeof text));
        printf(_(" is %s\n"), lm_tongue_word(lm_json_text(line, "state", text, sizeof text)));
    } else if (strcmp(event, "journal") == 0) {
        printf(_("journal %s"), lm_json_text(line, "state", text, sizeof text));
        printf(" %s\n", lm_json_text(line, "problem", text, sizeof text));
    } else if (strcmp(event, "idle") == 0) {
        printf(_("no session is open, but %s was read\n"),
            lm_json_text(line, "eid", text, sizeof text));
    } else if (json_object_get(line, "tally") != NULL) {
        printf("%s  ", lm_json_text(line, "t", text, sizeof text));
        fputs(lm_json_true(line, "undo") ? _("taken back; ") : _("counted; "), stdout);
        lm_tally_line(stdout, json_object_get(line, "tally"));
        putchar('\n');
    }
}

static void show_line(const struct watching *x, const char *text, const json_t *line)
{
    char event[16];
    lm_json_text(line, "event", event, sizeof event);
    if (x->how == AS_JSON) {
        puts(text);
    } else if (strcmp(event, "verdict") == 0) {
        if (lm_json_true(line, "repeat"))
            return; /* the same pass goes on */
        lm_verdict_line(stdout, line);
        putchar('\n');
    } else if (strcmp(event, "session") == 0) {
        fputs(_("session: "), stdout);
        lm_session_line(stdout, json_object_get(line, "session"));
        fputs("; ", stdout);
        lm_tally_line(stdout, json_object_get(line, "tally"));
        putchar('\n');
    } else {
        show_words(event, line);
    }
}

static void draw(struct watching *x)
{
    if (x->how == AS_SCREEN) {
        lm_watch_draw(stdout, &x->terminal, &x->model);
        if (x->model.ring && x->bell)
            fputc('\a', stdout);
    }
    x->model.ring = false;
    fflush(stdout);
}

/* --- the loop --- */

static void take_lines(struct watching *x)
{
    char *text;
    size_t len;
    x->more = false;
    for (int i = 0; i < BURST && x->client != NULL && !x->stop; i++) {
        enum lm_err err = lm_client_line(x->client, 0, &text, &len);
        if (err == LM_EAGAIN)
            return;
        if (err != LM_OK) {
            lose(x);
            return;
        }
        json_t *line = json_loadb(text, len, 0, NULL);
        if (lm_watch_take(&x->model, line) && x->how != AS_SCREEN)
            show_line(x, text, line);
        json_decref(line);
        x->stop = x->until_close && x->model.ended;
    }
    x->more = x->client != NULL;
}

static void take_signal(struct watching *x)
{
    struct signalfd_siginfo info;
    while (read(x->signals, &info, sizeof info) == (ssize_t) sizeof info) {
        if (info.ssi_signo != SIGWINCH)
            x->stop = true;
        else if (x->how == AS_SCREEN) {
            lm_terminal_size(&x->terminal);
            fputs("\033[2J", stdout);
        }
    }
}

static void take_key(struct watching *x)
{
    char keys[64];
    ssize_t n = read(STDIN_FILENO, keys, sizeof keys);
    for (ssize_t i = 0; i < n; i++)
        if (keys[i] == 'q' || keys[i] == 'Q')
            x->stop = true;
}

static void turn(struct watching *x)
{
    struct pollfd fds[3] = {
        {.fd = x->signals, .events = POLLIN},
        {.fd = x->client != NULL ? lm_client_fd(x->client) : -1, .events = POLLIN},
        {.fd = x->terminal.changed ? STDIN_FILENO : -1, .events = POLLIN},
    };
    if (poll(fds, 3, x->more ? 0 : RETRY_MS) < 0 && errno != EINTR)
        x->stop = true;
    if (fds[0].revents != 0)
        take_signal(x);
    if ((fds[2].revents & POLLIN) != 0)
        take_key(x);
    else if (fds[2].revents != 0)
        x->stop = true; /* the terminal is gone */
    if (x->client != NULL)
        take_lines(x);
    else if (!x->stop && connect_it(x, NULL) != LM_OK)
        lose(x);
    x->stop = x->stop || (x->until_close && x->model.ended) || ferror(stdout) != 0;
}

static int open_signals(sigset_t *before)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGHUP);
    sigaddset(&set, SIGQUIT);
    sigaddset(&set, SIGWINCH);
    sigprocmask(SIG_BLOCK, &set, before);
    return signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
}

static int watch(struct watching *x)
{
    struct lm_problem p = {0};
    sigset_t before;
    if (connect_it(x, &p) != LM_OK) {
        lm_client_close(x->client);
        lm_problem_print(&p);
        return LM_EXIT_FAILED;
    }
    x->signals = open_signals(&before);
    if (x->how == AS_SCREEN)
        lm_terminal_begin(&x->terminal);
    draw(x);
    while (!x->stop) {
        turn(x);
        draw(x);
    }
    lm_terminal_end(&x->terminal);
    lm_client_close(x->client);
    close(x->signals);
    sigprocmask(SIG_SETMASK, &before, NULL);
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    struct watching *x = calloc(1, sizeof *x);
    if (x == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    x->args = args;
    x->bell = !lm_arg_given(args, "no-bell");
    x->until_close = lm_arg_given(args, "until-close");
    x->how = lm_arg_given(args, "json")                                ? AS_JSON
             : lm_terminal_is_screen() && !lm_arg_given(args, "lines") ? AS_SCREEN
                                                                       : AS_LINES;
    lm_watch_begin(&x->model);
    int exit = lm_client_path(args, x->path, sizeof x->path);
    if (exit == LM_EXIT_OK && !lm_arg_number(args, "after", 1, 4000000000000L, &x->after))
        exit = LM_EXIT_USAGE;
    if (exit == LM_EXIT_OK)
        exit = watch(x);
    free(x);
    return exit;
}

static const struct lm_option options[] = {
    {"lines", 0, NULL, "write lines, on a terminal too"},
    {"no-bell", 0, NULL, "do not ring on look and hold"},
    {"until-close", 0, NULL, "end when the session is closed"},
    {"after", 0, "SEQ", "begin behind this place in the journal"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_watch = {
    .name = "watch",
    .group = LM_GROUP_RACE,
    .summary = N_("See every animal go by"),
    .arguments = "",
    .details = "On a terminal: a screen that can be read from three metres away; q ends it. In a\n"
               "pipe: one line an event. With --json: the daemon's own event lines.",
    .example = "lugmark watch --until-close",
    .options = options,
    .run = run,
};
