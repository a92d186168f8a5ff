/* The nth call of one kind fails, in a live daemon: LD_PRELOAD. The file in NTH_FAULT is shared
 * with the test: numbers of 32 bits: which kind (0: none; 1 memory, 2 system, 3 SQLite), which of
 * its calls fails, how many there were, how many failed. NTH_TRACE: say where that was. Only
 * lugmarkd itself is meant, none of the programs that it starts; what is written to a log is let
 * through. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <unistd.h>

enum { MEMORY = 1, SYSTEM, SQLITE };

struct plan {
    uint32_t kind, at, calls, failed;
};

/* Names and arguments of what follows are given: nothing can be handed to it. */
static volatile struct plan *plan;
static int sqlite_rc, sqlite_told;

/* The function that would have been called, looked up once. */
#define REAL(name)                                                                                 \
    static __typeof__(name) *real;                                                                 \
    if (real == NULL)                                                                              \
    *(void **) &real = dlsym(RTLD_NEXT, #name)

__attribute__((constructor)) static void begin(void)
{
    const char *path = getenv("NTH_FAULT");
    if (path == NULL || strcmp(program_invocation_short_name, "lugmarkd") != 0)
        return;
    int fd = open(path, O_RDWR | O_CLOEXEC);
    void *at =
        fd < 0 ? MAP_FAILED : mmap(NULL, sizeof *plan, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (fd >= 0)
        close(fd);
    if (at != MAP_FAILED)
        plan = at;
}

static int fails(uint32_t kind)
{
    if (plan == NULL || plan->kind != kind || ++plan->calls != plan->at)
        return 0;
    plan->failed++;
    if (getenv("NTH_TRACE") != NULL) {
        void *stack[40];
        plan->kind = 0; /* backtrace() allocates, too */
        backtrace_symbols_fd(stack, backtrace(stack, 40), 2);
        plan->kind = kind;
    }
    return 1;
}

/* --- memory --- */

static int no_memory(void)
{
    if (!fails(MEMORY))
        return 0;
    errno = ENOMEM;
    return 1;
}

void *malloc(size_t size)
{
    REAL(malloc);
    return no_memory() ? NULL : real(size);
}

void *calloc(size_t n, size_t size)
{
    REAL(calloc);
    return no_memory() ? NULL : real(n, size);
}

void *realloc(void *old, size_t size)
{
    REAL(realloc);
    return no_memory() ? NULL : real(old, size);
}

char *strdup(const char *text)
{
    size_t n = strlen(text) + 1;
    char *copy = malloc(n);
    return copy != NULL ? memcpy(copy, text, n) : NULL;
}

/* --- the operating system --- */

static int bad_system(void)
{
    if (!fails(SYSTEM))
        return 0;
    errno = plan->at % 3 == 0 ? ENOSPC : EIO;
    return 1;
}

int open(const char *path, int flags, ...)
{
    REAL(open);
    va_list ap;
    va_start(ap, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(ap, mode_t) : 0;
    va_end(ap);
    return bad_system() ? -1 : real(path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    REAL(open64);
    va_list ap;
    va_start(ap, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(ap, mode_t) : 0;
    va_end(ap);
    return bad_system() ? -1 : real(path, flags, mode);
}

FILE *fopen(const char *path, const char *mode)
{
    REAL(fopen);
    return bad_system() ? NULL : real(path, mode);
}

ssize_t read(int fd, void *data, size_t n)
{
    REAL(read);
    return bad_system() ? -1 : real(fd, data, n);
}

ssize_t readv(int fd, const struct iovec *parts, int n)
{
    REAL(readv);
    return bad_system() ? -1 : real(fd, parts, n);
}

ssize_t pread64(int fd, void *data, size_t n, off64_t at)
{
    REAL(pread64);
    return bad_system() ? -1 : real(fd, data, n, at);
}

ssize_t write(int fd, const void *data, size_t n)
{
    REAL(write);
    return fd != 2 && bad_system() ? -1 : real(fd, data, n);
}

ssize_t writev(int fd, const struct iovec *parts, int n)
{
    REAL(writev);
    return bad_system() ? -1 : real(fd, parts, n);
}

/* What fails may be half done. */
ssize_t pwrite64(int fd, const void *data, size_t n, off64_t at)
{
    REAL(pwrite64);
    if (!bad_system())
        return real(fd, data, n, at);
    int error = errno;
    if (real(fd, data, n / 2, at) < 0)
        abort();
    errno = error;
    return -1;
}

int fsync(int fd)
{
    REAL(fsync);
    return bad_system() ? -1 : real(fd);
}

int fdatasync(int fd)
{
    REAL(fdatasync);
    return bad_system() ? -1 : real(fd);
}

int ftruncate64(int fd, off64_t size)
{
    REAL(ftruncate64);
    return bad_system() ? -1 : real(fd, size);
}

int unlink(const char *path)
{
    REAL(unlink);
    return bad_system() ? -1 : real(path);
}

int rename(const char *from, const char *to)
{
    REAL(rename);
    return bad_system() ? -1 : real(from, to);
}

void *mmap64(void *at, size_t n, int prot, int flags, int fd, off64_t from)
{
    REAL(mmap64);
    return bad_system() ? MAP_FAILED : real(at, n, prot, flags, fd, from);
}

int accept4(int fd, struct sockaddr *from, socklen_t *len, int flags)
{
    REAL(accept4);
    return bad_system() ? -1 : real(fd, from, len, flags);
}

/* --- SQLite --- */

/* SQLite calls itself, too: what it asks of itself does not fail in this way. */
static int inside;

#define INSIDE(call)                                                                               \
    inside++;                                                                                      \
    int rc = call;                                                                                 \
    inside--;                                                                                      \
    return rc

static int bad_call(void)
{
    if (inside > 0)
        return 0;
    sqlite_rc = sqlite_told = SQLITE_OK;
    if (!fails(SQLITE))
        return 0;
    static const int codes[] = {
        SQLITE_IOERR_FSYNC, SQLITE_NOMEM, SQLITE_FULL, SQLITE_CORRUPT, SQLITE_BUSY};
    sqlite_rc = codes[plan->at % 5];
    return 1;
}

int sqlite3_prepare_v2(sqlite3 *db, const char *sql, int n, sqlite3_stmt **st, const char **tail)
{
    REAL(sqlite3_prepare_v2);
    *st = NULL;
    if (bad_call())
        return sqlite_rc;
    INSIDE(real(db, sql, n, st, tail));
}

int sqlite3_prepare_v3(
    sqlite3 *db, const char *sql, int n, unsigned flags, sqlite3_stmt **st, const char **tail)
{
    REAL(sqlite3_prepare_v3);
    *st = NULL;
    if (bad_call())
        return sqlite_rc;
    INSIDE(real(db, sql, n, flags, st, tail));
}

int sqlite3_step(sqlite3_stmt *st)
{
    REAL(sqlite3_step);
    if (bad_call())
        return sqlite_rc;
    INSIDE(real(st));
}

int sqlite3_exec(
    sqlite3 *db, const char *sql, int (*fn)(void *, int, char **, char **), void *ctx, char **said)
{
    REAL(sqlite3_exec);
    if (bad_call())
        return sqlite_rc;
    INSIDE(real(db, sql, fn, ctx, said));
}

/* What the failed call said, until it was asked. */
int sqlite3_extended_errcode(sqlite3 *db)
{
    REAL(sqlite3_extended_errcode);
    int rc = sqlite_rc;
    sqlite_told = rc;
    sqlite_rc = SQLITE_OK;
    return rc != SQLITE_OK ? rc : real(db);
}

const char *sqlite3_errmsg(sqlite3 *db)
{
    REAL(sqlite3_errmsg);
    int rc = sqlite_told;
    sqlite_told = SQLITE_OK;
    return rc != SQLITE_OK ? "made to fail" : real(db);
}
