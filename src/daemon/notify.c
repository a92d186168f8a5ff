#include "notify.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

void notify_send(const char *state)
{
    const char *path = getenv("NOTIFY_SOCKET");
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    if (path == NULL || (path[0] != '/' && path[0] != '@') || strlen(path) >= sizeof to.sun_path) {
        return;
    }
    size_t len = strlen(path);
    memcpy(to.sun_path, path, len);
    if (path[0] == '@') {
        to.sun_path[0] = '\0'; /* an abstract address */
    }
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0) {
        return;
    }
    socklen_t size = (socklen_t) (offsetof(struct sockaddr_un, sun_path) + len);
    ssize_t done = sendto(
        fd, state, strlen(state), MSG_NOSIGNAL | MSG_DONTWAIT, (const struct sockaddr *) &to, size);
    (void) done; /* the service manager is told or it is not: no reason to stop work at the race */
    close(fd);
}

int64_t notify_watchdog_ms(void)
{
    const char *usec = getenv("WATCHDOG_USEC");
    const char *pid = getenv("WATCHDOG_PID");
    if (usec == NULL || (pid != NULL && strtol(pid, NULL, 10) != (long) getpid())) {
        return 0;
    }
    long long us = strtoll(usec, NULL, 10);
    return us > 0 ? us / 2000 : 0; /* half the time allowed, as the manual advises */
}
