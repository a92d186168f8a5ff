/* A pretended reader: a pseudo-terminal behind a link, which the daemon opens as its port. */
#ifndef LUGMARK_CLI_REHEARSE_PORT_H
#define LUGMARK_CLI_REHEARSE_PORT_H

#include "lugmark/eid.h"

struct lm_fake_port {
    int master;
    char link[256];
};

/**
 * Make a pseudo-terminal and point @p link at it. A link of that name is replaced; anything else
 * that has the name is left alone.
 * @return LM_OK, LM_EEXISTS, LM_EIO with @p p filled. To be closed by lm_fake_port_close().
 */
enum lm_err lm_fake_port_open(struct lm_fake_port *port, const char *link, struct lm_problem *p);

/** Wait until somebody opened the other end. @return LM_OK or LM_EAGAIN after @p timeout_ms. */
enum lm_err lm_fake_port_wait(const struct lm_fake_port *port, int timeout_ms);

/** Send a code as a line, in one of the ways readers write it, chosen by @p style. */
enum lm_err lm_fake_port_send(const struct lm_fake_port *port, struct lm_eid eid, unsigned style);

void lm_fake_port_close(struct lm_fake_port *port);

#endif
