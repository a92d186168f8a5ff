#include "nth.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

/* The callee's names are given by the linker and by SQLite: nothing can be handed to them. */
static struct {
    bool armed;
    enum nth_kind kind;
    unsigned long count, at;
    int rc; /* what the SQLite call that failed said, until it is asked */
    sqlite3_mem_methods sqlite_memory;
} nth;

static bool fails(enum nth_kind kind)
{
    return nth.armed && nth.kind == kind && ++nth.count == nth.at;
}

void nth_arm(enum nth_kind kind, unsigned long n)
{
    nth.kind = kind;
    nth.count = 0;
    nth.at = n;
    nth.rc = SQLITE_OK;
    nth.armed = true;
}

unsigned long nth_disarm(void)
{
    nth.armed = false;
    return nth.count;
}

const char *nth_kind_name(enum nth_kind kind)
{
    static const char *const names[NTH_KINDS] = {"memory", "system", "sqlite"};
    return names[kind];
}

/* --- memory --- */

void *__real_malloc(size_t size);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *old, size_t size);
char *__real_strdup(const char *text);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t n, size_t size);
void *__wrap_realloc(void *old, size_t size);
char *__wrap_strdup(const char *text);

static bool no_memory(void)
{
    if (!fails(NTH_MEMORY))
        return false;
    errno = ENOMEM;
    return true;
}

void *__wrap_malloc(size_t size)
{
    return no_memory() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t n, size_t size)
{
    return no_memory() ? NULL : __real_calloc(n, size);
}

void *__wrap_realloc(void *old, size_t size)
{
    return no_memory() ? NULL : __real_realloc(old, size);
}

char *__wrap_strdup(const char *text)
{
    return no_memory() ? NULL : __real_strdup(text);
}

static void *sqlite_malloc(int size)
{
    return no_memory() ? NULL : nth.sqlite_memory.xMalloc(size);
}

static void *sqlite_realloc(void *old, int size)
{
    return no_memory() ? NULL : nth.sqlite_memory.xRealloc(old, size);
}

/* --- the operating system --- */

static bool bad_disk(void)
{
    if (!fails(NTH_SYSTEM))
        return false;
    errno = nth.at % 3 == 0 ? ENOSPC : EIO;
    return true;
}

int __real_open(const char *path, int flags, ...);
ssize_t __real_read(int fd, void *data, size_t n);
ssize_t __real_pread(int fd, void *data, size_t n, off_t at);
ssize_t __real_write(int fd, const void *data, size_t n);
int __real_fsync(int fd);
int __real_rename(const char *from, const char *to);
FILE *__real_fopen(const char *path, const char *mode);
FILE *__real_fdopen(int fd, const char *mode);
int __real_fflush(FILE *f);
int __real_fclose(FILE *f);
void *__real_mmap(void *at, size_t n, int prot, int flags, int fd, off_t from);
int __real_mkostemp(char *name, int flags);
int __wrap_open(const char *path, int flags, ...);
ssize_t __wrap_read(int fd, void *data, size_t n);
ssize_t __wrap_pread(int fd, void *data, size_t n, off_t at);
ssize_t __wrap_write(int fd, const void *data, size_t n);
int __wrap_fsync(int fd);
int __wrap_rename(const char *from, const char *to);
FILE *__wrap_fopen(const char *path, const char *mode);
FILE *__wrap_fdopen(int fd, const char *mode);
int __wrap_fflush(FILE *f);
int __wrap_fclose(FILE *f);
void *__wrap_mmap(void *at, size_t n, int prot, int flags, int fd, off_t from);
int __wrap_mkostemp(char *name, int flags);

int __wrap_open(const char *path, int flags, ...)
{
    va_list ap;
    va_start(ap, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(ap, mode_t) : 0;
    va_end(ap);
    return bad_disk() ? -1 : __real_open(path, flags, mode);
}

ssize_t __wrap_read(int fd, void *data, size_t n)
{
    return bad_disk() ? -1 : __real_read(fd, data, n);
}

ssize_t __wrap_pread(int fd, void *data, size_t n, off_t at)
{
    return bad_disk() ? -1 : __real_pread(fd, data, n, at);
}

ssize_t __wrap_write(int fd, const void *data, size_t n)
{
    return bad_disk() ? -1 : __real_write(fd, data, n);
}

int __wrap_fsync(int fd)
{
    return bad_disk() ? -1 : __real_fsync(fd);
}

int __wrap_rename(const char *from, const char *to)
{
    return bad_disk() ? -1 : __real_rename(from, to);
}

FILE *__wrap_fopen(const char *path, const char *mode)
{
    return bad_disk() ? NULL : __real_fopen(path, mode);
}

FILE *__wrap_fdopen(int fd, const char *mode)
{
    return bad_disk() ? NULL : __real_fdopen(fd, mode);
}

int __wrap_fflush(FILE *f)
{
    return f != stderr && bad_disk() ? EOF : __real_fflush(f);
}

/* A close that fails has closed all the same. */
int __wrap_fclose(FILE *f)
{
    bool bad = bad_disk();
    int error = errno;
    int rc = __real_fclose(f);
    errno = bad ? error : errno;
    return bad ? EOF : rc;
}

void *__wrap_mmap(void *at, size_t n, int prot, int flags, int fd, off_t from)
{
    return bad_disk() ? MAP_FAILED : __real_mmap(at, n, prot, flags, fd, from);
}

int __wrap_mkostemp(char *name, int flags)
{
    return bad_disk() ? -1 : __real_mkostemp(name, flags);
}

/* What SQLite asks of the system, through its own table. */

static int sqlite_open(const char *path, int flags, int mode)
{
    return bad_disk() ? -1 : open(path, flags, mode);
}

static ssize_t sqlite_pread(int fd, void *data, size_t n, off_t at)
{
    return bad_disk() ? -1 : __real_pread(fd, data, n, at);
}

static ssize_t sqlite_pwrite(int fd, const void *data, size_t n, off_t at)
{
    return bad_disk() ? -1 : pwrite(fd, data, n, at);
}

static ssize_t sqlite_read(int fd, void *data, size_t n)
{
    return bad_disk() ? -1 : __real_read(fd, data, n);
}

static ssize_t sqlite_write(int fd, const void *data, size_t n)
{
    return bad_disk() ? -1 : __real_write(fd, data, n);
}

static int sqlite_truncate(int fd, off_t size)
{
    return bad_disk() ? -1 : ftruncate(fd, size);
}

static int sqlite_fstat(int fd, struct stat *sb)
{
    return bad_disk() ? -1 : fstat(fd, sb);
}

static int sqlite_unlink(const char *path)
{
    return bad_disk() ? -1 : unlink(path);
}

static void *sqlite_mmap(void *at, size_t n, int prot, int flags, int fd, off_t from)
{
    return bad_disk() ? MAP_FAILED : __real_mmap(at, n, prot, flags, fd, from);
}

/* --- SQLite's own calls --- */

static bool bad_call(void)
{
    if (!fails(NTH_SQLITE))
        return false;
    static const int codes[] = {
        SQLITE_IOERR_FSYNC, SQLITE_NOMEM, SQLITE_FULL, SQLITE_CORRUPT, SQLITE_BUSY};
    nth.rc = codes[nth.at % 5];
    return true;
}

int __real_sqlite3_prepare_v2(sqlite3 *, const char *, int, sqlite3_stmt **, const char **);
int __real_sqlite3_prepare_v3(
    sqlite3 *, const char *, int, unsigned, sqlite3_stmt **, const char **);
int __real_sqlite3_step(sqlite3_stmt *);
int __real_sqlite3_exec(
    sqlite3 *, const char *, int (*)(void *, int, char **, char **), void *, char **);
int __real_sqlite3_extended_errcode(sqlite3 *);
const char *__real_sqlite3_errmsg(sqlite3 *);
sqlite3_backup *__real_sqlite3_backup_init(sqlite3 *, const char *, sqlite3 *, const char *);
int __real_sqlite3_backup_step(sqlite3_backup *, int);
int __wrap_sqlite3_prepare_v2(sqlite3 *, const char *, int, sqlite3_stmt **, const char **);
int __wrap_sqlite3_prepare_v3(
    sqlite3 *, const char *, int, unsigned, sqlite3_stmt **, const char **);
int __wrap_sqlite3_step(sqlite3_stmt *);
int __wrap_sqlite3_exec(
    sqlite3 *, const char *, int (*)(void *, int, char **, char **), void *, char **);
int __wrap_sqlite3_extended_errcode(sqlite3 *);
const char *__wrap_sqlite3_errmsg(sqlite3 *);
sqlite3_backup *__wrap_sqlite3_backup_init(sqlite3 *, const char *, sqlite3 *, const char *);
int __wrap_sqlite3_backup_step(sqlite3_backup *, int);

int __wrap_sqlite3_prepare_v2(
    sqlite3 *db, const char *sql, int n, sqlite3_stmt **st, const char **tail)
{
    *st = NULL;
    return bad_call() ? nth.rc : __real_sqlite3_prepare_v2(db, sql, n, st, tail);
}

int __wrap_sqlite3_prepare_v3(
    sqlite3 *db, const char *sql, int n, unsigned flags, sqlite3_stmt **st, const char **tail)
{
    *st = NULL;
    return bad_call() ? nth.rc : __real_sqlite3_prepare_v3(db, sql, n, flags, st, tail);
}

int __wrap_sqlite3_step(sqlite3_stmt *st)
{
    return bad_call() ? nth.rc : __real_sqlite3_step(st);
}

int __wrap_sqlite3_exec(
    sqlite3 *db, const char *sql, int (*fn)(void *, int, char **, char **), void *ctx, char **said)
{
    return bad_call() ? nth.rc : __real_sqlite3_exec(db, sql, fn, ctx, said);
}

int __wrap_sqlite3_extended_errcode(sqlite3 *db)
{
    int rc = nth.rc;
    nth.rc = SQLITE_OK;
    return rc != SQLITE_OK ? rc : __real_sqlite3_extended_errcode(db);
}

const char *__wrap_sqlite3_errmsg(sqlite3 *db)
{
    return nth.armed && nth.kind == NTH_SQLITE ? "made to fail" : __real_sqlite3_errmsg(db);
}

sqlite3_backup *__wrap_sqlite3_backup_init(
    sqlite3 *to, const char *to_name, sqlite3 *from, const char *from_name)
{
    return bad_call() ? NULL : __real_sqlite3_backup_init(to, to_name, from, from_name);
}

int __wrap_sqlite3_backup_step(sqlite3_backup *copy, int pages)
{
    return bad_call() ? nth.rc : __real_sqlite3_backup_step(copy, pages);
}

static void stand_in(const char *name, sqlite3_syscall_ptr fn)
{
    sqlite3_vfs *v = sqlite3_vfs_find(NULL);
    if (v->xSetSystemCall(v, name, fn) != SQLITE_OK)
        abort();
}

void nth_install(void)
{
    sqlite3_config(SQLITE_CONFIG_GETMALLOC, &nth.sqlite_memory);
    sqlite3_mem_methods mine = nth.sqlite_memory;
    mine.xMalloc = sqlite_malloc;
    mine.xRealloc = sqlite_realloc;
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    sqlite3_config(SQLITE_CONFIG_MALLOC, &mine);
    json_set_alloc_funcs(__wrap_malloc, free);
    sqlite3_initialize();
    stand_in("open", (sqlite3_syscall_ptr) sqlite_open);
    stand_in("pread", (sqlite3_syscall_ptr) sqlite_pread);
    stand_in("pread64", (sqlite3_syscall_ptr) sqlite_pread);
    stand_in("pwrite", (sqlite3_syscall_ptr) sqlite_pwrite);
    stand_in("pwrite64", (sqlite3_syscall_ptr) sqlite_pwrite);
    stand_in("read", (sqlite3_syscall_ptr) sqlite_read);
    stand_in("write", (sqlite3_syscall_ptr) sqlite_write);
    stand_in("ftruncate", (sqlite3_syscall_ptr) sqlite_truncate);
    stand_in("fstat", (sqlite3_syscall_ptr) sqlite_fstat);
    stand_in("unlink", (sqlite3_syscall_ptr) sqlite_unlink);
    stand_in("mmap", (sqlite3_syscall_ptr) sqlite_mmap);
}
