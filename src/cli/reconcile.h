/* The whole job with no database: what one call of `lugmark reconcile` holds. */
#ifndef LUGMARK_CLI_RECONCILE_H
#define LUGMARK_CLI_RECONCILE_H

#include "command.h"
#include "explain_past.h"
#include "lugmark/eventline.h"
#include "lugmark/session.h"
#include "problem.h"
#include "sieve/sieve.h"
#include "supply.h"

/** One call. */
struct lm_reconcile {
    const struct lm_args *args;
    struct lm_roll *roll;
    struct lm_session *session;
    struct lm_supply supply;     /**< the supplier's list, if one was given */
    struct lm_past past;         /**< how long the register's devices stayed on */
    bool explains;               /**< --explain was given */
    struct lm_problems problems; /**< of all files; nothing is reported when there are any */
    long heads;                  /**< -1 when not said */
    bool heads_given;            /**< the head count went into the session */
    struct lm_sieve *sieve;      /**< what large files were sieved with, or NULL: the plain way */
    bool unsure;                 /**< the plain reader refused what the sieve left */
};

/** A file of the call: its own, or standard input for "-". @return NULL after saying why. */
FILE *lm_reconcile_file(const char *path, const char **name);
void lm_reconcile_file_close(FILE *in);

/** Apply one event; one that makes no sense where it stands is a problem of that line. */
enum lm_err lm_reconcile_apply(const struct lm_event *ev, const char *file, long line, void *ctx);

/**
 * Load the register by the quick way (sieve.h), if these files and options are for it.
 * @param[out] exit  Set when that failed; it was said why.
 * @return false: nothing was loaded, go the plain way.
 */
bool lm_reconcile_sieve(struct lm_reconcile *r, int *exit);

/** Apply the readings that the sieve left, and count the animals that fell through. */
int lm_reconcile_sieved(struct lm_reconcile *r);

/** Apply readings and sightings in their order. @return LM_EXIT_OK, or another; it was said why. */
int lm_reconcile_passes(struct lm_reconcile *r);

/** Put the head count in, once, if one was given. */
enum lm_err lm_reconcile_heads(struct lm_reconcile *r);

/** A file of event lines, with its first event read ahead. */
struct lm_reconcile_events;

/**
 * Open the events of the call and read the first one.
 * @param[out] events  NULL when the call names none. Ownership: lm_reconcile_events_end().
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_reconcile_events_begin(struct lm_reconcile *r, struct lm_reconcile_events **events);

/** The open event with which the events begin, or NULL. It is then no longer among the rest. */
const struct lm_event *lm_reconcile_events_open(struct lm_reconcile_events *events);

/** Apply the rest in the order of the file. */
int lm_reconcile_events_rest(struct lm_reconcile *r, struct lm_reconcile_events *events);
void lm_reconcile_events_end(struct lm_reconcile_events *events);

#endif
