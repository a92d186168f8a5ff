/* One event to an event line. */
#include "lugmark/eventline.h"
#include "wire.h"

#include <stdlib.h>
#include <string.h>

const char *lm_wire_doubt_name(enum lm_doubt doubt)
{
    switch (doubt) {
    case LM_DOUBT_NONE:
        break;
    case LM_DOUBT_BAD_CHECK:
        return "bad-check";
    case LM_DOUBT_OUT_OF_RANGE:
        return "out-of-range";
    case LM_DOUBT_DAMAGED:
        return "damaged-text";
    }
    return "";
}

/* A number that has 16 digits because its country cannot exist would be refused as damaged. */
static int put_code(json_t *obj, const char *key, struct lm_eid eid)
{
    char text[LM_WIRE_EID_SIZE];

    if (eid.known == LM_EID_CODE && lm_eid_country(eid) > 999)
        eid.known = LM_EID_FULL;
    return lm_wire_put(obj, key, lm_wire_eid_text(eid, text));
}

static int put_true(json_t *obj, const char *key)
{
    return json_object_set_new(obj, key, json_true());
}

static int put_reading(json_t *obj, const struct lm_event *ev)
{
    int bad = 0;

    if (ev->doubt == LM_DOUBT_NONE)
        return put_code(obj, "reading", ev->eid);
    bad |= json_object_set_new(obj, "reading", json_string(ev->text));
    bad |= lm_wire_put(obj, "doubt", lm_wire_doubt_name(ev->doubt));
    if (ev->cut)
        bad |= put_true(obj, "cut");
    return bad;
}

static int put_sighting(json_t *obj, const struct lm_event *ev)
{
    int bad = json_object_set_new(obj, "sighting", json_string(ev->text));

    bad |= put_code(obj, "with", ev->eid);
    if (ev->cut)
        bad |= put_true(obj, "cut");
    return bad;
}

static int put_open(json_t *root, const struct lm_open *open)
{
    json_t *obj = json_object();
    json_t *keys = json_array();
    int bad = !obj || !keys;

    if (!bad) {
        bad |= lm_wire_put(obj, "kind", lm_session_kind_name(open->kind));
        bad |= lm_wire_put(obj, "id", open->id);
        bad |= lm_wire_put(obj, "mob", open->mob);
        bad |= lm_wire_put(obj, "lot", open->lot);
        bad |= lm_wire_put(obj, "count", open->count);
        bad |= lm_wire_put(obj, "who", open->who);
        bad |= lm_wire_put(obj, "settings", open->settings);
    }
    for (size_t i = 0; !bad && i < open->n_keys; i++)
        bad |= json_array_append_new(keys, json_string(open->keys[i]));
    if (!bad && open->n_keys)
        bad |= json_object_set(obj, "animals", keys);
    if (!bad)
        bad |= json_object_set(root, "open", obj);
    json_decref(keys);
    json_decref(obj);
    return bad;
}

static int put_kind(json_t *obj, const struct lm_event *ev)
{
    switch (ev->kind) {
    case LM_EVENT_READING:
        return put_reading(obj, ev);
    case LM_EVENT_SIGHTING:
        return put_sighting(obj, ev);
    case LM_EVENT_HEADS:
        return json_object_set_new(obj, "heads", json_integer(ev->heads));
    case LM_EVENT_UNDO:
        return put_true(obj, "undo");
    case LM_EVENT_OPEN:
        return put_open(obj, ev->open);
    case LM_EVENT_CLOSE:
        return put_true(obj, "close");
    case LM_EVENT_REGISTER:
        return json_object_set_new(obj, "register", lm_wire_record(ev->record));
    }
    return -1;
}

static int put_head(json_t *obj, const struct lm_event *ev)
{
    char time[LM_TIME_TEXT_SIZE];
    int bad = 0;

    if (ev->seq)
        bad |= json_object_set_new(obj, "seq", json_integer(ev->seq));
    bad |= lm_wire_put(obj, "t", lm_time_format(ev->t_ms, time));
    if (ev->clock_ms == LM_TIME_NONE && ev->t_ms != LM_TIME_NONE)
        bad |= json_object_set_new(obj, "clock_ms", json_null());
    else if (ev->clock_ms != ev->t_ms)
        bad |= json_object_set_new(obj, "clock_ms", json_integer(ev->clock_ms));
    bad |= lm_wire_put(obj, "lane", ev->lane);
    bad |= lm_wire_put(obj, "reader", ev->reader);
    return bad;
}

char *lm_eventline_text(const struct lm_event *ev)
{
    json_t *obj = json_object();
    char *text = NULL;

    if (obj && !put_head(obj, ev) && !put_kind(obj, ev))
        text = lm_wire_dumps(obj);
    json_decref(obj);
    return text;
}

enum lm_err lm_eventline_write(FILE *out, const struct lm_event *ev)
{
    char *text = lm_eventline_text(ev);
    int bad;

    if (!text)
        return LM_ENOMEM;
    bad = fputs(text, out) < 0 || putc('\n', out) == EOF;
    free(text);
    return bad ? LM_EIO : LM_OK;
}
