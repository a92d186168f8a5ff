/** @file reader.h
 * The readers: their life, their readings, what they reject.
 */
#ifndef LUGMARK_DAEMON_READER_H
#define LUGMARK_DAEMON_READER_H

#include "config.h"
#include "life.h"
#include <jansson.h>

struct daemon;
struct event;

struct reader {
    struct daemon *d;
    const struct config_reader *config;
    void *state; /**< the driver's */
    enum life life;
    enum life shown; /**< what was last told to people */
    bool ended;      /**< a replay is over */
    bool has_byte;   /**< since it was opened */
    int delay_ms;    /**< back-off used last */
    int fd;
    struct event *readable; /**< NULL while closed or without a descriptor */
    struct event *timer;    /**< next try while closed, next tick while open */
    int64_t since_ms;       /**< wall clock of the last change of state */
    int64_t heard_ms;       /**< steady clock of the last byte, or of the opening */
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

/** Look for readers that fell silent. Called once a second. */
void readers_check_silence(struct readers *rs);

/** Leave the ports alone; take them up again. */
void readers_pause(struct readers *rs);
void readers_resume(struct readers *rs);

/** A session began: replays, which wait for one, may go on. */
void readers_renew(struct readers *rs);

/** READER of lugmark/control.h; with @p event set as the stream's object. */
json_t *reader_json(const struct reader *r, bool event);

#endif
