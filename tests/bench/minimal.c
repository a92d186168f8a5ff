/*
 * The least a program can do with readings and still keep them: read lines from terminals, commit
 * one row each to SQLite with synchronous=FULL, all that came in one turn together, then write the
 * lines to a socket. The yardstick for latency and for many lanes.
 * usage: minimal SOCKET DATABASE TTY...
 */
#include <fcntl.h>
#include <poll.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <termios.h>
#include <unistd.h>

#define TTYS 16

struct tty {
    char buf[4096];
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
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
        "CREATE TABLE event(seq INTEGER PRIMARY KEY, code TEXT) STRICT;"
        "CREATE INDEX by_code ON event(code);",
        NULL, NULL, NULL);
    if (sqlite3_prepare_v2(db, "INSERT INTO event(code) VALUES (?)", -1, &insert, NULL) !=
        SQLITE_OK)
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

/* Insert the whole lines that a terminal holds, and put them behind what is to be sent. */
static size_t take(struct tty *t, sqlite3_stmt *insert, char *out)
{
    size_t begin = 0, n;
    char *end;
    while ((end = memchr(t->buf + begin, '\n', t->used - begin))) {
        n = (size_t) (end - t->buf) - begin;
        sqlite3_bind_text(insert, 1, t->buf + begin, (int) n, SQLITE_STATIC);
        sqlite3_step(insert);
        sqlite3_reset(insert);
        begin += n + 1;
    }
    memcpy(out, t->buf, begin);
    memmove(t->buf, t->buf + begin, t->used - begin);
    t->used -= begin;
    return begin;
}

int main(int argc, char **argv)
{
    static struct tty ttys[TTYS];
    static char out[TTYS * sizeof ttys[0].buf];
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
            len += take(&ttys[i], insert, out + len);
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
