/* A rehearsal's script: who walks, when, and which faults are planted. Pure but for memory: the
 * same register, seed and wishes give the same plan. */
#ifndef LUGMARK_CLI_REHEARSE_PLAN_H
#define LUGMARK_CLI_REHEARSE_PLAN_H

#include "lugmark/roll.h"
#include "lugmark/session.h"

#include <stdio.h>

/** Faults that can be planted, in the order of lm_fault_name(). */
enum lm_fault {
    LM_FAULT_ABSENT,    /**< on the roll, does not walk */
    LM_FAULT_DEAD_CODE, /**< its code gives no reading; its number is called */
    LM_FAULT_STRANGER,  /**< a code that nobody knows */
    LM_FAULT_TEST_CODE, /**< a code of country 999 that nobody knows */
    LM_FAULT_AGAIN,     /**< walks a second time after the re-arm time */
    LM_FAULT_OTHER_MOB, /**< an animal of another mob slipped in */
    LM_FAULT_GONE,      /**< an animal walks that the register says is sold, dead or lost */
    LM_FAULT_MISREAD,   /**< the number called for the animal just read is another's */
    LM_FAULT_CROSSED,   /**< two animals' codes come in one pass */
    LM_FAULT_OLD,       /**< a device recorded as removed is read */
    LM_FAULT_TWO_LANES, /**< one code on two lanes at once */
    LM_FAULTS
};

const char *lm_fault_name(enum lm_fault fault);

/** What to plan. */
struct lm_wishes {
    uint64_t seed;
    int64_t gap_ms;   /**< from one animal to the next */
    int64_t rearm_ms; /**< second passes come later than this */
    unsigned lanes;   /**< 1 or 2 */
    unsigned count[LM_FAULTS];
};

enum lm_step_kind { LM_STEP_READ, LM_STEP_CALL };

/** One thing that happens at the race. */
struct lm_step {
    int64_t at_ms;
    enum lm_step_kind kind;
    unsigned lane; /**< 1 or 2 */
    struct lm_eid eid;
    char number[LM_VISUAL_MAX + 1]; /**< call only */
    bool on_last;                   /**< call: for the animal just read */
};

/** One planted fault and the finding it must lead to. */
struct lm_planted {
    enum lm_fault fault;
    enum lm_reason reason;
    uint32_t animal; /**< LM_NO_ANIMAL for a stranger */
    struct lm_eid eid;
};

struct lm_plan {
    struct lm_step *steps;
    size_t n_steps, cap_steps;
    struct lm_planted *planted;
    size_t n_planted, cap_planted;
    unsigned heads;               /**< that really go through */
    unsigned short_of[LM_FAULTS]; /**< faults wished for that this register cannot have */
};

/**
 * Make a plan for the animals that the roll expects.
 * Faults that the register itself has (shared codes and numbers) are added to what is planted.
 * @return LM_OK or LM_ENOMEM. Ownership: lm_plan_free().
 */
enum lm_err lm_plan_make(
    struct lm_roll *roll, const struct lm_wishes *wishes, struct lm_plan *plan);
void lm_plan_free(struct lm_plan *plan);

/** Write the truth as JSON: {"schema":"lugmark.truth/1",...}. */
enum lm_err lm_plan_write(
    FILE *out, const struct lm_plan *plan, const struct lm_roll *roll, uint64_t seed);

#endif
