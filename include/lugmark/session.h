/** @file session.h
 * The fold: events in, verdicts out, findings derived and never stored.
 *
 * lm_session_apply() is the only place where an event changes a session. The daemon, `reconcile`,
 * the rehearsal, the tests and the benches all go through it, so the same events give the same
 * findings, live or afterwards, byte for byte.
 */
#ifndef LUGMARK_SESSION_H
#define LUGMARK_SESSION_H

#include "lugmark/event.h"
#include "lugmark/roll.h"

/** The eight kinds of finding, in the order they are counted. */
enum lm_kind {
    LM_MISSING,
    LM_UNMATCHED,
    LM_DUPLICATE,
    LM_UNEXPECTED,
    LM_CONFLICT,
    LM_UNREAD,
    LM_RETIRED,
    LM_DOUBTFUL,
    LM_KINDS
};

enum lm_reason {
    LM_NOT_SEEN,
    LM_NOT_IN_REGISTER,
    LM_SAME_ANIMAL_AGAIN,
    LM_TWO_ANIMALS_ONE_CODE,
    LM_TWO_ANIMALS_ONE_NUMBER,
    LM_TWO_LANES_AT_ONCE,
    LM_OTHER_MOB,
    LM_OTHER_LOT,
    LM_WAS_SOLD,
    LM_WAS_DEAD,
    LM_WAS_SLAUGHTERED,
    LM_WAS_LOST,
    LM_NUMBER_DIFFERS,
    LM_CODES_DIFFER,
    LM_NO_READING,
    LM_REMOVED_DEVICE,
    LM_REPLACED_BY_COUNTER,
    LM_BAD_CHECK,
    LM_NOT_ANIMAL,
    LM_UNKNOWN_COUNTRY,
    LM_TEST_CODE,
    LM_OUT_OF_RANGE,
    LM_DAMAGED_TEXT,
    LM_REASONS
};

/** What the person at the race must do now. Ordered: a higher value wins. */
enum lm_attention { LM_GO, LM_LOOK, LM_HOLD };

const char *lm_kind_name(enum lm_kind kind);          /**< "missing", ... */
const char *lm_reason_name(enum lm_reason reason);    /**< "not-seen", ... */
const char *lm_attention_name(enum lm_attention att); /**< "go", "look", "hold" */
enum lm_kind lm_reason_kind(enum lm_reason reason);   /**< the kind a reason belongs to */

/** Parse a reason as written. @return LM_OK or LM_EFRAME. */
enum lm_err lm_reason_parse(const char *word, enum lm_reason *reason);

/** How a session behaves; lm_session_defaults() fills it. Settings of the open event win. */
struct lm_session_options {
    int64_t rearm_ms;    /**< the same code again within this is the same pass; default 30000 */
    int64_t crossing_ms; /**< an animal needs this long from one lane to another; default 10000 */
    int64_t together_ms; /**< two animals' codes that begin and end this close are one pass;
                              default 250 */
    uint8_t attention[LM_REASONS]; /**< enum lm_attention of each reason */
};

/** Fill in the defaults named above. */
void lm_session_defaults(struct lm_session_options *options);

/** What one event meant. Plain value; strings are borrowed from roll or event. */
struct lm_verdict {
    enum lm_attention attention;
    bool repeat;       /**< the same pass goes on: nothing new to show */
    bool new_pass;     /**< this event began a pass */
    uint32_t animal;   /**< index in the roll, or LM_NO_ANIMAL */
    struct lm_eid eid; /**< the code read, if any */
    unsigned reasons;  /**< bit set of enum lm_reason */
};

struct lm_session;

/**
 * Begin folding.
 * @param[in] roll     Borrowed for the life of the session; changed by register and open events.
 * @param[in] options  Copied; NULL for the defaults.
 * @return NULL when out of memory. Ownership: lm_session_free(). Thread: one at a time.
 */
struct lm_session *lm_session_new(struct lm_roll *roll, const struct lm_session_options *options);

void lm_session_free(struct lm_session *session); /**< NULL is allowed */

/** Set the re-arm time of one lane, milliseconds. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_session_lane_rearm(struct lm_session *session, const char *lane, int64_t rearm_ms);

/**
 * Apply one event.
 * Events are taken in the order given; reader clocks are never trusted for order.
 * @param[out] verdict  May be NULL.
 * @return LM_OK; LM_EARG for an event that makes no sense here (a second open, anything but a
 *         register change after the close, undo with nothing to undo, a sighting of empty text):
 *         the session is unchanged; LM_ENOMEM.
 */
enum lm_err lm_session_apply(
    struct lm_session *session, const struct lm_event *event, struct lm_verdict *verdict);

/** A reading of this code comes soon: what will be looked at is fetched from memory meanwhile.
 * Changes nothing. */
void lm_session_soon(const struct lm_session *s, struct lm_eid eid);

/** The figures of a session. */
struct lm_summary {
    uint32_t expected;   /**< on the roll */
    uint32_t present;    /**< on the roll and read or sighted */
    uint32_t identified; /**< animals of the register read or sighted, on the roll or not */
    uint64_t readings;   /**< reading events */
    uint64_t passes;     /**< animals that went by, repeats of a reader taken together */
    bool has_heads;
    uint32_t heads;      /**< the head count that stands; the last one without a lane, or, when
                              lanes were counted after it, the last of each lane added up */
    bool heads_short;    /**< heads below identified: somebody miscounted */
    uint32_t absent_min; /**< of the missing, at least so many are truly absent */
    uint32_t absent_max; /**< at most so many */
    uint32_t counts[LM_KINDS];    /**< findings, by enum lm_kind */
    uint32_t counts_attention[3]; /**< findings, while it is open: verdicts; by enum lm_attention */
};

/** One finding. Names are looked up in the roll. */
struct lm_finding {
    enum lm_reason reason;
    enum lm_attention attention;
    uint32_t animal;    /**< LM_NO_ANIMAL for nobody we know */
    uint32_t other;     /**< the second animal of a conflict or duplicate, or LM_NO_ANIMAL */
    struct lm_eid eid;  /**< the code it is about, or none: then all the animal's worn codes */
    struct lm_eid eid2; /**< codes-differ: the other animal's code, else none */
    const char *text; /**< a number called or a doubtful text, or NULL; borrowed from the session */
    int64_t t_ms;     /**< when it was first so, or LM_TIME_NONE */
    uint32_t times;   /**< how often: passes of an animal seen again, readings of a code */
};

/** Called for each finding, in the fixed order: by kind, then by roll or by first appearance. */
typedef void lm_finding_fn(const struct lm_finding *finding, void *ctx);

/**
 * Derive findings and figures from the state. Missing animals are found once the session is closed.
 * Costs memory proportional to the passes for its duration.
 * @param[out] summary  May be NULL.
 * @param[in]  fn       May be NULL: then only the figures.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_session_findings(
    const struct lm_session *session, struct lm_summary *summary, lm_finding_fn *fn, void *ctx);

/** Cheap running tallies for a screen; missing is "not yet seen" until the close. */
void lm_session_tally(const struct lm_session *session, struct lm_summary *summary);

/** How the session was opened; NULL before an open event. Its `keys` are not kept. */
const struct lm_open *lm_session_open_of(const struct lm_session *session);

/** When it was opened and closed; LM_TIME_NONE where it was not. */
int64_t lm_session_opened_ms(const struct lm_session *session);
int64_t lm_session_closed_ms(const struct lm_session *session);
bool lm_session_is_closed(const struct lm_session *session); /**< whether a close event came */

const struct lm_roll *lm_session_roll(
    const struct lm_session *session); /**< as given at its begin */

/** The code that began the last pass of a lane ("" for the last of any lane), or none. */
struct lm_eid lm_session_last_pass(const struct lm_session *session, const char *lane);

/** Whether an animal was read or sighted so far. */
bool lm_session_seen(const struct lm_session *session, uint32_t animal);

#endif
