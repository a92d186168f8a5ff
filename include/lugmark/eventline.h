/** @file eventline.h
 * Event lines: one JSON object a line, as programs write them, `reconcile --events` reads them and
 * `export --format events` writes them.
 *
 *   {"t":"2026-11-02T08:00:01.250Z","lane":"1","reading":"999000000012345"}
 *   {"t":"...","lane":"1","sighting":"0417","with":"999000000012345"}
 *   {"t":"...","heads":213}          {"t":"...","undo":true}
 *   {"t":"...","open":{"kind":"walk","id":"...","mob":"does"}}     {"t":"...","close":true}
 *   {"t":"...","register":{"animal":"A17",...,"devices":[{...}]}}
 *
 * Further keys: "clock_ms" (the session clock, an integer; null when not known although "t" is),
 * "reader", "seq" (integer); in "open": "lot", "animals" (keys of the lot), "count", "who",
 * "settings". A reading that knows all 64 bits is written as 16 hex digits, with 0x before when
 * none of them is a letter; a chip without a code is written by its UID: "uid:04A1B2C3D4E5F6". A
 * doubtful reading carries its text as "reading" and "doubt", one of
 * "bad-check", "out-of-range" and "damaged-text"; "cut":true where the text had to be shortened.
 * Unknown keys are ignored.
 */
#ifndef LUGMARK_EVENTLINE_H
#define LUGMARK_EVENTLINE_H

#include "lugmark/event.h"
#include <stdio.h>

#define LM_EVENTLINE_MAX 1048576u /**< longest line taken, bytes; a lot of 20,000 animals fits */

/** Storage that an event parsed from a line borrows from. Reused from line to line. */
struct lm_eventline;

/** Make room for one event at a time. NULL when out of memory. Ownership: lm_eventline_free(). */
struct lm_eventline *lm_eventline_new(void);
void lm_eventline_free(struct lm_eventline *store); /**< NULL is allowed */

/**
 * Parse one line.
 * @param[out] ev  Valid until the next parse with the same @p store.
 * @param[out] p   column and what are set on error; may be NULL.
 * @return LM_OK; LM_EINPUT: no event (not JSON, a key missing, twice, or of the wrong type);
 *         LM_ENOMEM. A reading whose text is no code is LM_OK with `doubt` set.
 */
enum lm_err lm_eventline_parse(struct lm_eventline *store, const char *line, size_t len,
    struct lm_event *ev, struct lm_problem *p);

/**
 * One animal as a JSON object, the value of "register" above. Keys as the CSV columns, `devices` an
 * array; empty fields are left out. Ownership: the caller frees it. NULL when out of memory.
 */
char *lm_record_json(const struct lm_record *rec);

/** Parse what lm_record_json() wrote. @return LM_OK or LM_EINPUT with @p p filled. */
enum lm_err lm_record_from_json(
    const char *json, size_t len, struct lm_record *rec, struct lm_problem *p);

/** Write one event as a line with its line end. @return LM_OK, LM_EIO or LM_ENOMEM. */
enum lm_err lm_eventline_write(FILE *out, const struct lm_event *ev);

/** The same as text, without the line end. Ownership: the caller frees it. NULL when out of memory.
 */
char *lm_eventline_text(const struct lm_event *ev);

#endif
