/** @file daemon.h
 * The parts of the daemon in one place. One thread: nothing here is shared.
 */
#ifndef LUGMARK_DAEMON_DAEMON_H
#define LUGMARK_DAEMON_DAEMON_H

#include "config.h"
#include "control.h"
#include "fold.h"
#include "journal.h"
#include "page.h"
#include "publish.h"
#include "reader.h"
#include <event2/event.h>

/* Lower runs first. The commit comes after everything that may still join its transaction. */
#define PRIORITY_WORK 0
#define PRIORITY_COMMIT 1
#define PRIORITY_PAGE 2 /* only when nothing of the race is to do */
#define PRIORITIES 3

struct daemon {
    const struct config *config;
    struct event_base *base;
    struct lm_store *store;
    struct fold fold;
    struct publisher publisher;
    struct journal journal;
    struct readers readers;
    struct control control;
    struct page page;
    unsigned resumes;        /**< clients that catch up now, see resume.h */
    const char *db, *socket; /**< paths, for the programs that the page runs */
    struct event *signals[2];
    struct event *second; /**< once a second: silence, register changes */
    struct event *watchdog;
};

/**
 * Run until a signal ends it.
 * @param[in] d          Zero but for `readers`, which readers_new() made, `db` and `socket`.
 * @param[in] store      Open for writing. Borrowed.
 * @param[in] listening  Listening control socket; taken over.
 * @return the exit status: 0, or 4 when something could not be kept or started.
 */
int daemon_run(
    struct daemon *d, const struct config *config, struct lm_store *store, int listening);

#endif
