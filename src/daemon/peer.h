/** @file peer.h
 * Who is at the other end of the control socket, and what they may do.
 */
#ifndef LUGMARK_DAEMON_PEER_H
#define LUGMARK_DAEMON_PEER_H

enum peer_may {
    PEER_NOTHING,
    PEER_LOOK, /**< what changes nothing: findings, status, readers, watch */
    PEER_WORK  /**< everything */
};

/**
 * The kernel says who connected, whatever the file's mode let through: root and the daemon's own
 * user may do everything, members of the socket file's group what @p group says, others nothing.
 */
enum peer_may peer_may(int fd, enum peer_may group);

#endif
