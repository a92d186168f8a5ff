/** @file reader.h
 * The readers: their life, their readings, what they reject.
 */
#ifndef LUGMARK_DAEMON_READER_H
#define LUGMARK_DAEMON_READER_H

#include "config.h"
#include "life.h"
#include <jansson.h>

/** Open for so long, it is no reader that hangs up as soon as it is opened. */
#define READER_STOOD_MS 10000

struct daemon;
struct event;

struct reader {
    struct daemon *d;
    const struct config_reader *config;
    void *state; /**< the driver's */
    enum life life;
    enum life shown; /**< what was last told to those who follow */
    enum life told;  /**< what was last written to the log */
    enum lm_err shown_err, told_err;
    bool ended;     /**< a replay is over */
    bool has_byte;  /**< since it was opened */
    unsigned falls; /**< openings in a row that hung up at once */
    int delay_ms;   /**< back-off used last */
    int fd;
    struct event *readable; /**< NULL while closed or without a descriptor */
    struct event *timer;    /**< next try while closed, next tick while open */
    int64_t since_ms;       /**< wall clock of the last change of state */
    int64_t turn_ms;        /**< wall clock when its driver's turn began */
    int64_t turn_clock;     /**< session clock then */
    int64_t last_ms;        /**< wall clock of the last reading, LM_TIME_NONE before it */
    int64_t heard_ms;       /**< steady clock of the last byte, or of the opening */
    int64_t opened_ms;      /**< steady clock of the opening */
    int64_t notes_ms;       /**< steady clock of the first of `notes` lines to the log */
    unsigned notes;         /**< within a minute */
    uint64_t openings;
    uint64_t readings;
    uint64_t rejects[LM_REJECTS];
    struct lm_problem problem; /**< err LM_OK for none */
};

struct readers {
    struct reader *all;
    size_t n;
    bool paused; /**< the journal is full: ports are left alone */
};

/**
 * Make and check all readers; opens none.
 * @param[in] fn  Called for each bad setting.
 * @return LM_OK, LM_EINPUT, LM_ENOMEM.
 */
enum lm_err readers_new(
    struct readers *rs, const struct config *config, lm_problem_fn *fn, void *ctx);

/** Put them to work on a loop. */
enum lm_err readers_begin(struct readers *rs, struct daemon *d);
void readers_end(struct readers *rs);

/** Look for readers that fell silent, and for links that moved on. Called once a second. */
void readers_check(struct readers *rs);

/** Leave the ports alone; take them up again. */
void readers_pause(struct readers *rs);
void readers_resume(struct readers *rs);

/** A session began: replays, which wait for one, may go on. */
void readers_renew(struct readers *rs);

/* Of one reader, for readers.c. */

/** Give it a loop. @return LM_OK or LM_ENOMEM. */
enum lm_err reader_begin(struct reader *r, struct daemon *d);

/** Close its port and take it off the loop. */
void reader_end(struct reader *r);

/** The only place where the life of a reader changes, with what each change brings with it. */
void reader_change(struct reader *r, enum life_what what);

/** Forget that it fell over, once it stands. Of an open reader. */
void reader_check_stood(struct reader *r);

/** The link of an open reader leads to another device now: follow it. */
void reader_moved(struct reader *r);

/** Watch its port again after a pause, if it is open and may work. */
void reader_take_up(struct reader *r);

/** READER of lugmark/control.h; with @p event set as the stream's object. */
json_t *reader_json(const struct reader *r, bool event);

#endif
