/** @file stay.h
 * When an animal was on the farm, worked out of the changes of its entry. Pure.
 *
 * The rules:
 * - It came as the reason of its first entry says: one that begins with "bought" or "transferred
 *   in" came on the day the entry names as `status_date`, else on the day it was written down.
 *   Any other first entry with a birth date was born here on that date. One without a birth date
 *   was here from the beginning when it was written down on the day the register began; else how it
 *   came is not said, and the day it was written down stands for when.
 * - It left when its status became another than on-farm: sold (a reason that begins with
 *   "transferred out": moved to another holding of the keeper), dead, slaughtered here, lost. The
 *   day is `status_date`, else the day it was written down.
 * - It came back when its status became on-farm again by a reason that begins with "bought" or
 *   "transferred in", or after it was lost, or with a `status_date` after it left. Any other way
 *   back is a correction: it never left. A date corrected later is the date.
 * - A date known to the month or the year stands for a stretch of days. What came then came on its
 *   first day; what left then left on its last, but never after it was written down.
 */
#ifndef LUGMARK_STAY_H
#define LUGMARK_STAY_H

#include "lugmark/record.h"

#define LM_DAY_BEGIN INT32_MIN /**< before all days that are known */
#define LM_DAY_NEVER INT32_MAX

enum lm_came { LM_CAME_BORN, LM_CAME_BOUGHT, LM_CAME_MOVED, LM_CAME_FOUND, LM_CAME_UNSAID };
enum lm_left {
    LM_HERE_STILL,
    LM_LEFT_SOLD,
    LM_LEFT_MOVED,
    LM_LEFT_DIED,
    LM_LEFT_KILLED,
    LM_LEFT_LOST
};

/** One stay. Days are days since 1970-01-01. */
struct lm_stay {
    uint8_t came;       /**< enum lm_came */
    uint8_t left;       /**< enum lm_left */
    bool in_written;    /**< the day it came is only the day it was written down */
    bool out_written;   /**< the same of the day it left */
    struct lm_date in;  /**< as the register has it; none: not known */
    struct lm_date out; /**< none while it is here, and where it is not known */
    int32_t in_day;     /**< the day reckoned with */
    int32_t in_last;    /**< the last day that `in` can mean */
    int32_t out_first;  /**< the first day that `out` can mean; LM_DAY_NEVER while it is here */
    int32_t out_day;    /**< the day reckoned with; LM_DAY_NEVER while it is here */
};

#define LM_STAYS_MAX 6u /**< older ones are forgotten */

/** All stays of one animal, oldest first. Zero-initialise. */
struct lm_stays {
    unsigned n;
    int32_t written; /**< day of the first entry */
    struct lm_stay stay[LM_STAYS_MAX];
    uint8_t status; /**< as the last change left it */
    struct lm_date status_date;
};

/**
 * Take in one change, oldest first.
 * @param[in] now      The entry as the change made it.
 * @param[in] why      Its reason, "" for none.
 * @param[in] written  Day it was written down.
 * @param[in] begun    Day the register began: that of its first change.
 */
void lm_stays_change(struct lm_stays *s, const struct lm_record *now, const char *why,
    int32_t written, int32_t begun);

/** Whether it was on the farm at the end of a day. */
bool lm_stays_here(const struct lm_stays *s, int32_t day);

/** Whether it was surely on the farm all that day: a date that might mean otherwise says no. */
bool lm_stays_surely(const struct lm_stays *s, int32_t day);

/** Whether it can have been on the farm at any time of that day. */
bool lm_stays_maybe(const struct lm_stays *s, int32_t day);

/** Whether a date known to the month or year may put it on either side of the end of a day. */
bool lm_stays_vague(const struct lm_stays *s, int32_t day);

#endif
