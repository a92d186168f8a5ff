/** @file store.h
 * The register and the journal on SQLite. One writer at a time, WAL, synchronous=FULL.
 *
 * Strings given out through callbacks are borrowed for the call. Thread: one at a time per handle.
 */
#ifndef LUGMARK_STORE_H
#define LUGMARK_STORE_H

#include "lugmark/event.h"
#include "lugmark/regcsv.h"

#define LM_STORE_APPLICATION_ID 0x4c75674d /**< "LugM" */

struct lm_store;

enum lm_store_mode {
    LM_STORE_READ,  /**< must exist; nothing is written */
    LM_STORE_WRITE, /**< must exist */
    LM_STORE_CREATE /**< made when missing, mode 0600, folder included */
};

/**
 * Open a register; older versions are migrated (in WRITE and CREATE mode, after a backup copy
 * beside the file).
 * @return LM_OK; LM_ENOTFOUND; LM_ENEWER: written by a newer version; LM_EINPUT: not a register;
 *         LM_EFULL, LM_EIO, LM_EBUSY, LM_ENOMEM, all with @p p filled.
 */
enum lm_err lm_store_open(
    const char *path, enum lm_store_mode mode, struct lm_store **store, struct lm_problem *p);
void lm_store_close(struct lm_store *store); /**< NULL is allowed */

/** Keep at most @p kib of the file's pages in memory from now on: for a program that stays up. */
void lm_store_cache(struct lm_store *store, unsigned kib);

/**
 * Make what a search for a part of a number uses, where a large register has none yet: one that an
 * older version filled. Once in the life of a register, some seconds for a million animals; not
 * while a session is open. Otherwise cheap.
 * @param[in] slow  Called once when it takes longer than a second; may be NULL.
 * @return LM_OK, also when there is nothing to do; LM_EIO, LM_EFULL, LM_EBUSY, LM_ENOMEM: the
 * register is as it was, and sound.
 */
enum lm_err lm_store_tend(struct lm_store *store, void (*slow)(void *ctx), void *ctx);

/** What went wrong in the last call on this handle, for people; never NULL. */
const struct lm_problem *lm_store_problem(const struct lm_store *store);

/*
 * --- transactions: calls below that write join one, or make their own ---
 * A call that fails inside a transaction undoes its own changes only, and the transaction goes on;
 * after LM_EFULL, LM_EIO, LM_ENOMEM or LM_EINPUT (a damaged file) it can only be rolled back: every
 * further write and the commit give that error again.
 */
enum lm_err lm_store_begin(struct lm_store *store); /**< LM_EARG when one is open already */
/**
 * The same for a whole register: each animal that is put is named once. In an empty register
 * that saves a third of the time: its indexes and the journal of the new animals are written when
 * the transaction ends, and until then the journal is not to be read. In any other it is
 * lm_store_begin().
 */
enum lm_err lm_store_begin_bulk(struct lm_store *store);
/**
 * Keep the changes: on the disk when this returns LM_OK.
 * On an error the transaction is rolled back and closed, nothing of it was kept; the caller still
 * has its events and may begin again and append them again.
 */
enum lm_err lm_store_commit(struct lm_store *store);
/** Drop the changes. Harmless when no transaction is open. */
void lm_store_rollback(struct lm_store *store);

/* --- the register --- */

/**
 * Each animal in order of its row. The callback may not write.
 * @return LM_OK, what @p fn gave, LM_EIO, LM_ENOMEM, LM_EINPUT for a damaged file. The same holds
 * for all that walk below.
 */
enum lm_err lm_store_each(struct lm_store *store, lm_record_fn *fn, void *ctx);

/** One animal by key. @return LM_OK or LM_ENOTFOUND. */
enum lm_err lm_store_get(struct lm_store *store, const char *key, struct lm_record *rec);

/**
 * Animals whose key, visual number, 15 digits, uid, breed or mob holds @p text (case ignored),
 * exact matches first. Whatever lm_decode() takes is looked up as a code too. @p limit 0: no limit.
 * @return as lm_store_each().
 */
enum lm_err lm_store_find(
    struct lm_store *store, const char *text, unsigned limit, lm_record_fn *fn, void *ctx);

/** What is carried, by any of three. */
struct lm_carried {
    struct lm_eid eid;            /**< a code, or none */
    char fold[LM_VISUAL_MAX + 1]; /**< a visual number as lm_visual_fold() has it, or "" */
    const char *uid;              /**< a chip, case ignored, or "" */
    bool removed;                 /**< on devices recorded as removed, else on those worn */
};

/**
 * Each animal with a device that has the code, the number or the chip, in order of its row. Quick
 * in a register of any size. @return as lm_store_each().
 */
enum lm_err lm_store_carriers(
    struct lm_store *store, const struct lm_carried *what, lm_record_fn *fn, void *ctx);

/**
 * Put an animal: add it, or make its entry what @p rec says. Devices keep their rows (matched by
 * id, else by code and number, else by code, else by the number of a device that had no code yet);
 * a device missing from @p rec is an error, devices are never deleted. A device found by its code,
 * where @p rec knows only the digits, keeps the 64 bits that the register knows.
 * An entry that is the same already is LM_OK without an event, @p seq 0.
 * Writes the change as a register event with its reason in the same transaction.
 * @param[in]  why  Reason for the history, or "".
 * @param[out] seq  Journal place of the event; may be NULL.
 * @return LM_OK; LM_EEXISTS with the problem naming the animal that wears the code already;
 *         LM_EARG, LM_EIO, LM_EFULL, LM_EBUSY.
 */
enum lm_err lm_store_put(struct lm_store *store, const struct lm_record *rec, int64_t t_ms,
    const char *why, int64_t *seq);

/**
 * From here to the commit, all register changes are one change: lm_store_undo() takes them back
 * together. After lm_store_begin().
 */
void lm_store_one_change(struct lm_store *store);

/**
 * Put several animals at once, as one change. Devices (by their ids) may go from one animal to
 * another among them; none may be missing at the end. An entry with `struck` counts no more.
 * Put first the entries that lose devices: whoever follows the journal sees a code on one animal
 * at a time.
 * @return As lm_store_put().
 */
enum lm_err lm_store_change(struct lm_store *store, const struct lm_record *const recs[], size_t n,
    int64_t t_ms, const char *why, int64_t *seq);

/** The register change that lm_store_undo() would take back. */
struct lm_store_last {
    int64_t seq;  /**< place of its first event */
    int64_t t_ms; /**< LM_TIME_NONE when not known */
    uint32_t animals;
    char why[LM_PROBLEM_TEXT_MAX]; /**< reason given then, or "" */
};

/** Called for each animal of a change. @p before NULL: it was not in the register. */
typedef enum lm_err lm_change_fn(
    const struct lm_record *before, const struct lm_record *now, void *ctx);

/** @p fn may be NULL. @return LM_OK; LM_ENOTFOUND: nothing is left to take back. */
enum lm_err lm_store_last_change(
    struct lm_store *store, struct lm_store_last *last, lm_change_fn *fn, void *ctx);

/**
 * Take back the last register change that was not taken back yet: each animal's entry is again what
 * it was before. One that the change had added is struck. The taking back is itself a change in the
 * history; it is never taken back in turn. Again and again: further and further back.
 * @param[out] last  What was taken back; may be NULL.
 * @return LM_OK; LM_ENOTFOUND; LM_EEXISTS: a code is worn by another animal by now.
 */
enum lm_err lm_store_undo(
    struct lm_store *store, int64_t t_ms, const char *why, struct lm_store_last *last);

uint32_t lm_store_animals(struct lm_store *store); /**< 0 also on error */

/**
 * The holding's name, number and so on: short texts by key. "" when not set; cut to @p size.
 * @return LM_OK, also when it is not set; LM_EARG, LM_EIO, LM_EFULL, LM_EBUSY.
 */
enum lm_err lm_store_setting(struct lm_store *store, const char *key, char *out, size_t size);
enum lm_err lm_store_set(struct lm_store *store, const char *key, const char *value);

/* --- the journal --- */

/** A session as listed. */
struct lm_store_session {
    int64_t id;
    struct lm_open open;          /**< without keys and settings: those are in its open event */
    int64_t opened_ms, closed_ms; /**< LM_TIME_NONE while open */
    int64_t first_seq, last_seq;  /**< last_seq 0 while open */
};

/**
 * Append one event inside the open transaction. Open, close and register events keep sessions and
 * the register's history in step. Client tokens make a retry harmless.
 * @param[in]  session  Row of the session it belongs to, 0 for none; set by an open event.
 * @param[in]  token    Chosen by the client, unique, or NULL.
 * @param[out] seq      Its place.
 * A register event is lm_store_put() of its record (LM_EEXISTS with @p seq 0: the code is worn
 * already). An event whose session is closed is LM_EARG.
 * @return LM_OK; LM_EEXISTS: that token is there already, @p seq is its place (and @p session its
 *         session); LM_EBUSY: a session is open already, the problem names it; LM_EARG, LM_EIO,
 *         LM_EFULL, and what lm_store_put() gives.
 */
enum lm_err lm_store_append(struct lm_store *store, int64_t *session, const struct lm_event *ev,
    const char *token, int64_t *seq);

/**
 * As lm_store_append() of each in turn, without tokens: all of them or none. Many readings cost
 * half of what they cost one by one.
 * @param[in,out] evs  seq is set in each; 0 in all on an error.
 * @return as lm_store_append().
 */
enum lm_err lm_store_append_all(
    struct lm_store *store, int64_t *session, struct lm_event evs[], size_t n);

/** Called for each event; the event is borrowed. Return non-LM_OK to stop. */
typedef enum lm_err lm_event_fn(const struct lm_event *ev, void *ctx);

/**
 * Events of a session in order, with the register changes that fell into it, those after place
 * @p after (0: all). The record of a register event is the entry as that change made it.
 * @return as lm_store_each().
 */
enum lm_err lm_store_events(
    struct lm_store *store, int64_t session, int64_t after, lm_event_fn *fn, void *ctx);

/**
 * Register changes after a place in the journal, for a daemon that shares the register.
 * @return as lm_store_each().
 */
enum lm_err lm_store_changes(struct lm_store *store, int64_t after, lm_event_fn *fn, void *ctx);

/** Called for each change of an animal, with the reason given then ("" for none). */
typedef enum lm_err lm_history_fn(const struct lm_event *ev, const char *why, void *ctx);

/** All changes of one animal, struck ones included, oldest first. @return LM_OK or LM_ENOTFOUND, or
 * what @p fn gave. */
enum lm_err lm_store_history(struct lm_store *store, const char *key, lm_history_fn *fn, void *ctx);

/**
 * The register as it stood just before a place in the journal: replays a closed session's roll.
 * @return as lm_store_each().
 */
enum lm_err lm_store_each_at(struct lm_store *store, int64_t seq, lm_record_fn *fn, void *ctx);

/** Place of the newest event, 0 when there is none or it cannot be read. */
int64_t lm_store_last_seq(struct lm_store *store);

/** Whether another handle changed the file since the last call. Cheap. */
bool lm_store_changed(struct lm_store *store);

/** The open session, or LM_ENOTFOUND. */
enum lm_err lm_store_session_open(struct lm_store *store, struct lm_store_session *out);
/** One session by row; @p id 0 means the latest. @return LM_OK, LM_ENOTFOUND, LM_EIO. */
enum lm_err lm_store_session(struct lm_store *store, int64_t id, struct lm_store_session *out);
typedef enum lm_err lm_session_fn(const struct lm_store_session *s, void *ctx);
/** Each session, oldest first. @return as lm_store_each(). */
enum lm_err lm_store_sessions(struct lm_store *store, lm_session_fn *fn, void *ctx);

/* --- care --- */

/**
 * Copy a register while it is in use (SQLite backup API); refuses to overwrite.
 * @return LM_OK; LM_EEXISTS; LM_EIO, LM_EFULL, LM_EBUSY with @p p filled.
 */
enum lm_err lm_store_backup(struct lm_store *store, const char *path, struct lm_problem *p);

/**
 * Whether the file that is open still lies where it lay at the first call, and the one that SQLite
 * keeps beside it: for a program that stays up. Cheap. @return LM_OK or LM_EGONE.
 */
enum lm_err lm_store_there(struct lm_store *store);

/**
 * After LM_EGONE: a copy of what is open, beside where it was, under a name that is free.
 * @param[out] path  Its name. @return LM_OK, or what lm_store_backup() gives.
 */
enum lm_err lm_store_rescue(struct lm_store *store, char *path, size_t size);

/** Check file, keys, history and journal; each problem is reported. @return LM_OK, LM_EINPUT. */
enum lm_err lm_store_verify(struct lm_store *store, lm_problem_fn *fn, void *ctx);

#endif
