/** @file sink_log.h
 * A sink that writes down what a driver or decoder gives it, for the tests of drivers/.
 *
 * The log reads like the tables that are compared with it: one word each, with a blank between:
 * `999000000012345` for a reading, `!check` for a reject.
 */
#ifndef TESTS_SINK_LOG_H
#define TESTS_SINK_LOG_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <cmocka.h>

#include "lugmark/driver.h"

struct sink_log {
    char text[4096];
    size_t readings;
    size_t doubtful; /**< of them */
    size_t rejects[LM_REJECTS];
    size_t bytes; /**< of all rejects */
    struct lm_event last;
};

static inline void sink_log_add(struct sink_log *log, const char *word)
{
    size_t used = strlen(log->text);
    snprintf(log->text + used, sizeof log->text - used, "%s%s", used > 0 ? " " : "", word);
}

static inline void sink_log_reading(void *ctx, const struct lm_event *event)
{
    struct sink_log *log = ctx;
    char code[LM_EID_TEXT_SIZE];
    assert_int_equal(event->kind, LM_EVENT_READING);
    assert_int_equal(event->seq, 0);
    log->readings++;
    log->doubtful += event->doubt != LM_DOUBT_NONE;
    log->last = *event;
    if (event->doubt != LM_DOUBT_NONE)
        sink_log_add(log, event->doubt == LM_DOUBT_BAD_CHECK      ? "?check"
                          : event->doubt == LM_DOUBT_OUT_OF_RANGE ? "?range"
                                                                  : "?damaged");
    else
        sink_log_add(log, lm_eid_format(event->eid, code));
}

static inline void sink_log_reject(void *ctx, enum lm_reject reject, size_t bytes)
{
    struct sink_log *log = ctx;
    char word[32];
    assert_in_range(reject, 0, LM_REJECTS - 1);
    assert_true(bytes > 0);
    log->rejects[reject]++;
    log->bytes += bytes;
    snprintf(word, sizeof word, "!%s", lm_reject_name(reject));
    sink_log_add(log, word);
}

static inline struct lm_sink sink_log_sink(struct sink_log *log)
{
    memset(log, 0, sizeof *log);
    return (struct lm_sink){.reading = sink_log_reading, .reject = sink_log_reject, .ctx = log};
}

/** Feed bytes in pieces of @p piece bytes (0: all at once) to a new decoder and log what comes. */
static inline void sink_log_feed(struct sink_log *log, const struct lm_decoder_ops *ops,
    const struct lm_setting *settings, size_t n, const void *bytes, size_t len, size_t piece)
{
    struct lm_sink sink = sink_log_sink(log);
    struct lm_problem problem = {0};
    void *state = ops->new_(settings, n, &problem);
    if (state == NULL)
        fail_msg("%s", problem.what);
    if (piece == 0)
        piece = len > 0 ? len : 1;
    for (size_t at = 0; at < len; at += piece)
        ops->feed(state, (const uint8_t *) bytes + at, len - at < piece ? len - at : piece, &sink);
    ops->free_(state);
}

/** A small generator, the same on every machine. */
static inline uint8_t sink_log_random(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (uint8_t) (*seed >> 56);
}

#endif
