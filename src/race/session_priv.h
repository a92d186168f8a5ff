/** @file session_priv.h
 * The state of a session: what was seen, kept as facts. Findings are derived from it.
 */
#ifndef LM_RACE_SESSION_PRIV_H
#define LM_RACE_SESSION_PRIV_H

#include "lugmark/session.h"
#include "race/arena.h"

#define LM_LANES_MAX 64u /**< more lanes than any yard; later ones share the last */
#define LM_RECENT 4u     /**< passes of a lane kept to tell two codes of one pass apart */
#define LM_NO_SEEN UINT32_MAX
#define LM_NUMBER_HITS 64u /**< animals of one number looked at; more is a broken register */

/** Facts about a seen animal or stranger, as bits. */
enum seen_fact {
    SAW_WORN = 1,       /**< the code of a device it wears was read */
    SAW_REMOVED = 2,    /**< the code of a device recorded as removed */
    SAW_REPLACED = 4,   /**< the code of a device that a higher counter replaced */
    SAW_NOT_ANIMAL = 8, /**< animal flag 0 */
    SAW_AGAIN = 16,     /**< another pass, or called again long after */
    SAW_TWO_LANES = 32
};

/** One animal that was read or sighted, or one stranger's code. */
struct seen {
    uint64_t bits;   /**< the code as last read; 0 when only sighted */
    int64_t first_t; /**< wall clock of the first reading or sighting */
    int64_t clock;   /**< session clock of the last one */
    uint32_t animal; /**< LM_NO_ANIMAL for a stranger */
    uint32_t readings;
    uint16_t passes;
    uint16_t sightings; /**< that stand */
    uint8_t lane;
    uint8_t facts;
    uint8_t known; /**< of bits */
    uint8_t again; /**< of the sightings, those long after it was last here; stays at 255 */
};

/** A thing that happened at a moment and is a finding as it stands. */
struct mark {
    enum lm_reason reason;
    uint32_t seen;  /**< LM_NO_SEEN for a doubtful text */
    uint32_t other; /**< second animal */
    uint32_t text;  /**< arena offset */
    int64_t t;
    struct lm_eid eid;  /**< the code it happened to */
    struct lm_eid eid2; /**< codes-differ: the second code */
    uint32_t times;
};

/** One called number. */
struct sighting {
    uint64_t with; /**< key of the pass it belongs to, 0 for none */
    int64_t t;
    uint32_t text;
    uint32_t animal; /**< whom it makes present, or LM_NO_ANIMAL */
    uint32_t other;  /**< in a conflict: whose number it is, or LM_NO_ANIMAL */
    uint32_t by;     /**< in a conflict: whose pass it was called for */
    uint32_t from;   /**< whose pass of a shared code it gave to `animal`, or LM_NO_ANIMAL */
    bool undone, conflict, unknown, cut;
    bool removed; /**< the number is on a device recorded as removed */
    bool again;   /**< counted in `again` of the animal */
};

struct heads {
    int64_t t;
    uint32_t n;
    uint8_t lane;
    bool undone;
};

/** A pass of a lane, kept a little while. */
struct recent {
    uint32_t seen;   /**< LM_NO_SEEN: free */
    uint32_t reader; /**< hash of the reader's name, 0 when it is not known */
    int64_t t, first, last;
};

struct lane {
    char name[LM_NAME_MAX + 1];
    int64_t rearm_ms;
    struct recent recent[LM_RECENT]; /**< newest first */
};

/** A place in the table of strangers. The hash stands here so that looking at a place that is
 * another's seldom needs to look at what was seen. */
struct stranger {
    uint32_t seen; /**< index + 1, 0: free */
    uint32_t hash; /**< of its key */
};

struct lm_session {
    struct lm_roll *roll;
    struct lm_session_options options;
    struct lm_arena arena;
    uint32_t *of_animal; /**< animal -> seen + 1 */
    uint32_t cap_animals;
    struct seen *seen;
    uint32_t n_seen, cap_seen;
    struct stranger *strangers; /**< open-addressed by the key of the code */
    uint32_t n_strangers, cap_strangers;
    struct mark *marks;
    uint32_t n_marks, cap_marks;
    struct sighting *sightings;
    uint32_t n_sightings, cap_sightings;
    struct heads *heads;
    uint32_t n_heads, cap_heads;
    uint32_t *acts; /**< what undo takes back, oldest first: index * 2 + (1 for a head count) */
    uint32_t n_acts, cap_acts;
    struct lane lanes[LM_LANES_MAX];
    unsigned n_lanes, last_lane;
    struct lm_open open;
    bool opened, closed;
    int64_t opened_ms, closed_ms;
    uint64_t readings, passes;
    uint32_t present, identified; /**< running tallies */
    uint32_t shown[3];            /**< verdicts by attention */
};

/** Grow an array so that it holds one more. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_session_grow(void **rows, uint32_t *cap, uint32_t used, size_t row_size);

/** Index of a lane by name, made when new. */
unsigned lm_session_lane(struct lm_session *s, const char *name);

/** What is known of an animal (made when new), or of a stranger's code. */
enum lm_err lm_session_seen_animal(struct lm_session *s, uint32_t animal, uint32_t *seen);
enum lm_err lm_session_seen_stranger(struct lm_session *s, struct lm_eid eid, uint32_t *seen);
/** The same without making one: LM_NO_SEEN when there is none. */
uint32_t lm_session_find_animal(const struct lm_session *s, uint32_t animal);
uint32_t lm_session_find_stranger(const struct lm_session *s, struct lm_eid eid);

/** Keep that something happened at @p ev (its time and code are taken). */
enum lm_err lm_session_mark(struct lm_session *s, enum lm_reason reason, uint32_t seen,
    uint32_t text, const struct lm_event *ev);

/** Whether a seen entry stands: read, or with a sighting not taken back. */
static inline bool lm_seen_stands(const struct seen *e)
{
    return e->readings > 0 || e->sightings > 0;
}

/** Count an animal in or out of the tallies when its standing changed. */
void lm_session_recount(struct lm_session *s, const struct seen *e, bool stood, bool stands);

void lm_verdict_add(const struct lm_session *s, struct lm_verdict *v, enum lm_reason reason);
enum lm_attention lm_session_attention(const struct lm_session *s, enum lm_reason reason);

/** Add what the register says against an animal passing now: status, mob, shared code or number. */
void lm_session_judge_animal(const struct lm_session *s, uint32_t animal, struct lm_verdict *v);

/** Reason of an animal that is in the register but not expected, or LM_REASONS. */
enum lm_reason lm_session_unexpected(const struct lm_session *s, uint32_t animal);

/** Whether two passes of a lane were one: @p newest, 0 or 1, and the one before it (see session.h,
 * together_ms). */
bool lm_lane_together(const struct lm_session *s, const struct lane *l, unsigned newest);

/** Fill a mark for two passes that were one: newest and the one before it. */
void lm_codes_differ(
    const struct lm_session *s, const struct lane *l, unsigned newest, struct mark *out);

/**
 * Give the only pass of a shared code to the animal whose number was called for it, or back: the
 * reading alone could not tell the two apart.
 * @return Whether it was given: not when either was seen in another way, too.
 */
bool lm_session_move_pass(struct lm_session *s, uint32_t from, uint32_t to);

/** Take the settings of an open event; words that are not known are passed over. */
void lm_session_settings(struct lm_session *s, const char *settings);

enum lm_err lm_session_reading(
    struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v);
enum lm_err lm_session_sighting(
    struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v);

#endif
