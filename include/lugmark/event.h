/** @file event.h
 * What happens at the race. The journal is the list of these; a session is a fold over them.
 */
#ifndef LUGMARK_EVENT_H
#define LUGMARK_EVENT_H

#include "lugmark/record.h"

#define LM_SETTINGS_MAX 1023u /**< longest settings of a session, bytes */

enum lm_event_kind {
    LM_EVENT_READING,  /**< one code from one reader */
    LM_EVENT_SIGHTING, /**< a visual number called by a person */
    LM_EVENT_HEADS,    /**< what a person counted through the gate */
    LM_EVENT_UNDO,     /**< takes back the last sighting or head count not yet taken back */
    LM_EVENT_OPEN,     /**< a session begins */
    LM_EVENT_CLOSE,    /**< it ends */
    LM_EVENT_REGISTER  /**< an animal's entry is from now on what `record` says */
};

enum lm_session_kind { LM_WALK, LM_COUNT, LM_SALE };

/** Why a reading gives no code that could be looked up, or only with doubt. */
enum lm_doubt {
    LM_DOUBT_NONE = 0,
    LM_DOUBT_BAD_CHECK,    /**< a raw telegram whose control bits or CRC are wrong */
    LM_DOUBT_OUT_OF_RANGE, /**< digits that fit in no chip */
    LM_DOUBT_DAMAGED       /**< text that is no code any more */
};

/** How a session begins. Strings are borrowed by the event. */
struct lm_open {
    enum lm_session_kind kind;
    char id[LM_NAME_MAX + 1];    /**< name of the session, "" when it has none */
    char mob[LM_NAME_MAX + 1];   /**< "" for no mob: every animal on the farm is expected */
    char lot[LM_NAME_MAX + 1];   /**< name of the lot, "" for none */
    char count[LM_NAME_MAX + 1]; /**< name of the count this session is part of, "" for none */
    char who[LM_NAME_MAX + 1];   /**< who counted, "" when not said */
    char settings[LM_SETTINGS_MAX + 1]; /**< how it behaves, as `name=value` words: rearm_ms,
        rearm_ms.LANE, crossing_ms, together_ms, or the attention of a reason by its name. Part of
        the event, so that the same events give the same findings wherever they are folded. */
    const char *const *keys;            /**< with a lot: keys of the animals in it */
    size_t n_keys;
};

/** One event. Plain value but for the borrowed pointers `open` and `record`. */
struct lm_event {
    enum lm_event_kind kind;
    int64_t seq;      /**< place in the journal, 1 and up; 0 when it is in none */
    int64_t t_ms;     /**< wall clock, UTC, only for showing; LM_TIME_NONE when unknown */
    int64_t clock_ms; /**< session clock that never steps, for debouncing; LM_TIME_NONE when
                           unknown. Files without it: the same as t_ms. */
    char lane[LM_NAME_MAX + 1];   /**< "" means the only lane */
    char reader[LM_NAME_MAX + 1]; /**< which reader, "" when unknown */
    struct lm_eid eid;   /**< reading: the code. Sighting: the pass it belongs to, or none */
    enum lm_doubt doubt; /**< reading only */
    char text[LM_VISUAL_MAX + 1];   /**< sighting: the number called. Doubtful reading: what came */
    bool cut;                       /**< `text` had to be cut or cleaned */
    uint32_t heads;                 /**< head count only */
    const struct lm_open *open;     /**< LM_EVENT_OPEN only; borrowed */
    const struct lm_record *record; /**< LM_EVENT_REGISTER only; borrowed */
};

/** Name of a session kind: walk, count, sale. */
const char *lm_session_kind_name(enum lm_session_kind kind);

/** Parse a session kind. @return LM_OK or LM_EFRAME. */
enum lm_err lm_session_kind_parse(const char *word, enum lm_session_kind *kind);

/**
 * Make a reading from any text that lm_decode() takes, or a doubtful one from text it refuses.
 * @param[in]  text  @p len bytes of anything.
 * @param[out] ev    kind, eid, doubt, text and cut are set; time, lane and reader are left alone.
 */
void lm_event_reading(struct lm_event *ev, const char *text, size_t len);

#endif
