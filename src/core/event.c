/** @file event.c
 * Readings out of any text, and the names of sessions.
 */
#include "lugmark/event.h"

#include "lugmark/decode.h"

static const char *const kinds[] = {[LM_WALK] = "walk", [LM_COUNT] = "count", [LM_SALE] = "sale"};

#define KINDS (sizeof kinds / sizeof kinds[0])

const char *lm_session_kind_name(enum lm_session_kind kind)
{
    return (size_t) kind < KINDS ? kinds[kind] : "";
}

enum lm_err lm_session_kind_parse(const char *word, enum lm_session_kind *kind)
{
    for (size_t i = 0; i < KINDS; i++)
        if (lm_word_is(word, kinds[i])) {
            *kind = (enum lm_session_kind) i;
            return LM_OK;
        }
    return LM_EFRAME;
}

void lm_event_reading(struct lm_event *ev, const char *text, size_t len)
{
    struct lm_decoded d;
    enum lm_err err = lm_decode(text, len, &d, NULL);
    ev->kind = LM_EVENT_READING;
    ev->cut = false;
    ev->text[0] = '\0';
    if (err == LM_OK) {
        ev->eid = d.eid;
        ev->doubt = LM_DOUBT_NONE;
        return;
    }
    ev->eid = (struct lm_eid){0, LM_EID_NONE};
    ev->doubt = err == LM_ECHECK   ? LM_DOUBT_BAD_CHECK
                : err == LM_ERANGE ? LM_DOUBT_OUT_OF_RANGE
                                   : LM_DOUBT_DAMAGED;
    ev->cut = !lm_text_copy(ev->text, sizeof ev->text, text, len);
}
