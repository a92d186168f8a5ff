/** @file driver.h
 * How a reader is attached: a driver turns bytes into readings and knows nothing of animals.
 *
 * A driver gives the loop one descriptor to watch. When it is readable the loop calls service(),
 * which reads what is there, feeds the decoder and hands each reading to the sink. Life (opening,
 * hang-up, back-off) is run by the loop from what open() and service() return; a driver never
 * sleeps, never blocks, never logs and never exits.
 */
#ifndef LUGMARK_DRIVER_H
#define LUGMARK_DRIVER_H

#include "lugmark/event.h"

/** Why bytes were thrown away, counted per reader and shown by `lugmark readers`. */
enum lm_reject {
    LM_REJECT_NO_CODE,   /**< a line or frame with no code in it */
    LM_REJECT_TWO_CODES, /**< two different codes in one line */
    LM_REJECT_CHECK,     /**< checksum, CRC or control bits wrong */
    LM_REJECT_RANGE,     /**< digits that fit in no chip, or the all-zero code */
    LM_REJECT_TOO_LONG,  /**< no line end or frame end where one had to be */
    LM_REJECT_SYNTAX,    /**< an event line that is no event */
    LM_REJECT_NO_REPLY,  /**< a reader that was asked did not answer in time; no bytes */
    LM_REJECTS
};

const char *lm_reject_name(enum lm_reject reject); /**< "no-code", ...; never NULL */

/** Where readings go. All calls come from inside service() or feed(). */
struct lm_sink {
    void (*reading)(void *ctx, const struct lm_event *event); /**< kind reading (or, from a
        program, sighting or head count); time and lane are stamped by the loop */
    void (*reject)(void *ctx, enum lm_reject reject, size_t bytes);
    void *ctx;
    /** A line for the daemon's log, such as a program's standard error; any bytes, at most some
        hundred. The daemon limits how many are shown. NULL: nobody wants them. */
    void (*note)(void *ctx, const char *line);
};

/** Settings of one reader, as the configuration gives them: key and value, both text. */
struct lm_setting {
    const char *key;
    const char *value;
};

/**
 * A decoder: bytes to readings, without I/O. State lives in the block that new() returns.
 * Registered in drivers/list.h.
 */
struct lm_decoder_ops {
    const char *name; /**< stable word in the configuration: text, telegram, frame */
    /**
     * Make a decoder. Settings that it does not know are not its business; some of them are the
     * driver's, with which it shares one block, so no key may be one of a driver.
     * @return NULL with @p p filled for a bad setting or no memory. When what is wrong begins with
     *         the key and a colon, as in "pattern: ...", the line of that key is named. Ownership:
     *         free_().
     */
    void *(*new_)(const struct lm_setting *settings, size_t n, struct lm_problem *p);
    /** Take @p len bytes, cut anywhere; calls the sink for each reading and each reject. */
    void (*feed)(void *state, const uint8_t *data, size_t len, const struct lm_sink *sink);
    /** Forget half a line: the port was closed or was silent for long. */
    void (*reset)(void *state);
    void (*free_)(void *state);
    const char *const *keys; /**< settings it knows, NULL at the end */
};

/** A driver. Registered in drivers/list.h. */
struct lm_driver_ops {
    const char *name; /**< stable word in the configuration: serial, replay, program, nfc */
    /** Check the settings and make a reader that is not yet open. NULL with @p p filled on error,
     * as a decoder does. */
    void *(*new_)(const struct lm_setting *settings, size_t n, struct lm_problem *p);
    /**
     * Open the device without blocking longer than a few milliseconds.
     * @param[out] fd  Descriptor to watch for reading, owned by the driver; close-on-exec.
     * @return LM_OK; LM_ENOTFOUND: not there (yet); LM_EBUSY; LM_EIO with @p p filled (a permission
     *         error says which group to join). The loop calls again after a back-off.
     */
    enum lm_err (*open)(void *state, int *fd, struct lm_problem *p);
    /**
     * The descriptor is readable. Take what is there (bounded), never block.
     * @return LM_OK; LM_EAGAIN: there was something, but nothing that a reader says; LM_EGONE: hung
     *         up or at its end, the loop will close and come back.
     */
    enum lm_err (*service)(void *state, const struct lm_sink *sink);
    /** Milliseconds until tick() wants to be called, -1 for never. May be NULL. */
    int (*tick_ms)(void *state);
    /** Timed work: polling a reader that must be asked, or a replay's pace. May be NULL. */
    enum lm_err (*tick)(void *state, const struct lm_sink *sink);
    void (*close)(void *state);
    void (*free_)(void *state);
    /** The device as found: the real path behind a stable link, for people. "" when closed. */
    const char *(*describe)(void *state);
    /** After LM_EGONE and before close(): say why, in @p p. May be NULL: "it hung up". */
    void (*gone)(void *state, struct lm_problem *p);
    /** Replay only: true when there will be no more and the reader must not be reopened. */
    bool (*finished)(void *state);
    const char *const *keys; /**< settings it knows, NULL at the end */
};

/** Find by name. @return NULL when there is none. Thread: any. */
const struct lm_driver_ops *lm_driver_find(const char *name);
const struct lm_decoder_ops *lm_decoder_find(const char *name);

/** All names, NULL at the end. */
const char *const *lm_driver_names(void);
const char *const *lm_decoder_names(void);

/** Value of a setting, or NULL. The last one wins. */
const char *lm_setting_get(const struct lm_setting *settings, size_t n, const char *key);

#endif
