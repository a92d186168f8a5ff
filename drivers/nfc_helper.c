/*
 * lugmark-nfc: reads 13.56 MHz tags on a PN532 module and writes event lines.
 *
 * A process of its own because libnfc calls abort() on some answers and can wait for ever on
 * others: either ends this program, and the daemon starts it again.
 */
#include "nfc_helper.h"

#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <limits.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#include "lugmark/eventline.h"
#include "lugmark/version.h"
#include "port_impl.h"

#define EXIT_USAGE 2
#define EXIT_FAILED 4

#define ROUND_MS 100
/** Tags looked at in one round: more than fit in front of an antenna. */
#define ROUND_TAGS 4u
/** Rounds that fail in a row before the module is taken for broken. */
#define BAD_ROUNDS 10u

static const char usage[] =
    "usage: lugmark-nfc --port PORT [--uid]\n"
    "\n"
    "Reads 13.56 MHz (NFC) tags on a PN532 module at a serial port and writes one event line for\n"
    "each, ten times a second as long as a tag stays:\n"
    "  {\"reading\":\"999000000012345\"}    the code written on it (NDEF)\n"
    "  {\"reading\":\"uid:04A1B2C3D4E5F6\"} a chip without such a code, by its own number\n"
    "\n"
    "  --port PORT   a tty or a link to one, such as /dev/serial/by-id/...\n"
    "  --uid         name every chip by its own number; do not look at what is written on it\n"
    "  --help        this text\n"
    "  --version     the version\n"
    "\n"
    "13.56 MHz cannot read the electronic ear tags, boluses and implants of ISO 11784/11785: "
    "those\n"
    "answer at 134.2 kHz only. For them take a 134.2 kHz reader and the driver `serial`.\n"
    "\n"
    "lugmarkd runs this program for a reader with `driver = nfc`. Exit status: 0 ended by a "
    "signal\n"
    "or because nobody listens, 2 wrong usage, 4 the port or the module failed.\n"
    "\n"
    "Example:\n"
    "  lugmark-nfc --port /dev/ttyUSB0\n";

struct helper {
    nfc_context *context;
    nfc_device *dev;
    int guard;   /**< the port, opened and locked by us; libnfc opens it again */
    int signals; /**< readable when we are asked to end */
    bool uid_only;
    bool doubt; /**< the last round failed: a tag may be held of which nobody was told */
    struct tag_memory memory;
};

void helper_say(const char *fmt, ...)
{
    char line[512];
    int head = snprintf(line, sizeof line, "lugmark-nfc: ");
    va_list args;
    va_start(args, fmt);
    int body = vsnprintf(line + head, sizeof line - (size_t) head - 1, fmt, args);
    va_end(args);
    size_t len = body < 0 ? (size_t) head : (size_t) head + (size_t) body;
    if (len > sizeof line - 2)
        len = sizeof line - 2;
    line[len++] = '\n';
    ssize_t done = write(STDERR_FILENO, line, len);
    (void) done; /* nobody to tell if it fails */
}

static int fail(const struct lm_problem *p)
{
    helper_say("%s%s%s", p->what, p->mend[0] != '\0' ? "; to mend: " : "", p->mend);
    return EXIT_FAILED;
}

/* --- watchdog --- */

static void on_alarm(int number)
{
    static const char text[] = "lugmark-nfc: the module did not answer in time; given up\n";
    (void) number;
    ssize_t done = write(STDERR_FILENO, text, sizeof text - 1);
    (void) done;
    _exit(EXIT_FAILED);
}

void helper_watch(void)
{
    alarm(HELPER_HANG_S);
}

void helper_unwatch(void)
{
    alarm(0);
}

/* --- port --- */

/** Open and lock the port before libnfc does: it asks nobody whether the port is in use. */
static enum lm_err take_port(struct helper *h, const char *port, char *real, struct lm_problem *p)
{
    if (realpath(port, real) == NULL)
        return lm_port_why(port, errno, p);
    h->guard = open(real, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (h->guard < 0)
        return lm_port_why(real, errno, p);
    if (isatty(h->guard) == 0)
        return lm_port_why(real, ENOTTY, p);
    return flock(h->guard, LOCK_EX | LOCK_NB) == 0 ? LM_OK : lm_port_why(real, errno, p);
}

static enum lm_err open_module(struct helper *h, const char *real, struct lm_problem *p)
{
    nfc_connstring where; /* libnfc copies all of its 1024 bytes */
    memset(where, 0, sizeof where);
    /* The real path: a link by its place in the machine has colons, which mean something here. */
    if ((size_t) snprintf(where, sizeof where, "pn532_uart:%s", real) >= sizeof where)
        return lm_problem_set(p, LM_EIO, "use a shorter link", "the port's path is too long");
    nfc_init(&h->context);
    if (h->context == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "libnfc does not start");
    helper_watch();
    h->dev = nfc_open(h->context, where);
    helper_unwatch();
    if (h->dev == NULL)
        return lm_problem_set(p, LM_EIO,
            "check that a PN532 is there, has power and is set to serial (HSU)",
            "no PN532 module answers on %.200s", real);
    helper_watch();
    int bad = nfc_initiator_init(h->dev);
    /* The default lets a call fail when no tag comes within its time. */
    if (bad >= 0)
        bad = nfc_device_set_property_bool(h->dev, NP_INFINITE_SELECT, false);
    helper_unwatch();
    if (bad < 0)
        return lm_problem_set(p, LM_EIO, "take its power away for a moment",
            "the PN532 module on %.200s does not start: %s", real, nfc_strerror(h->dev));
    (void) ioctl(h->guard, TIOCEXCL); /* from now on nobody else opens it by mistake */
    return LM_OK;
}

static void close_module(struct helper *h)
{
    helper_watch();
    if (h->guard >= 0)
        (void) ioctl(h->guard, TIOCNXCL);
    if (h->dev != NULL)
        nfc_close(h->dev);
    if (h->context != NULL)
        nfc_exit(h->context);
    helper_unwatch();
}

/* --- rounds --- */

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static bool write_reading(struct lm_eid eid)
{
    struct lm_event ev = {
        .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE, .eid = eid};
    helper_unwatch(); /* a daemon that cannot take more just now is no fault of the module */
    return lm_eventline_write(stdout, &ev) == LM_OK && fflush(stdout) == 0;
}

/** Tags halt when they were read; without the field for a moment they answer again. */
static void wake_tags(nfc_device *dev)
{
    helper_watch();
    (void) nfc_device_set_property_bool(dev, NP_ACTIVATE_FIELD, false);
    (void) nfc_device_set_property_bool(dev, NP_ACTIVATE_FIELD, true);
}

static bool same_chip(const nfc_iso14443a_info *a, const nfc_iso14443a_info *b)
{
    return a->szUidLen == b->szUidLen && memcmp(a->abtUid, b->abtUid, sizeof a->abtUid) == 0;
}

/**
 * Read every tag in the field once.
 * @return 0, or libnfc's error. *listened becomes false when the output is closed.
 */
static int one_round(struct helper *h, bool *listened)
{
    static const nfc_modulation type_a = {.nmt = NMT_ISO14443A, .nbr = NBR_106};
    nfc_iso14443a_info last = {.szUidLen = 0};
    unsigned seen = 0;
    int n = 0;
    while (seen < ROUND_TAGS && *listened) {
        nfc_target target;
        struct lm_eid eid;
        helper_watch();
        memset(&target, 0, sizeof target);
        n = nfc_initiator_select_passive_target(h->dev, type_a, NULL, 0, &target);
        if (n <= 0)
            break;
        if (same_chip(&last, &target.nti.nai))
            break; /* it did not halt, and answers again */
        last = target.nti.nai;
        seen++;
        enum tag_what what = tag_read(h->dev, &target, h->uid_only, &h->memory, &eid);
        if (what == TAG_CODE || what == TAG_UID)
            *listened = write_reading(eid);
        helper_watch();
        (void) nfc_initiator_deselect_target(h->dev);
    }
    if (seen > 0 || (n == 0 && h->doubt))
        wake_tags(h->dev);
    if (seen == 0 && n == 0)
        h->memory = (struct tag_memory){0}; /* whoever comes next comes anew */
    h->doubt = n < 0;
    helper_unwatch();
    return n < 0 ? n : 0;
}

enum pause { PAUSE_OVER, PAUSE_ASKED, PAUSE_NOBODY, PAUSE_UNPLUGGED };

/** Wait for the next round, and look who is still there. */
static enum pause wait_until(const struct helper *h, int64_t when_ms)
{
    struct pollfd all[] = {
        {.fd = h->signals, .events = POLLIN}, {.fd = STDOUT_FILENO}, {.fd = h->guard}};
    int64_t left = when_ms - now_ms();
    if (poll(all, 3, left > 0 ? (int) left : 0) <= 0)
        return PAUSE_OVER;
    if (all[0].revents != 0)
        return PAUSE_ASKED;
    if ((all[1].revents & (POLLERR | POLLNVAL)) != 0)
        return PAUSE_NOBODY;
    return (all[2].revents & (POLLERR | POLLHUP)) != 0 ? PAUSE_UNPLUGGED : PAUSE_OVER;
}

static int read_tags(struct helper *h, const char *real)
{
    bool listened = true;
    unsigned bad = 0;
    for (;;) {
        int64_t next = now_ms() + ROUND_MS;
        int why = one_round(h, &listened);
        bad = why < 0 ? bad + 1 : 0;
        if (!listened)
            return 0;
        switch (wait_until(h, next)) {
        case PAUSE_OVER:
            break;
        case PAUSE_ASKED:
        case PAUSE_NOBODY:
            return 0;
        case PAUSE_UNPLUGGED:
            helper_say("%s is gone", real);
            return EXIT_FAILED;
        }
        if (bad == BAD_ROUNDS) {
            helper_say(
                "the PN532 module on %s fails again and again: %s", real, nfc_strerror(h->dev));
            return EXIT_FAILED;
        }
    }
}

/* --- start --- */

/** libnfc takes descriptor 0 for a wish to stop, and messages must not go into the port. */
static void hold_standard_files(void)
{
    int fd;
    do {
        fd = open("/dev/null", O_RDWR | O_CLOEXEC);
    } while (fd >= 0 && fd <= 2);
    if (fd > 2)
        close(fd);
}

static int take_signals(void)
{
    struct sigaction alarmed = {.sa_handler = on_alarm};
    sigset_t ends;
    sigaction(SIGALRM, &alarmed, NULL);
    signal(SIGPIPE, SIG_IGN);
    sigemptyset(&ends);
    sigaddset(&ends, SIGTERM);
    sigaddset(&ends, SIGINT);
    sigaddset(&ends, SIGHUP);
    sigprocmask(SIG_BLOCK, &ends, NULL);
    return signalfd(-1, &ends, SFD_CLOEXEC | SFD_NONBLOCK);
}

/** Returns -1 to go on, else the exit status. */
static int take_options(int argc, char **argv, const char **port, bool *uid_only)
{
    static const struct option longs[] = {{"port", required_argument, NULL, 'p'},
        {"uid", no_argument, NULL, 'u'}, {"help", no_argument, NULL, 'h'},
        {"version", no_argument, NULL, 'V'}, {NULL, 0, NULL, 0}};
    int c;
    while ((c = getopt_long(argc, argv, "p:uhV", longs, NULL)) != -1) {
        switch (c) {
        case 'p':
            *port = optarg;
            break;
        case 'u':
            *uid_only = true;
            break;
        case 'h':
            fputs(usage, stdout);
            return 0;
        case 'V':
            printf("lugmark-nfc %s\n", LM_VERSION);
            return 0;
        default:
            fputs("to mend: lugmark-nfc --help\n", stderr);
            return EXIT_USAGE;
        }
    }
    if (*port != NULL && optind == argc)
        return -1;
    fputs("lugmark-nfc: say which port, and nothing else: --port PORT\n"
          "to mend: lugmark-nfc --help\n",
        stderr);
    return EXIT_USAGE;
}

int main(int argc, char **argv)
{
    const char *port = NULL;
    char real[PATH_MAX];
    struct lm_problem p = {.err = LM_OK};
    struct helper h = {.guard = -1};
    hold_standard_files();
    int code = take_options(argc, argv, &port, &h.uid_only);
    if (code >= 0)
        return code;
    h.signals = take_signals();
    if (take_port(&h, port, real, &p) != LM_OK || open_module(&h, real, &p) != LM_OK)
        code = fail(&p);
    else
        code = read_tags(&h, real);
    close_module(&h);
    return code;
}
