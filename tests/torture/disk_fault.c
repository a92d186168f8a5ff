/* A disk that fails once in a while when a test says so: LD_PRELOAD. The file in DISK_FAULT is
 * shared with the test: three numbers, each of 32 bits: every how many calls one fails (0: none),
 * how many calls there were, how many failed. Only the register's own files are meant; what fails
 * may be half done. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

struct plan {
    uint32_t every, calls, failed;
};

static volatile struct plan *plan_of(void)
{
    static volatile struct plan *plan;
    const char *path = getenv("DISK_FAULT");
    if (plan != NULL || path == NULL)
        return plan;
    int fd = open(path, O_RDWR | O_CLOEXEC);
    void *at =
        fd < 0 ? MAP_FAILED : mmap(NULL, sizeof *plan, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (fd >= 0)
        close(fd);
    if (at != MAP_FAILED)
        plan = at;
    return plan;
}

static int is_ours(int fd)
{
    char link[32], path[512];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    path[n > 0 ? n : 0] = '\0';
    return strstr(path, "/register.db") != NULL;
}

static int fails(int fd)
{
    volatile struct plan *plan = plan_of();
    if (plan == NULL || plan->every == 0 || !is_ours(fd) || ++plan->calls % plan->every != 0)
        return 0;
    errno = ++plan->failed % 2 != 0 ? EIO : ENOSPC;
    return 1;
}

ssize_t pread64(int fd, void *data, size_t n, off64_t at)
{
    ssize_t (*real)(int, void *, size_t, off64_t);
    *(void **) &real = dlsym(RTLD_NEXT, "pread64");
    return fails(fd) ? -1 : real(fd, data, n, at);
}

ssize_t pwrite64(int fd, const void *data, size_t n, off64_t at)
{
    ssize_t (*real)(int, const void *, size_t, off64_t);
    *(void **) &real = dlsym(RTLD_NEXT, "pwrite64");
    if (!fails(fd))
        return real(fd, data, n, at);
    int error = errno;
    if (real(fd, data, n / 2, at) < 0)
        abort();
    errno = error;
    return -1;
}

int fdatasync(int fd)
{
    int (*real)(int);
    *(void **) &real = dlsym(RTLD_NEXT, "fdatasync");
    return fails(fd) ? -1 : real(fd);
}

int fsync(int fd)
{
    int (*real)(int);
    *(void **) &real = dlsym(RTLD_NEXT, "fsync");
    return fails(fd) ? -1 : real(fd);
}

int ftruncate64(int fd, off64_t size)
{
    int (*real)(int, off64_t);
    *(void **) &real = dlsym(RTLD_NEXT, "ftruncate64");
    return fails(fd) ? -1 : real(fd, size);
}
