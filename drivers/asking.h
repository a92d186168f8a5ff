/** @file asking.h
 * What is said to a reader: once after opening it, and again and again to one that must be asked.
 * Pure: time is an argument, and somebody else writes.
 */
#ifndef DRIVERS_ASKING_H
#define DRIVERS_ASKING_H

#include "lugmark/driver.h"

#define LM_ASKING_MAX 64u /**< longest `init` or `poll`, bytes */

struct lm_asking {
    uint8_t init[LM_ASKING_MAX], poll[LM_ASKING_MAX];
    size_t init_len, poll_len; /**< 0 for nothing */
    int poll_ms;
    int reply_ms;    /**< 0: no answer is expected */
    bool begun;      /**< `init` was said since the opening, or there is none */
    bool waiting;    /**< an answer is due */
    int64_t next_ms; /**< when something is due, by the clock of the caller */
};

/** Settings that it takes: init, poll, poll_ms, reply_ms. NULL at the end. */
#define LM_ASKING_KEYS "init", "poll", "poll_ms", "reply_ms"

/** Read the settings. @return LM_OK, or LM_EINPUT with @p p naming the key. */
enum lm_err lm_asking_read(
    struct lm_asking *a, const struct lm_setting *settings, size_t n, struct lm_problem *p);

/** The port was opened. */
void lm_asking_open(struct lm_asking *a, int64_t now_ms);

/** Bytes came. */
void lm_asking_heard(struct lm_asking *a);

/** Milliseconds until lm_asking_due() has something to say, -1 for never. */
int lm_asking_wait_ms(const struct lm_asking *a, int64_t now_ms);

/**
 * What is to be said now.
 * @param[out] missed  True when the answer to the last question did not come in time.
 * @return Bytes, @p len of them; NULL when it is not yet time.
 */
const uint8_t *lm_asking_due(struct lm_asking *a, int64_t now_ms, size_t *len, bool *missed);

/** What was due could not be written, the line is full: it is due again a little later. */
void lm_asking_again(struct lm_asking *a, int64_t now_ms);

#endif
