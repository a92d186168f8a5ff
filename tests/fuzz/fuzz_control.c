/* Any bytes on the control socket of a daemon with a small register: each line gets one answer that
 * is an object, and whatever was asked the register is sound. */
#include "fuzz_help.h"

#include "daemon/daemon.h"

#include <fcntl.h>
#include <sys/socket.h>
#include <sys/un.h>

#define TURNS 400

static void put(struct lm_store *s, const char *key, uint64_t national, const char *visual)
{
    struct lm_record rec = {.n_devices = 1, .status = LM_ON_FARM};
    snprintf(rec.key, sizeof rec.key, "%s", key);
    snprintf(rec.mob, sizeof rec.mob, "does");
    MUST(lm_eid_make(999, national, &rec.devices[0].eid) == LM_OK);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "%s", visual);
    MUST(lm_store_put(s, &rec, 1, "", NULL) == LM_OK);
}

/* A socket nobody can connect to: the loop wants one. */
static int deaf(void)
{
    const struct sockaddr_un any = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    MUST(fd >= 0 && bind(fd, (const struct sockaddr *) &any, sizeof any.sun_family) == 0);
    MUST(listen(fd, 1) == 0);
    return fd;
}

/* The loop and its room are made once; register, fold and client anew for each input. */
static struct daemon *the_daemon(void)
{
    static struct daemon *d;
    if (d != NULL)
        return d;
    d = calloc(1, sizeof *d);
    MUST(d != NULL && (d->config = config_new()) != NULL);
    d->base = event_base_new();
    MUST(d->base != NULL && event_base_priority_init(d->base, PRIORITIES) == 0);
    MUST(control_begin(&d->control, d, deaf()) == LM_OK);
    MUST(journal_begin(&d->journal, d) == LM_OK);
    return d;
}

/* What came so far must be whole objects, one a line. Returns how many. */
static size_t objects(const char *text, size_t len)
{
    size_t n = 0;
    const char *end;
    while ((end = memchr(text, '\n', len)) != NULL) {
        json_t *line = json_loadb(text, (size_t) (end - text), JSON_REJECT_DUPLICATES, NULL);
        MUST(json_is_object(line));
        json_decref(line);
        len -= (size_t) (end - text) + 1;
        text = end + 1;
        n++;
    }
    MUST(len == 0);
    return n;
}

static size_t talk(struct daemon *d, int fd, const uint8_t *data, size_t size)
{
    static char heard[8u << 20];
    size_t n = 0, at = 0;
    for (int turn = 0; turn < TURNS; turn++) {
        if (at < size) {
            ssize_t sent = send(fd, data + at, size - at, MSG_NOSIGNAL | MSG_DONTWAIT);
            at += sent > 0 ? (size_t) sent : 0;
        }
        if (at == size)
            shutdown(fd, SHUT_WR);
        event_base_loop(d->base, EVLOOP_NONBLOCK);
        ssize_t got = recv(fd, heard + n, sizeof heard - n, MSG_DONTWAIT);
        if (got == 0)
            break;
        n += got > 0 ? (size_t) got : 0;
    }
    return objects(heard, n);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fuzz_store f = fuzz_store_new("control");
    struct daemon *d = the_daemon();
    int pair[2];
    put(f.s, "A1", 1, "0417");
    put(f.s, "A2", 2, "0418");
    d->store = f.s;
    MUST(fold_begin(&d->fold, f.s, d->config) == LM_OK);
    MUST(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0, pair) == 0);
    MUST(client_begin(&d->control.clients[0], d, pair[0]) == LM_OK);
    MUST(talk(d, pair[1], data, size) >= 1);
    close(pair[1]);
    client_free(&d->control.clients[0]);
    MUST(d->journal.n == 0 && !d->journal.failed);
    fold_end(&d->fold);
    fuzz_store_end(&f);
    return 0;
}
