/** @file life.h
 * The life of a reader as one explicit state. Pure: no clock, no descriptor.
 */
#ifndef LUGMARK_DAEMON_LIFE_H
#define LUGMARK_DAEMON_LIFE_H

#define LIFE_RETRY_FIRST_MS 100
#define LIFE_RETRY_ABSENT_MS 2000   /**< looking whether it is there costs next to nothing */
#define LIFE_RETRY_LAST_MS 5000     /**< there, but busy or not permitted */
#define LIFE_RETRY_FALLING_MS 30000 /**< it hangs up each time as soon as it is opened */

enum life {
    LIFE_ABSENT,      /**< not there; tried again later */
    LIFE_OPENING,     /**< being opened right now */
    LIFE_LIVE,        /**< open, and bytes came or may come */
    LIFE_SILENT,      /**< open, but nothing came for a long while */
    LIFE_BACKING_OFF, /**< there, but refused or hung up; tried again later */
    LIFE_STATES
};

enum life_what {
    LIFE_TRY,       /**< the back-off is over */
    LIFE_OPENED,    /**< open succeeded */
    LIFE_NOT_THERE, /**< open found nothing */
    LIFE_REFUSED,   /**< open found it busy, or not permitted */
    LIFE_BYTES,     /**< bytes came */
    LIFE_QUIET,     /**< no byte for the silence time */
    LIFE_GONE,      /**< hung up */
    LIFE_ENDED,     /**< a replay is at its end and will not come back */
    LIFE_WHATS
};

/** The state after @p what happened in @p state. What cannot happen there changes nothing. */
enum life life_next(enum life state, enum life_what what);

/**
 * Milliseconds to wait before the next try: twice the wait before (0 for the first), at most
 * @p last_ms.
 */
int life_delay_ms(int previous_ms, int last_ms);

/** Whether the descriptor is open in this state. */
int life_is_open(enum life state);

/** "absent", "opening", "live", "silent", "backing-off"; never NULL. */
const char *life_name(enum life state);

#endif
