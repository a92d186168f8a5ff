/** @file flock.h
 * A small flock for the tests of the race: animals from one line of text each, events in short.
 */
#ifndef TESTS_FLOCK_H
#define TESTS_FLOCK_H

#include "lugmark/decode.h"
#include "lugmark/session.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

/** A code of country 999 and a small number. */
static inline struct lm_eid eid_of(unsigned national)
{
    struct lm_eid eid;
    assert_int_equal(lm_eid_make(999, national, &eid), LM_OK);
    return eid;
}

/** An animal that wears one device: code 999 + @p national (0: none) and a number ("": none). */
static inline struct lm_record animal_of(const char *key, unsigned national, const char *visual)
{
    struct lm_record rec;
    memset(&rec, 0, sizeof rec);
    snprintf(rec.key, sizeof rec.key, "%s", key);
    snprintf(rec.species, sizeof rec.species, "goat");
    rec.n_devices = 1;
    if (national)
        rec.devices[0].eid = eid_of(national);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "%s", visual);
    return rec;
}

static inline void put(struct lm_roll *roll, struct lm_record rec)
{
    assert_int_equal(lm_roll_put(roll, &rec, NULL), LM_OK);
}

/** A reading at @p ms (-1: no time) on a lane. */
static inline struct lm_event reading_at(long ms, const char *lane, struct lm_eid eid)
{
    struct lm_event ev;
    memset(&ev, 0, sizeof ev);
    ev.kind = LM_EVENT_READING;
    ev.t_ms = ev.clock_ms = ms < 0 ? LM_TIME_NONE : ms;
    snprintf(ev.lane, sizeof ev.lane, "%s", lane);
    ev.eid = eid;
    return ev;
}

static inline struct lm_event call_at(long ms, const char *number, struct lm_eid with)
{
    struct lm_event ev = reading_at(ms, "1", with);
    ev.kind = LM_EVENT_SIGHTING;
    snprintf(ev.text, sizeof ev.text, "%s", number);
    return ev;
}

static inline struct lm_event plain(enum lm_event_kind kind)
{
    struct lm_event ev = reading_at(-1, "1", (struct lm_eid){0});
    ev.kind = kind;
    return ev;
}

static inline struct lm_event heads_of(uint32_t n)
{
    struct lm_event ev = plain(LM_EVENT_HEADS);
    ev.heads = n;
    return ev;
}

static inline struct lm_verdict apply(struct lm_session *s, struct lm_event ev)
{
    struct lm_verdict v;
    assert_int_equal(lm_session_apply(s, &ev, &v), LM_OK);
    return v;
}

static inline struct lm_verdict read_at(struct lm_session *s, long ms, unsigned national)
{
    return apply(s, reading_at(ms, "1", eid_of(national)));
}

/** All findings as one text: "kind/reason animal;" for each, in order. */
struct story {
    char text[4096];
    const struct lm_roll *roll;
    struct lm_summary sum;
    struct lm_finding last;
};

static inline void tell(const struct lm_finding *f, void *ctx)
{
    struct story *story = ctx;
    char code[LM_EID_TEXT_SIZE];
    size_t used = strlen(story->text);
    const char *who = f->animal != LM_NO_ANIMAL ? lm_roll_animal(story->roll, f->animal).key
                      : f->eid.known            ? lm_eid_format(f->eid, code)
                      : f->text                 ? f->text
                                                : "-";
    snprintf(story->text + used, sizeof story->text - used, "%s/%s %s;",
        lm_kind_name(lm_reason_kind(f->reason)), lm_reason_name(f->reason), who);
    story->last = *f;
}

static inline struct story story_of(const struct lm_session *s)
{
    struct story story;
    memset(&story, 0, sizeof story);
    story.roll = lm_session_roll(s);
    assert_int_equal(lm_session_findings(s, &story.sum, tell, &story), LM_OK);
    return story;
}

/** A roll of A1, A2, ... with codes 1, 2, ... and numbers 0101, 0102, ..., and a session over it.
 */
struct yard {
    struct lm_roll *roll;
    struct lm_session *s;
};

static inline struct yard yard_of(unsigned n)
{
    struct yard y = {.roll = lm_roll_new()};
    char key[16], number[16];
    for (unsigned i = 1; i <= n; i++) {
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%04u", 100 + i);
        put(y.roll, animal_of(key, i, number));
    }
    lm_roll_expect_mob(y.roll, NULL);
    y.s = lm_session_new(y.roll, NULL);
    assert_non_null(y.s);
    return y;
}

/** Close, compare the whole story, free. */
static inline struct lm_summary ends_as(struct yard y, const char *expected)
{
    apply(y.s, plain(LM_EVENT_CLOSE));
    struct story story = story_of(y.s);
    assert_string_equal(story.text, expected);
    lm_session_free(y.s);
    lm_roll_free(y.roll);
    return story.sum;
}

#endif
