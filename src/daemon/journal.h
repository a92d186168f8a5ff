/** @file journal.h
 * Nothing is said before it is on the disk.
 *
 * Readings of one turn of the loop wait in `pending` and go into one transaction; only then are
 * they folded and published, a piece a turn (journal_tell.c). When the disk refuses they stay, and
 * it is tried again every second.
 */
#ifndef LUGMARK_DAEMON_JOURNAL_H
#define LUGMARK_DAEMON_JOURNAL_H

#include "lugmark/session.h"

#define JOURNAL_PENDING_MAX 65536u /**< readings that wait for the disk: half a day at the race */
#define JOURNAL_PENDING_ROOM                                                                       \
    (JOURNAL_PENDING_MAX + 8192u) /**< and one more turn of each reader                            \
                                   */

struct daemon;
struct event;

struct journal {
    struct daemon *d;
    struct lm_event *pending; /**< JOURNAL_PENDING_ROOM of them */
    size_t n;
    size_t kept;          /**< of these, from the first: on the disk */
    size_t told;          /**< of those that are kept: folded and published */
    int64_t first_ms;     /**< when the first one came that is not kept, steady clock */
    struct event *commit; /**< runs after the readers of this turn */
    struct event *retry;
    struct event *tell; /**< tells the next piece */
    int64_t burst_ms;   /**< when the telling of these began, steady clock */
    bool awaited;       /**< somebody waits until all is told */
    bool failed;
    struct lm_problem problem; /**< while failed */
    char rescued[4096];        /**< copy of a register that was removed under us, or "" */
};

enum lm_err journal_begin(struct journal *j, struct daemon *d);
void journal_end(struct journal *j);

/** Let a stamped reading wait for the next commit. */
void journal_add(struct journal *j, const struct lm_event *ev);

/** Whether the readers may go on; if not, the ports are left alone until the disk is well. */
bool journal_has_room(const struct journal *j);

/** Commit now if the batch is big or old: a reader that never pauses must not starve it. */
void journal_nudge(struct journal *j);

/** Commit, fold and publish all that is pending, at once. @return LM_OK, or why not; it stays
 * pending then. */
enum lm_err journal_flush(struct journal *j);

/**
 * Whether little or nothing waits to be told. If not, it is being told in pieces: whoever wants
 * something of the journal comes back when control_wake() and page_wake() call.
 */
bool journal_calm(struct journal *j);

/** All that is kept was told: for journal_tell.c alone. */
void journal_told(struct journal *j);

/** Once a second: notice a register that was removed before the next reading does. */
void journal_check(struct journal *j);

/**
 * Journal one event of a client, after journal_flush().
 * @param[in,out] ev     seq is set.
 * @param[in]     token  May be NULL.
 * @return LM_OK after it was committed, folded and published; LM_EEXISTS: the token was used,
 * ev->seq is its place and nothing was done; else j->problem says why.
 */
enum lm_err journal_submit(
    struct journal *j, struct lm_event *ev, const char *token, struct lm_verdict *verdict);

/** Place of the event with this token, 0 for none. */
int64_t journal_token(struct journal *j, const char *token);

/** Take over register changes by other programs, and publish them. */
enum lm_err journal_catch_up(struct journal *j);

#endif
