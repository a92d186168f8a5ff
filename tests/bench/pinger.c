/*
 * Measure from the last byte written to a port until a socket says the code back.
 * usage: pinger LINK SOCKET COUNT GAP_US [REQUEST]
 * Makes a pseudo-terminal behind LINK, connects to SOCKET, sends REQUEST if given, waits for the
 * port to be opened, then prints p50, p99 and max in microseconds.
 */
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static double now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double) t.tv_sec * 1e6 + (double) t.tv_nsec / 1e3;
}

static int make_port(const char *link)
{
    struct termios raw;
    int master = posix_openpt(O_RDWR | O_NOCTTY);
    if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0)
        exit(1);
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY);
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    unlink(link);
    if (symlink(ptsname(master), link) != 0)
        exit(1);
    return master;
}

static int join(const char *path)
{
    struct sockaddr_un addr = {.sun_family = AF_UNIX};
    snprintf(addr.sun_path, sizeof addr.sun_path, "%s", path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    for (int i = 0; i < 100; i++) {
        if (connect(fd, (struct sockaddr *) &addr, sizeof addr) == 0)
            return fd;
        usleep(50000);
    }
    exit(1);
}

/** Read until the code comes by. */
static void wait_for(int fd, const char *code)
{
    static char buf[1 << 16];
    size_t used = 0;
    for (;;) {
        if (used > sizeof buf / 2) {
            memmove(buf, buf + used - 64, 64);
            used = 64;
        }
        ssize_t n = read(fd, buf + used, sizeof buf - 1 - used);
        if (n <= 0)
            exit(1);
        used += (size_t) n;
        buf[used] = '\0';
        if (strstr(buf, code))
            return;
    }
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *) a, y = *(const double *) b;
    return (x > y) - (x < y);
}

int main(int argc, char **argv)
{
    if (argc < 5)
        return 2;
    int count = atoi(argv[3]), gap = atoi(argv[4]);
    double *took = calloc((size_t) count, sizeof *took);
    int master = make_port(argv[1]), fd = join(argv[2]);
    if (argc > 5)
        dprintf(fd, "%s\n", argv[5]);
    for (struct pollfd p = {.fd = master, .events = POLLOUT};
         poll(&p, 1, 0) >= 0 && (p.revents & POLLHUP);)
        usleep(20000);
    usleep(200000);
    for (int i = 0; i < count; i++) {
        char line[32], code[24];
        snprintf(code, sizeof code, "999%012d", i + 1);
        int len = snprintf(line, sizeof line, "%s\r\n", code);
        double begin = now_us();
        if (write(master, line, (size_t) len) != len)
            return 1;
        wait_for(fd, code);
        took[i] = now_us() - begin;
        usleep((useconds_t) gap);
    }
    qsort(took, (size_t) count, sizeof *took, by_size);
    printf("%.0f %.0f %.0f\n", took[count / 2], took[count * 99 / 100], took[count - 1]);
    unlink(argv[1]);
    free(took);
    return 0;
}
