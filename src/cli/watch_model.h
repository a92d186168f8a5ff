/* What the watching screen knows: the last animal, the figures, the last flags, the readers. */
#ifndef LUGMARK_CLI_WATCH_MODEL_H
#define LUGMARK_CLI_WATCH_MODEL_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "lugmark/session.h"

#define LM_WATCH_FLAGS 12u   /**< flags kept; a screen shows as many as fit */
#define LM_WATCH_READERS 16u /**< readers shown; more are counted */
#define LM_WATCH_TEXT 128u

/** One animal or code as it went by. */
struct lm_watch_pass {
    enum lm_attention attention;
    char number[LM_VISUAL_MAX + 1]; /**< printed number, "" when nobody knows one */
    char animal[LM_NAME_MAX + 1];
    char eid[LM_EID_TEXT_SIZE];
    char called[LM_VISUAL_MAX + 1];
    char ear[LM_WATCH_TEXT];    /**< colour and place of the tag */
    char should[LM_WATCH_TEXT]; /**< what the marking plan says instead */
    char sex[16];
    char mob[LM_NAME_MAX + 1];
    char say[LM_WATCH_TEXT];
    char lane[LM_NAME_MAX + 1];
    char time[16]; /**< hours, minutes and seconds here */
};

/** Figures of the session; -1 for what was not said. */
struct lm_watch_tally {
    int64_t expected, present, not_seen, identified, heads, look, hold;
};

struct lm_watch_reader {
    char name[LM_NAME_MAX + 1];
    char state[16];
    char problem[LM_WATCH_TEXT];
};

/** Plain value; lm_watch_begin() fills it. */
struct lm_watch {
    bool connected;
    bool session_open;
    bool was_open;     /**< a session was open at some time since we watch */
    bool ended;        /**< the session watched first has been closed, and all of it was told */
    char session[256]; /**< kind, mob or lot */
    char session_id[LM_NAME_MAX + 1];
    char watched[LM_NAME_MAX + 1]; /**< id of the first session seen open, "" before */
    int64_t last_seq;              /**< place of the last event, 0 for none */
    bool has_last;
    struct lm_watch_pass last;
    struct lm_watch_pass flags[LM_WATCH_FLAGS]; /**< newest first */
    unsigned n_flags;
    struct lm_watch_tally tally;
    struct lm_watch_reader readers[LM_WATCH_READERS];
    unsigned n_readers;
    char idle[LM_WATCH_TEXT];    /**< last code read while no session is open, "" for none */
    char journal[LM_WATCH_TEXT]; /**< what is wrong with the journal, "" when it is well */
    bool ring;                   /**< a look or hold has just come in; the shower resets it */
};

void lm_watch_begin(struct lm_watch *w);

/** The daemon's first line after connecting. */
void lm_watch_greet(struct lm_watch *w, const json_t *greeting);

/**
 * One line of the daemon: an answer to status or readers, or an event. Others are ignored.
 * @return true for an event that was not told before: the caller shows it.
 */
bool lm_watch_take(struct lm_watch *w, const json_t *line);

#endif
