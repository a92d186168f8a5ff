/** @file verdict_json.h
 * What the daemon says of an event, as the objects of lugmark/control.h.
 */
#ifndef LUGMARK_DAEMON_VERDICT_JSON_H
#define LUGMARK_DAEMON_VERDICT_JSON_H

#include "lugmark/store.h"
#include "lugmark/session.h"
#include <jansson.h>

/* All return a new reference, or NULL when out of memory. */

/** SESSION of control.h. */
json_t *session_json(const struct lm_store_session *row);

/** TALLY of control.h; null when @p session is NULL. */
json_t *tally_json(const struct lm_session *session);

/** VERDICT of control.h for a reading or a sighting. */
json_t *verdict_json(
    const struct lm_session *session, const struct lm_event *ev, const struct lm_verdict *verdict);

/** The stream's object for any event of the journal. */
json_t *event_json(const struct lm_session *session, const struct lm_store_session *row,
    const struct lm_event *ev, const struct lm_verdict *verdict);

/** A reading while no session is open. */
json_t *idle_json(const struct lm_roll *roll, const struct lm_event *ev);

/** SHORT of lugmark/page.h, without "should". @p animal is in the roll. */
json_t *animal_json(const struct lm_roll *roll, uint32_t animal);

/** What it says to people in few words, "" for nothing. English. */
const char *verdict_say(const struct lm_verdict *verdict);

/** The code that a verdict is about. */
struct lm_eid verdict_eid(const struct lm_event *ev, const struct lm_verdict *verdict);

/**
 * Colour and place of the device that was read or, when that has no number to see, of the first
 * that has one. Both are left alone when there is none. @p animal is in the roll.
 */
void verdict_mark(const struct lm_roll *roll, uint32_t animal, struct lm_eid eid,
    const char **colour, const char **place);

/** A code as text, or null for none. */
json_t *eid_json(struct lm_eid eid);

/** An instant as text, or null for none. */
json_t *time_json(int64_t t_ms);

#endif
