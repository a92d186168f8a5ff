/* A wall clock that steps when a test says so: LD_PRELOAD. The file in STEP_CLOCK holds the seconds
 * to add as text; every other clock runs on as it is. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

int clock_gettime(clockid_t id, struct timespec *out)
{
    char text[32] = "";
    const char *path = getenv("STEP_CLOCK");
    int rc = (int) syscall(SYS_clock_gettime, id, out);
    int fd = rc == 0 && id == CLOCK_REALTIME && path != NULL ? open(path, O_RDONLY) : -1;
    if (fd >= 0 && read(fd, text, sizeof text - 1) > 0)
        out->tv_sec += atol(text);
    if (fd >= 0)
        close(fd);
    return rc;
}
