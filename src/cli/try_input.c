/* Bytes to try: from a file, standard input, or for some seconds from a port. */
#include "try.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "drivers/asking.h"
#include "problem.h"

#define CAPTURE_MAX (16u << 20)
#define SECONDS_DEFAULT 10
#define SECONDS_MOST 600

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static int take_file(struct lm_try *t, const char *path)
{
    FILE *in = strcmp(path, "-") == 0 ? stdin : fopen(path, "rbe");
    if (in == NULL)
        return lm_fail(
            LM_EXIT_INPUT, "check the path and who may read it", "%s: %s", path, strerror(errno));
    t->len = fread(t->bytes, 1, CAPTURE_MAX + 1, in);
    int failed = ferror(in) ? errno : 0;
    if (in != stdin)
        fclose(in);
    if (failed != 0)
        return lm_fail(LM_EXIT_INPUT, "check that it is a file", "%s: %s", path, strerror(failed));
    if (t->len > CAPTURE_MAX)
        return lm_fail(LM_EXIT_INPUT, "try a part of it, such as head -c 100000 FILE",
            "%s: more than 16 MiB", path);
    return LM_EXIT_OK;
}

/* Say what the reader must be told or asked. Returns how long until the next time, -1 for never. */
static int ask(struct lm_asking *asking, struct lm_port *port)
{
    size_t len;
    bool missed;
    int64_t now = now_ms();
    const uint8_t *bytes = lm_asking_due(asking, now, &len, &missed);
    if (bytes != NULL && lm_port_write(port, bytes, len) == LM_EAGAIN)
        lm_asking_again(asking, now);
    return lm_asking_wait_ms(asking, now);
}

static int listen_to(struct lm_try *t, struct lm_port *port, struct lm_asking *asking, long seconds)
{
    int64_t end = now_ms() + seconds * 1000;
    lm_asking_open(asking, now_ms());
    for (int64_t now = now_ms(); now < end && t->len < CAPTURE_MAX; now = now_ms()) {
        struct pollfd p = {.fd = lm_port_fd(port), .events = POLLIN};
        int wait = ask(asking, port);
        poll(&p, 1, wait >= 0 && wait < end - now ? wait : (int) (end - now));
        long n = lm_port_read(port, t->bytes + t->len, CAPTURE_MAX - t->len);
        if (n < 0)
            return lm_fail(LM_EXIT_FAILED, "plug it in again", "%s hung up", t->source);
        if (n > 0)
            lm_asking_heard(asking);
        t->len += (size_t) n;
    }
    return LM_EXIT_OK;
}

static int take_port(struct lm_try *t, const struct lm_args *args, const char *path)
{
    long seconds = SECONDS_DEFAULT;
    struct lm_line line;
    struct lm_port *port = NULL;
    struct lm_problem p = {0};
    struct lm_asking asking = {0};
    const struct lm_try_section *reader = lm_try_reader_at(t, path);
    const char *said = lm_arg(args, "line");
    if (!lm_arg_number(args, "seconds", 1, SECONDS_MOST, &seconds))
        return LM_EXIT_USAGE;
    if (said == NULL && reader != NULL)
        said = lm_try_setting(reader, "line");
    if (lm_line_parse(said != NULL ? said : "9600 8N1", &line) != LM_OK)
        return lm_usage(args, "--line %s is no line setting such as \"9600 8N1\"", said);
    struct lm_setting settings[LM_TRY_SETTINGS];
    for (size_t i = 0; reader != NULL && i < reader->n; i++)
        settings[i] = (struct lm_setting){reader->settings[i].key, reader->settings[i].value};
    if (lm_asking_read(&asking, settings, reader != NULL ? reader->n : 0, &p) != LM_OK ||
        lm_port_open(path, &line, &port, &p) != LM_OK)
        return lm_problem_fail(&p);
    fprintf(
        stderr, "listening at %s for %ld seconds: hold a device to the reader\n", path, seconds);
    int exit = listen_to(t, port, &asking, seconds);
    lm_port_close(port);
    return exit;
}

int lm_try_take(struct lm_try *t, const struct lm_args *args)
{
    const char *path = lm_arg(args, "try");
    struct stat about;
    t->source = strcmp(path, "-") == 0 ? "standard input" : path;
    t->bytes = malloc(CAPTURE_MAX + 1);
    if (t->bytes == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (strcmp(path, "-") != 0 && stat(path, &about) == 0 && S_ISCHR(about.st_mode))
        return take_port(t, args, path);
    if (lm_arg_given(args, "seconds") || lm_arg_given(args, "line"))
        return lm_usage(args, "--seconds and --line are for a port, and %s is none", t->source);
    return take_file(t, path);
}
