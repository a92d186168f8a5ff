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

/** A code as text, or null for none. */
json_t *eid_json(struct lm_eid eid);

/** An instant as text, or null for none. */
json_t *time_json(int64_t t_ms);

#endif
