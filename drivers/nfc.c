/** @file nfc.c
 * Driver `nfc`: tags whose chip is 13.56 MHz, on a PN532 module at a serial port.
 *
 * Settings:  port = a tty or a stable link to one; uid = yes to name every chip by its own number
 *            and never look at what is written on it (default no).
 * Link:      `program` with a command of its own: lugmark-nfc, beside lugmarkd, in
 *            ../libexec/lugmark or in PATH. The library for these readers can abort and can wait
 *            for ever, so it never runs inside the daemon.
 * Framing:   program.c's.
 * Integrity: the chip's and the module's own checksums.
 * Oddities:  13.56 MHz cannot read the 134.2 kHz devices of ISO 11784/11785: another carrier,
 *            another coupling, another protocol.
 * Fixtures:  none; tests/system/pn532.py plays the module.
 */
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "list.h"
#include "port_impl.h"
#include "program.h"

#define HELPER "lugmark-nfc"

struct nfc {
    struct program program; /**< first: the functions of program.c take it */
    char helper[PATH_MAX];
    char port[PATH_MAX];
    bool uid_only;
};

static enum lm_err read_settings(
    struct nfc *n, const struct lm_setting *settings, size_t count, struct lm_problem *p)
{
    const char *port = lm_setting_get(settings, count, "port");
    const char *uid = lm_setting_get(settings, count, "uid");
    if (port == NULL || port[0] == '\0')
        return lm_problem_set(p, LM_EINPUT, "add port = /dev/serial/by-id/... to this reader",
            "an nfc reader needs a port");
    if (strlen(port) >= sizeof n->port)
        return lm_problem_set(p, LM_EINPUT, NULL, "port is longer than a path can be");
    snprintf(n->port, sizeof n->port, "%s", port);
    n->uid_only = uid != NULL && strcmp(uid, "yes") == 0;
    if (uid != NULL && !n->uid_only && strcmp(uid, "no") != 0)
        return lm_problem_set(p, LM_EINPUT, "write yes or no", "uid '%.60s' is not known", uid);
    return LM_OK;
}

static void *nfc_new(const struct lm_setting *settings, size_t count, struct lm_problem *p)
{
    struct nfc *n = calloc(1, sizeof *n);
    if (n == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    if (program_init(&n->program, p) != LM_OK || read_settings(n, settings, count, p) != LM_OK) {
        program_free(n);
        return NULL;
    }
    return n;
}

/** Put the path of the helper beside the daemon, or under the same prefix, into n->helper. */
static bool find_beside(struct nfc *n, const char *under)
{
    char self[PATH_MAX];
    ssize_t len = readlink("/proc/self/exe", self, sizeof self - 1);
    if (len <= 0)
        return false;
    self[len] = '\0';
    char *slash = strrchr(self, '/');
    if (slash == NULL)
        return false;
    *slash = '\0';
    int full = snprintf(n->helper, sizeof n->helper, "%s/%s" HELPER, self, under);
    return full > 0 && (size_t) full < sizeof n->helper && access(n->helper, X_OK) == 0;
}

static void make_command(struct nfc *n)
{
    if (!find_beside(n, "") && !find_beside(n, "../libexec/lugmark/"))
        snprintf(n->helper, sizeof n->helper, HELPER); /* wherever PATH has it */
    char **argv = n->program.argv;
    *argv++ = n->helper;
    *argv++ = (char *) "--port";
    *argv++ = n->port;
    if (n->uid_only)
        *argv++ = (char *) "--uid";
    *argv = NULL;
}

static enum lm_err nfc_open(void *state, int *fd, struct lm_problem *p)
{
    struct nfc *n = state;
    program_close(n);
    /* What can be told without starting anything. */
    if (access(n->port, R_OK | W_OK) != 0)
        return lm_port_why(n->port, errno, p);
    make_command(n);
    enum lm_err err = program_open(n, fd, p);
    if (err == LM_ENOTFOUND)
        return lm_problem_set(p, LM_ENOTFOUND, "install it beside lugmarkd",
            "the program " HELPER " is not there, which reads this module");
    if (err == LM_OK && realpath(n->port, n->program.found) == NULL)
        snprintf(n->program.found, sizeof n->program.found, "%s", n->port);
    return err;
}

static const char *const nfc_keys[] = {"port", "uid", NULL};

const struct lm_driver_ops lm_driver_nfc = {
    .name = "nfc",
    .new_ = nfc_new,
    .open = nfc_open,
    .service = program_service,
    .tick_ms = program_tick_ms,
    .tick = program_service,
    .close = program_close,
    .free_ = program_free,
    .describe = program_describe,
    .gone = program_gone,
    .finished = NULL,
    .keys = nfc_keys,
};
