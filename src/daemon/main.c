/** @file main.c
 * lugmarkd: reads the readers, keeps the journal, serves the control socket.
 */
#include "daemon.h"

#include "connection.h"
#include "json_memory.h"
#include "log.h"
#include "pair_tool.h"
#include "lugmark/version.h"
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#define EXIT_USAGE 2
#define EXIT_INPUT 3
#define EXIT_FAILED 4

static const char usage[] =
    "usage: lugmarkd [--config FILE] [--db FILE] [--socket PATH] [--foreground]\n"
    "       lugmarkd --pair[=look] | --paired | --unpair NAME|all  [--socket PATH]\n"
    "\n"
    "Reads the readers at the race, keeps every reading in the register's journal before anybody\n"
    "is told of it, and serves `lugmark` over a Unix socket. Ends on SIGTERM and SIGINT.\n"
    "\n"
    "  --config FILE   configuration; default /etc/lugmark/lugmark.conf, then\n"
    "                  $XDG_CONFIG_HOME/lugmark/lugmark.conf, then none\n"
    "  --db FILE       register; default $LUGMARK_DB, then /var/lib/lugmark/register.db;\n"
    "                  made when it is missing\n"
    "  --socket PATH   control socket; default $LUGMARK_SOCKET, then\n"
    "                  $XDG_RUNTIME_DIR/lugmark.sock, then /run/lugmark/control.sock\n"
    "  --foreground    taken and without effect: lugmarkd never leaves the foreground,\n"
    "                  the service manager or the shell puts it where it should be\n"
    "  --pair[=look]   let another device use the page: ask the lugmarkd that is at work to\n"
    "                  open it to the network and show the way in as a QR code; with look\n"
    "                  that device may change nothing\n"
    "  --paired        list the devices that may\n"
    "  --unpair NAME   forget one of them, or all\n"
    "  --help          this text\n"
    "  --version       the version\n"
    "\n"
    "Exit status: 0 ended by a signal, 2 wrong usage, 3 bad configuration, 4 the register or the\n"
    "socket failed.\n"
    "\n"
    "Example:\n"
    "  lugmarkd --config yard.conf --db yard.db --socket /tmp/yard.sock\n";

struct options {
    const char *config, *db, *socket;
    struct pair_ask ask; /**< verb NULL: to be a daemon */
};

/* Returns -1 to go on, else the exit status. */
static int take_options(int argc, char **argv, struct options *o)
{
    static const struct option longs[] = {{"config", required_argument, NULL, 'c'},
        {"db", required_argument, NULL, 'd'}, {"socket", required_argument, NULL, 's'},
        {"foreground", no_argument, NULL, 'f'}, {"pair", optional_argument, NULL, 'p'},
        {"paired", no_argument, NULL, 'l'}, {"unpair", required_argument, NULL, 'u'},
        {"help", no_argument, NULL, 'h'}, {"version", no_argument, NULL, 'V'}, {NULL, 0, NULL, 0}};
    int c;
    while ((c = getopt_long(argc, argv, "c:d:s:fhV", longs, NULL)) != -1) {
        switch (c) {
        case 'c':
            o->config = optarg;
            break;
        case 'd':
            o->db = optarg;
            break;
        case 's':
            o->socket = optarg;
            break;
        case 'f':
            break;
        case 'p':
            o->ask = (struct pair_ask){"pair", optarg};
            break;
        case 'l':
            o->ask = (struct pair_ask){"paired", NULL};
            break;
        case 'u':
            o->ask = (struct pair_ask){"unpair", optarg};
            break;
        case 'h':
            fputs(usage, stdout);
            return 0;
        case 'V':
            printf("lugmarkd %s\n", LM_VERSION);
            return 0;
        default:
            fputs("to mend: lugmarkd --help\n", stderr);
            return EXIT_USAGE;
        }
    }
    if (o->ask.verb != NULL && strcmp(o->ask.verb, "pair") == 0 && o->ask.word == NULL &&
        optind + 1 == argc) {
        o->ask.word = argv[optind++]; /* `--pair look` */
    }
    if (optind < argc) {
        fprintf(
            stderr, "lugmarkd: takes no argument `%s`\nto mend: lugmarkd --help\n", argv[optind]);
        return EXIT_USAGE;
    }
    return -1;
}

static void say_problem(const struct lm_problem *p, void *ctx)
{
    (void) ctx;
    log_problem(LOG_LEVEL_ERROR, "configuration", p);
}

/* The first start: nothing is wrong, and somebody must be told what comes next. */
static void say_no_readers(const char *path)
{
    const char *file = path != NULL ? path : "/etc/lugmark/lugmark.conf";
    log_at(LOG_LEVEL_NOTICE, "configuration",
        "no reader is named%s. To name one, write into %s: [reader front] and below it "
        "port = /dev/serial/by-id/... (ls /dev/serial/by-id shows yours), then start lugmarkd "
        "again; see man lugmark.conf",
        path != NULL ? "" : ", and there is no configuration", file);
}

/* Returns -1 to go on, else the exit status. */
static int take_config(const struct options *o, struct config *config, struct readers *readers)
{
    char found[PATH_MAX];
    const char *path = o->config != NULL ? o->config : lm_ini_default(found, sizeof found);
    if (path != NULL && config_read(config, path, say_problem, NULL) != LM_OK) {
        return EXIT_INPUT;
    }
    enum lm_err err = readers_new(readers, config, say_problem, NULL);
    if (err == LM_OK) {
        if (config->n_readers == 0) {
            say_no_readers(path);
        }
        return -1;
    }
    if (err != LM_EINPUT) {
        log_at(LOG_LEVEL_ERROR, "lugmarkd", "no reader can be made: %s", lm_err_str(err));
    }
    return err == LM_EINPUT ? EXIT_INPUT : EXIT_FAILED;
}

/* Keep descriptors 0-2 taken: a port that got one of them would be written to by every message. */
static void hold_standard_files(void)
{
    int fd;
    do {
        fd = open("/dev/null", O_RDWR | O_CLOEXEC);
    } while (fd >= 0 && fd <= 2);
    if (fd > 2) {
        close(fd);
    }
}

static void ignore_signals(void)
{
    signal(SIGPIPE, SIG_IGN); /* a client that left is an error code, not an end */
    signal(SIGHUP, SIG_IGN);  /* a terminal that was closed does not end the work at the race */
    signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is a full disk, and is said so */
}

/* One daemon a register, by whatever name it is called. Returns the descriptor that holds it. */
static int lock_register(const char *db, struct lm_problem *p)
{
    char real[PATH_MAX], path[PATH_MAX + 8];
    snprintf(p->file, sizeof p->file, "%s", db);
    if (realpath(db, real) == NULL) {
        lm_problem_set(
            p, LM_EIO, "check the path", "looking for the register: %s", strerror(errno));
        return -1;
    }
    snprintf(path, sizeof path, "%s.lock", real);
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0) {
        lm_problem_set(
            p, LM_EIO, "check who may write to its folder", "making %s: %s", path, strerror(errno));
        return -1;
    }
    if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
        lm_problem_set(p, LM_EBUSY, "stop the other one first, or give this one another --db",
            "another lugmarkd is at work on this register");
        close(fd);
        return -1;
    }
    return fd;
}

static void say_slow(void *ctx)
{
    (void) ctx;
    log_at(LOG_LEVEL_NOTICE, "lugmarkd",
        "once: the register is being prepared for looking up parts of numbers");
}

/* Lock and open; a register that is missing is made, and then locked. */
static enum lm_err take_register(
    const char *db, struct lm_store **store, int *lock, struct lm_problem *p)
{
    bool missing = access(db, F_OK) != 0 && errno == ENOENT;
    if (!missing) {
        *lock = lock_register(db, p);
        if (*lock < 0) {
            return LM_EBUSY;
        }
    }
    enum lm_err err = lm_store_open(db, LM_STORE_CREATE, store, p);
    if (err == LM_OK && !missing) {
        (void) lm_store_tend(*store, say_slow, NULL); /* if it cannot be, looking takes longer */
    }
    if (err != LM_OK || !missing) {
        return err;
    }
    log_at(LOG_LEVEL_WARNING, "lugmarkd",
        "%s was not there: made, and empty. To fill it: lugmark import --db %s REGISTER.csv", db,
        db);
    *lock = lock_register(db, p);
    return *lock < 0 ? LM_EBUSY : LM_OK;
}

static int serve(const struct options *o, struct daemon *d, const struct config *config)
{
    struct lm_problem p = {.err = LM_OK};
    struct lm_store *store = NULL;
    char socket_path[PATH_MAX];
    int lock = -1, listening = -1, code = EXIT_FAILED;
    const char *db = o->db != NULL ? o->db : getenv("LUGMARK_DB");
    db = db != NULL && db[0] != '\0' ? db : "/var/lib/lugmark/register.db";
    if (take_register(db, &store, &lock, &p) == LM_OK) {
        listening = control_socket(o->socket, socket_path, sizeof socket_path, &p);
    }
    if (listening >= 0) {
        d->db = db;
        d->socket = socket_path;
        code = daemon_run(d, config, store, listening);
        unlink(socket_path);
    } else {
        log_problem(LOG_LEVEL_ERROR, "lugmarkd", &p);
        readers_end(&d->readers);
    }
    lm_store_close(store);
    if (lock >= 0) {
        close(lock); /* the file stays: taking it away would let two daemons lock two files */
    }
    return code;
}

int main(int argc, char **argv)
{
    struct options o = {0};
    hold_standard_files();
    json_memory_watch();
    connection_memory();
    int code = take_options(argc, argv, &o);
    if (code >= 0) {
        return code;
    }
    if (o.ask.verb != NULL) {
        return pair_tool(&o.ask, o.socket);
    }
    ignore_signals();
    struct config *config = config_new();
    struct daemon *d = calloc(1, sizeof *d);
    code = EXIT_FAILED;
    if (config == NULL || d == NULL) {
        log_at(LOG_LEVEL_ERROR, "lugmarkd", "out of memory");
    } else {
        code = take_config(&o, config, &d->readers);
        if (code < 0) {
            code = serve(&o, d, config);
        } else {
            readers_end(&d->readers);
        }
    }
    free(d);
    free(config);
    return code;
}
