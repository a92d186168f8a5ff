/** @file nfc_helper.h
 * What the files of the program lugmark-nfc share. It alone is linked with libnfc.
 */
#ifndef DRIVERS_NFC_HELPER_H
#define DRIVERS_NFC_HELPER_H

#include <nfc/nfc.h>

#include "lugmark/eid.h"

/** A libnfc call that takes longer ends the program: the library can wait for ever. */
#define HELPER_HANG_S 5u
/** One exchange with a tag, milliseconds; never 0, which means without end. */
#define HELPER_EXCHANGE_MS 300

/** What came of one tag in the field. */
enum tag_what {
    TAG_CODE,  /**< the code that is written on it */
    TAG_UID,   /**< no such code: its own number */
    TAG_TORN,  /**< it left while it was read; it may come back in the next round */
    TAG_PASSED /**< it has no number that could be used */
};

/** Tags of which it is remembered that something was said. */
#define TAGS_SAID 4u

/** What is remembered while a tag stays, so that it is not complained of again and again. */
struct tag_memory {
    uint64_t torn_key; /**< tag that could not be read to its end */
    unsigned torn;     /**< how often in a row */
    uint64_t said[TAGS_SAID];
    unsigned n_said;
};

/**
 * Make a code of the tag that is selected.
 * @param[in]  uid_only  Do not look at what is written on it.
 * @param[out] eid       Set for TAG_CODE and TAG_UID.
 */
enum tag_what tag_read(nfc_device *dev, const nfc_target *target, bool uid_only,
    struct tag_memory *memory, struct lm_eid *eid);

/** Start anew the time that a libnfc call may take; helper_unwatch() before anything else that
 * waits. */
void helper_watch(void);
void helper_unwatch(void);

/** Say something on standard error, one line in one go. */
void helper_say(const char *fmt, ...) __attribute__((format(printf, 1, 2)));

#endif
