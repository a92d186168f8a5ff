#include "peer.h"

#include <stdbool.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

/* The group of the socket's file, looked up each time: whoever starts us may change it later. */
static bool socket_group(int fd, gid_t *group)
{
    struct sockaddr_un at = {.sun_family = AF_UNIX};
    socklen_t len = sizeof at - 1; /* its path ends with a zero byte then */
    struct stat sb;
    if (getsockname(fd, (struct sockaddr *) &at, &len) != 0 || at.sun_path[0] == '\0' ||
        lstat(at.sun_path, &sb) != 0) {
        return false;
    }
    *group = sb.st_gid;
    return true;
}

static bool is_member(int fd, gid_t own, gid_t group)
{
    socklen_t len = 0;
    bool found = own == group;
    if (found) {
        return true;
    }
    /* The first call says how many there are. */
    getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, NULL, &len);
    gid_t *all = len > 0 ? malloc(len) : NULL;
    if (all != NULL && getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, all, &len) == 0) {
        for (size_t i = 0; i < len / sizeof *all; i++) {
            found = found || all[i] == group;
        }
    }
    free(all);
    return found;
}

enum peer_may peer_may(int fd, enum peer_may group)
{
    struct ucred who;
    socklen_t len = sizeof who;
    gid_t of_socket;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &len) != 0 || len != sizeof who) {
        return PEER_NOTHING;
    }
    if (who.uid == 0 || who.uid == geteuid()) {
        return PEER_WORK;
    }
    if (!socket_group(fd, &of_socket) || !is_member(fd, who.gid, of_socket)) {
        return PEER_NOTHING;
    }
    return group;
}
