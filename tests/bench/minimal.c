/*
 * The least a program can do with readings and still keep them: read lines from terminals, commit
 * one row each to SQLite as durable as the register is, all that came in one turn together, then
 * write to a socket one line each, as long as a verdict is. What a reading is kept with: when,
 * where and which code, without an index. The yardstick for latency and for many lanes.
 * usage: minimal SOCKET DATABASE TTY...
 */
#include <fcntl.h>
#include <poll.h>
#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define TTYS 16
#define TTY_BYTES 4096
#define CODE 15
#define SHORTEST 16 /* a line of a reader: a code and its end */

/* Around the code: together as long as the daemon's line about an animal nobody knows. */
#define BEFORE                                                                                     \
    "{\"event\":\"verdict\",\"seq\":100000,\"t\":\"2026-01-01T00:00:00.000Z\",\"lane\":\"1\","     \
    "\"reader\":\"r1\",\"attention\":\"hold\",\"reasons\":[\"not-in-register\",\"test-code\"],"    \
    "\"repeat\":false,\"eid\":\""
#define AFTER                                                                                      \
    "\",\"called\":null,\"animal\":null,\"visual\":[],\"marks\":[],\"colour\":\"\",\"place\":"     \
    "\"\","                                                                                        \
    "\"sex\":\"\",\"mob\":\"\",\"say\":\"nobody we "                                               \
    "know\",\"tally\":{\"expected\":0,\"present\":0,"                                              \
    "\"not_seen\":0,\"identified\":0,\"readings\":100000,\"passes\":100000,\"heads\":null,"        \
    "\"go\":0,\"look\":0,\"hold\":100000},\"should\":\"\"}\n"
#define LINE (sizeof BEFORE - 1 + CODE + sizeof AFTER - 1)

struct tty {
    char buf[TTY_BYTES];
    size_t used;
};

static void die(const char *what)
{
    perror(what);
    exit(1);
}

static int listen_on(const char *path)
{
    struct sockaddr_un addr = {.sun_family = AF_UNIX};
    snprintf(addr.sun_path, sizeof addr.sun_path, "%s", path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    unlink(path);
    if (fd < 0 || bind(fd, (struct sockaddr *) &addr, sizeof addr) != 0 || listen(fd, 1) != 0)
        die("socket");
    return fd;
}

static sqlite3_stmt *prepare(sqlite3 *db)
{
    sqlite3_stmt *insert;
    sqlite3_exec(db,
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=EXTRA;"
        "CREATE TABLE event(seq INTEGER PRIMARY KEY, t_ms INTEGER, lane INTEGER, code TEXT) "
        "STRICT;",
        NULL, NULL, NULL);
    if (sqlite3_prepare_v2(db, "INSERT INTO event(t_ms, lane, code) VALUES (?, ?, ?)", -1, &insert,
            NULL) != SQLITE_OK)
        die(sqlite3_errmsg(db));
    return insert;
}

static int open_tty(const char *path)
{
    struct termios raw;
    int fd = open(path, O_RDWR | O_NOCTTY);
    if (fd < 0 || tcgetattr(fd, &raw) != 0)
        die(path);
    cfmakeraw(&raw);
    tcsetattr(fd, TCSANOW, &raw);
    return fd;
}

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static size_t say(const char *code, char *out)
{
    memcpy(out, BEFORE, sizeof BEFORE - 1);
    memcpy(out + sizeof BEFORE - 1, code, CODE);
    memcpy(out + sizeof BEFORE - 1 + CODE, AFTER, sizeof AFTER - 1);
    return LINE;
}

/* Insert the whole lines that a terminal holds, and put what is said of them behind the rest. */
static size_t take(struct tty *t, int lane, sqlite3_stmt *insert, char *out)
{
    size_t begin = 0, n, said = 0;
    char *end;
    while ((end = memchr(t->buf + begin, '\n', t->used - begin))) {
        n = (size_t) (end - t->buf) - begin;
        if (n >= CODE) {
            sqlite3_bind_int64(insert, 1, now_ms());
            sqlite3_bind_int(insert, 2, lane);
            sqlite3_bind_text(insert, 3, t->buf + begin, CODE, SQLITE_STATIC);
            sqlite3_step(insert);
            sqlite3_reset(insert);
            said += say(t->buf + begin, out + said);
        }
        begin += n + 1;
    }
    memmove(t->buf, t->buf + begin, t->used - begin);
    t->used -= begin;
    return said;
}

int main(int argc, char **argv)
{
    static struct tty ttys[TTYS];
    static char out[TTYS * (TTY_BYTES / SHORTEST) * LINE];
    struct pollfd polls[TTYS];
    sqlite3 *db;
    int n = argc - 3;
    if (n < 1 || n > TTYS || sqlite3_open(argv[2], &db) != SQLITE_OK)
        return 1;
    sqlite3_stmt *insert = prepare(db);
    for (int i = 0; i < n; i++)
        polls[i] = (struct pollfd){.fd = open_tty(argv[3 + i]), .events = POLLIN};
    int client = accept(listen_on(argv[1]), NULL, NULL);
    for (;;) {
        size_t len = 0;
        poll(polls, (nfds_t) n, -1);
        for (int i = 0; i < n; i++) {
            struct tty *t = &ttys[i];
            ssize_t got = 0;
            if (polls[i].revents)
                got = read(polls[i].fd, t->buf + t->used, sizeof t->buf - t->used);
            if (got < 0)
                return 0;
            t->used += (size_t) got;
        }
        if (n > 1) /* one line needs no transaction of its own */
            sqlite3_exec(db, "BEGIN", NULL, NULL, NULL);
        for (int i = 0; i < n; i++)
            len += take(&ttys[i], i + 1, insert, out + len);
        if (n > 1)
            sqlite3_exec(db, "COMMIT", NULL, NULL, NULL);
        for (size_t sent = 0; sent < len;) {
            ssize_t put = write(client, out + sent, len - sent);
            if (put <= 0)
                return 0;
            sent += (size_t) put;
        }
    }
}
