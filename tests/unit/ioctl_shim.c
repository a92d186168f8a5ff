/** @file ioctl_shim.c
 * Stands in front of libc's ioctl(), so that libserialport can open a pseudo-terminal.
 *
 * libserialport asks every port for its modem lines and gives up when there are none, and a
 * pseudo-terminal has none. The linker exports this ioctl() because libserialport.so refers to it,
 * and so its calls arrive here. The kernel is called directly: going through the next ioctl() would
 * end in the sanitizer's own one, which checks arguments of calls it knows and may not be there.
 * Linked into one test; no program has it.
 */
#include "ioctl_shim.h"

#include <errno.h>
#include <stdarg.h>
#include <sys/ioctl.h>
#include <sys/syscall.h>
#include <unistd.h>

static bool modem_lines;
static int lines;

void ioctl_shim_modem_lines(bool on, int state)
{
    modem_lines = on;
    lines = state;
}

int ioctl_shim_lines(void)
{
    return lines;
}

int ioctl(int fd, unsigned long request, ...)
{
    va_list args;
    va_start(args, request);
    void *arg = va_arg(args, void *);
    va_end(args);
    int result = (int) syscall(SYS_ioctl, fd, request, arg);
    if (result >= 0 || !modem_lines || (errno != ENOTTY && errno != EINVAL))
        return result;
    switch (request) {
    case TIOCMGET:
        *(int *) arg = lines;
        return 0;
    case TIOCMSET:
        lines = *(const int *) arg;
        return 0;
    case TIOCMBIS:
        lines |= *(const int *) arg;
        return 0;
    case TIOCMBIC:
        lines &= ~*(const int *) arg;
        return 0;
    default:
        return result;
    }
}
