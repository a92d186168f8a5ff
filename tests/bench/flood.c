/*
 * Eight antennas that never rest: write codes to several ports as fast as they are taken, until the
 * socket has said the last one of each.
 * usage: flood LINK SOCKET LANES COUNT [REQUEST]; prints readings a second. The ports are LINK0 and
 * so on. REQUEST is sent to the socket first.
 */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define LANES 16
#define WINDOW 960 /* readings sent and not yet said back: a daemon may drop who lags behind */
#define LINE 17
#define LAST "999777"

struct port {
    int fd;
    char *text;
    size_t len, sent;
};

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double) t.tv_sec + (double) t.tv_nsec / 1e9;
}

static int make_port(const char *base, int lane)
{
    char link[200];
    struct termios raw;
    int master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0)
        exit(1);
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY);
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    snprintf(link, sizeof link, "%s%d", base, lane);
    unlink(link);
    if (symlink(ptsname(master), link) != 0)
        exit(1);
    return master;
}

static struct port make(const char *base, int lane, int count)
{
    struct port p = {.fd = make_port(base, lane)};
    p.text = malloc((size_t) count * LINE + 1);
    for (int i = 0; i < count; i++) {
        if (i + 1 < count)
            snprintf(p.text + p.len, LINE + 1, "999%03u%09u\r\n", (unsigned) lane % 1000,
                (unsigned) (i + 1) % 1000000000);
        else
            snprintf(p.text + p.len, LINE + 1, LAST "%09u\r\n", (unsigned) (lane + 1) % 100);
        p.len += LINE;
    }
    return p;
}

static int join(const char *path)
{
    struct sockaddr_un addr = {.sun_family = AF_UNIX};
    snprintf(addr.sun_path, sizeof addr.sun_path, "%s", path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    for (int i = 0; i < 200; i++) {
        if (connect(fd, (struct sockaddr *) &addr, sizeof addr) == 0)
            return fd;
        usleep(50000);
    }
    exit(1);
}

static void wait_open(const struct port *p)
{
    struct pollfd f = {.fd = p->fd, .events = POLLOUT};
    while (poll(&f, 1, 0) >= 0 && (f.revents & POLLHUP))
        usleep(20000);
}

static void feed(struct port *p)
{
    size_t n = p->len - p->sent < 60 * LINE ? p->len - p->sent : 60 * LINE;
    ssize_t put = write(p->fd, p->text + p->sent, n);
    if (put > 0)
        p->sent += (size_t) put;
    else if (put < 0 && errno != EAGAIN)
        exit(1);
}

/* Which lanes' last codes are in what came; a tail is kept, for a code may be cut in two. */
static unsigned listen_to(int fd, long *lines)
{
    static char buf[1 << 18];
    static size_t used;
    unsigned done = 0;
    ssize_t n = read(fd, buf + used, sizeof buf - 1 - used);
    if (n <= 0)
        exit(1);
    for (ssize_t i = 0; i < n; i++)
        *lines += buf[used + (size_t) i] == '\n';
    used += (size_t) n;
    buf[used] = '\0';
    for (char *at = buf; (at = memmem(at, used - (size_t) (at - buf), LAST, 6)) != NULL; at += 6)
        if (buf + used - at >= 15)
            done |= 1u << (atoi((char[]){at[12], at[13], at[14], '\0'}) - 1);
    size_t keep = used < 32 ? used : 32;
    memmove(buf, buf + used - keep, keep);
    used = keep;
    return done;
}

int main(int argc, char **argv)
{
    struct port ports[LANES];
    struct pollfd polls[LANES + 1];
    if (argc < 5)
        return 2;
    int lanes = atoi(argv[3]), count = atoi(argv[4]);
    unsigned done = 0;
    if (lanes < 1 || lanes > LANES || count < 2)
        return 2;
    for (int i = 0; i < lanes; i++)
        ports[i] = make(argv[1], i, count);
    int fd = join(argv[2]);
    if (argc > 5)
        dprintf(fd, "%s\n", argv[5]);
    for (int i = 0; i < lanes; i++)
        wait_open(&ports[i]);
    usleep(300000);
    long lines = 0;
    double begin = now_s();
    while (done != (1u << lanes) - 1) {
        long sent = 0;
        for (int i = 0; i < lanes; i++)
            sent += (long) (ports[i].sent / LINE);
        for (int i = 0; i < lanes; i++) {
            bool more = ports[i].sent < ports[i].len && sent - lines < WINDOW;
            polls[i] = (struct pollfd){.fd = ports[i].fd, .events = more ? POLLOUT : 0};
        }
        polls[lanes] = (struct pollfd){.fd = fd, .events = POLLIN};
        if (poll(polls, (nfds_t) lanes + 1, 60000) <= 0)
            return 1;
        if (polls[lanes].revents)
            done |= listen_to(fd, &lines);
        for (int i = 0; i < lanes; i++)
            if (polls[i].revents & POLLOUT)
                feed(&ports[i]);
    }
    printf("%.0f\n", lanes * count / (now_s() - begin));
    return 0;
}
