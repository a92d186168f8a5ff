/** @file journal_tell.h
 * What is on the disk is folded and published here: the end of a reading's way.
 *
 * After a disk was full for an hour there is more to tell at once than a follower may leave unread
 * before he is dropped. So it goes in pieces, one a turn of the loop, and waits for those who read.
 */
#ifndef LUGMARK_DAEMON_JOURNAL_TELL_H
#define LUGMARK_DAEMON_JOURNAL_TELL_H

#include "journal.h"

#define TELL_PIECE 1024u /**< events; fewer when a follower is behind */

enum lm_err tell_new(struct journal *j);
void tell_free(struct journal *j);

/** Whether something is kept that was not told. */
bool tell_waits(const struct journal *j);

/** Tell the first piece now and the others in the next turns. */
void tell_begin(struct journal *j);

/** Tell all of it now: who asks must see it folded. */
void tell_all(struct journal *j);

/** Fold one event that is in the journal, and publish it. */
void tell_one(struct journal *j, const struct lm_event *ev, struct lm_verdict *verdict);

/** Publish an event that is folded, with its verdict. */
void tell_publish(struct daemon *d, const struct lm_event *ev, const struct lm_verdict *v);

#endif
