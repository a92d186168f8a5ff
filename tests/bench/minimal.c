/*
 * The least a program can do with a reading and still keep it: read a line from a terminal, commit
 * one row to SQLite with synchronous=FULL, write the line to a socket. The yardstick for latency.
 * usage: minimal TTY SOCKET DATABASE
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

int main(int argc, char **argv)
{
    char buf[4096];
    struct termios raw;
    sqlite3 *db;
    if (argc != 4 || sqlite3_open(argv[3], &db) != SQLITE_OK)
        return 1;
    sqlite3_stmt *insert = prepare(db);
    int tty = open(argv[1], O_RDWR | O_NOCTTY);
    if (tty < 0 || tcgetattr(tty, &raw) != 0)
        die(argv[1]);
    cfmakeraw(&raw);
    tcsetattr(tty, TCSANOW, &raw);
    int client = accept(listen_on(argv[2]), NULL, NULL);
    size_t used = 0;
    for (;;) {
        struct pollfd pfd = {.fd = tty, .events = POLLIN};
        poll(&pfd, 1, -1);
        ssize_t n = read(tty, buf + used, sizeof buf - used);
        if (n <= 0)
            return 0;
        used += (size_t) n;
        char *end;
        while ((end = memchr(buf, '\n', used))) {
            size_t len = (size_t) (end - buf) + 1;
            sqlite3_bind_text(insert, 1, buf, (int) len - 1, SQLITE_STATIC);
            sqlite3_step(insert);
            sqlite3_reset(insert);
            if (write(client, buf, len) < 0)
                return 0;
            memmove(buf, end + 1, used - len);
            used -= len;
        }
    }
}
