#include "verdict_json.h"

#include "lugmark/report.h"
#include "report/tongue.h"
#include <string.h>

static json_t *text_or_null(const char *text)
{
    return text[0] != '\0' ? json_string(text) : json_null();
}

json_t *time_json(int64_t t_ms)
{
    char text[LM_TIME_TEXT_SIZE];
    return t_ms == LM_TIME_NONE ? json_null() : json_string(lm_time_format(t_ms, text));
}

json_t *eid_json(struct lm_eid eid)
{
    char text[LM_EID_TEXT_SIZE];
    return eid.known == LM_EID_NONE ? json_null() : json_string(lm_eid_format(eid, text));
}

json_t *session_json(const struct lm_store_session *row)
{
    char id[24];
    snprintf(id, sizeof id, "%lld", (long long) row->id);
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o}", "id", id, "kind",
        lm_session_kind_name(row->open.kind), "mob", text_or_null(row->open.mob), "lot",
        text_or_null(row->open.lot), "count", text_or_null(row->open.count), "who",
        text_or_null(row->open.who), "opened", time_json(row->opened_ms), "closed",
        time_json(row->closed_ms));
}

json_t *tally_json(const struct lm_session *session)
{
    if (session == NULL) {
        return json_null();
    }
    struct lm_summary t;
    lm_session_tally(session, &t);
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:I, s:o, s:I, s:I, s:I}", "expected",
        (json_int_t) t.expected, "present", (json_int_t) t.present, "not_seen",
        (json_int_t) t.expected - (json_int_t) t.present, "identified", (json_int_t) t.identified,
        "readings", (json_int_t) t.readings, "passes", (json_int_t) t.passes, "heads",
        t.has_heads ? json_integer((json_int_t) t.heads) : json_null(), "go",
        (json_int_t) t.counts_attention[LM_GO], "look", (json_int_t) t.counts_attention[LM_LOOK],
        "hold", (json_int_t) t.counts_attention[LM_HOLD]);
}

static json_t *reasons_json(unsigned reasons)
{
    json_t *list = json_array();
    for (unsigned i = 0; i < LM_REASONS; i++) {
        if ((reasons & 1u << i) != 0) {
            json_array_append_new(list, json_string(lm_reason_name((enum lm_reason) i)));
        }
    }
    return list;
}

/*
 * A pair of tags carries its number twice; it is said once. The shortest comes first: it is the one
 * that is called at the race, an official number fills a line.
 */
static void add_number(json_t *list, const char *number)
{
    size_t at = json_array_size(list);
    for (size_t i = json_array_size(list); i-- > 0;) {
        const char *other = json_string_value(json_array_get(list, i));
        if (strcmp(other, number) == 0) {
            return;
        }
        at = strlen(number) < strlen(other) ? i : at;
    }
    if (number[0] != '\0') {
        json_array_insert_new(list, at, json_string(number));
    }
}

/* The device of an animal whose chip was read by its UID: it is found, but not listed. */
static bool chip_of(
    const struct lm_roll *roll, uint32_t animal, struct lm_eid eid, struct lm_roll_device *dev)
{
    struct lm_roll_hits it;
    bool more = eid.known == LM_EID_UID && lm_roll_code_first(roll, eid, &it, dev);
    while (more && (dev->animal != animal || dev->gone)) {
        more = lm_roll_code_next(roll, &it, dev);
    }
    return more;
}

/* A mark that can be seen: a page draws the number on the tag that bears it. */
static void add_mark(json_t *list, const struct lm_roll_device *dev)
{
    if (dev->visual[0] != '\0' || dev->colour[0] != '\0') {
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:s, s:s}", "visual", dev->visual, "colour", dev->colour,
                      "place", lm_place_name((enum lm_place) dev->place), "form",
                      lm_device_form_name((enum lm_device_form) dev->form)));
    }
}

void verdict_mark(const struct lm_roll *roll, uint32_t animal, struct lm_eid eid,
    const char **colour, const char **place)
{
    uint32_t n = lm_roll_animal(roll, animal).n_devices;
    bool found = false;
    for (uint32_t k = 0; k < n && !found; k++) {
        struct lm_roll_device dev = lm_roll_device(roll, animal, k);
        bool read = eid.known != LM_EID_NONE && lm_eid_key(dev.eid) == lm_eid_key(eid);
        if (!dev.gone && (read || dev.visual[0] != '\0')) {
            *colour = dev.colour;
            *place = lm_place_name((enum lm_place) dev.place);
            found = read;
        }
    }
    struct lm_roll_device chip;
    if (!found && chip_of(roll, animal, eid, &chip)) {
        *colour = chip.colour;
        *place = lm_place_name((enum lm_place) chip.place);
    }
}

/* What to look for on the animal: the numbers it wears, and one mark of it. */
static void add_animal(json_t *out, const struct lm_roll *roll, uint32_t animal, struct lm_eid eid)
{
    json_t *visual = json_array(), *marks = json_array();
    const char *key = NULL, *colour = "", *place = "", *sex = "", *mob = "";
    if (animal != LM_NO_ANIMAL) {
        struct lm_roll_animal a = lm_roll_animal(roll, animal);
        key = a.key;
        mob = a.mob;
        sex = lm_sex_name((enum lm_sex) a.sex);
        for (uint32_t k = 0; k < a.n_devices; k++) {
            struct lm_roll_device dev = lm_roll_device(roll, animal, k);
            if (dev.gone) {
                continue;
            }
            add_number(visual, dev.visual);
            add_mark(marks, &dev);
        }
        verdict_mark(roll, animal, eid, &colour, &place);
    }
    json_object_set_new(out, "animal", key != NULL ? json_string(key) : json_null());
    json_object_set_new(out, "visual", visual);
    json_object_set_new(out, "marks", marks);
    json_object_set_new(out, "colour", json_string(colour));
    json_object_set_new(out, "place", json_string(place));
    json_object_set_new(out, "sex", json_string(sex));
    json_object_set_new(out, "mob", json_string(mob));
}

json_t *animal_json(const struct lm_roll *roll, uint32_t animal)
{
    json_t *out = json_object();
    if (out != NULL) {
        add_animal(out, roll, animal, (struct lm_eid){.known = LM_EID_NONE});
        json_object_set_new(out, "status",
            json_string(lm_status_name((enum lm_status) lm_roll_animal(roll, animal).status)));
    }
    return out;
}

const char *verdict_say(const struct lm_verdict *verdict)
{
    enum lm_reason reason = lm_verdict_reason(verdict);
    if (reason != LM_REASONS) {
        return lm_reason_say(reason);
    }
    return verdict->animal != LM_NO_ANIMAL ? N_("on the roll") : "";
}

struct lm_eid verdict_eid(const struct lm_event *ev, const struct lm_verdict *verdict)
{
    return verdict->eid.known != LM_EID_NONE ? verdict->eid : ev->eid;
}

/* Keys that every object about one event begins with. */
static json_t *begin(const char *event, const struct lm_event *ev)
{
    json_t *out = json_pack("{s:s, s:I, s:o, s:s, s:s}", "event", event, "seq",
        (json_int_t) ev->seq, "t", time_json(ev->t_ms), "lane", ev->lane, "reader", ev->reader);
    return out;
}

json_t *verdict_json(
    const struct lm_session *session, const struct lm_event *ev, const struct lm_verdict *verdict)
{
    json_t *out = begin("verdict", ev);
    if (out == NULL) {
        return NULL;
    }
    bool sighting = ev->kind == LM_EVENT_SIGHTING;
    struct lm_eid eid = verdict_eid(ev, verdict);
    json_object_set_new(out, "attention", json_string(lm_attention_name(verdict->attention)));
    json_object_set_new(out, "reasons", reasons_json(verdict->reasons));
    json_object_set_new(out, "repeat", json_boolean(verdict->repeat));
    json_object_set_new(out, "eid", eid_json(eid));
    json_object_set_new(out, "called", sighting ? json_string(ev->text) : json_null());
    if (!sighting && ev->doubt != LM_DOUBT_NONE) {
        json_object_set_new(out, "text", json_string(ev->text));
    }
    add_animal(out, lm_session_roll(session), verdict->animal, eid);
    json_object_set_new(out, "say", json_string(verdict_say(verdict)));
    json_object_set_new(out, "tally", tally_json(session));
    return out;
}

static json_t *tally_event_json(const struct lm_session *session, const struct lm_event *ev)
{
    json_t *out = begin("tally", ev);
    if (out == NULL) {
        return NULL;
    }
    if (ev->kind == LM_EVENT_HEADS) {
        json_object_set_new(out, "heads", json_integer((json_int_t) ev->heads));
    } else if (ev->kind == LM_EVENT_REGISTER) {
        json_object_set_new(out, "register", json_string(ev->record->key));
    } else {
        json_object_set_new(out, "undo", json_true());
    }
    json_object_set_new(out, "tally", tally_json(session));
    return out;
}

static json_t *session_event_json(
    const struct lm_session *session, const struct lm_store_session *row, const struct lm_event *ev)
{
    struct lm_store_session then = *row;
    then.closed_ms = ev->kind == LM_EVENT_CLOSE ? ev->t_ms : LM_TIME_NONE;
    json_t *out = begin("session", ev);
    if (out != NULL) {
        json_object_set_new(out, "session", session_json(&then));
        json_object_set_new(out, "tally", tally_json(session));
    }
    return out;
}

json_t *event_json(const struct lm_session *session, const struct lm_store_session *row,
    const struct lm_event *ev, const struct lm_verdict *verdict)
{
    switch (ev->kind) {
    case LM_EVENT_READING:
    case LM_EVENT_SIGHTING:
        return verdict_json(session, ev, verdict);
    case LM_EVENT_HEADS:
    case LM_EVENT_UNDO:
    case LM_EVENT_REGISTER:
        return tally_event_json(session, ev);
    case LM_EVENT_OPEN:
    case LM_EVENT_CLOSE:
        return session_event_json(session, row, ev);
    }
    return NULL;
}

json_t *idle_json(const struct lm_roll *roll, const struct lm_event *ev)
{
    json_t *out = json_pack("{s:s, s:o, s:s, s:s, s:o}", "event", "idle", "t", time_json(ev->t_ms),
        "lane", ev->lane, "reader", ev->reader, "eid", eid_json(ev->eid));
    if (out == NULL) {
        return NULL;
    }
    struct lm_roll_hits it;
    struct lm_roll_device dev;
    uint32_t animal = LM_NO_ANIMAL;
    bool more = ev->eid.known != LM_EID_NONE && lm_roll_code_first(roll, ev->eid, &it, &dev);
    for (unsigned n = 0; more && n < 16; n++) {
        if (animal == LM_NO_ANIMAL || !dev.gone) {
            animal = dev.animal;
        }
        more = lm_roll_code_next(roll, &it, &dev);
    }
    add_animal(out, roll, animal, ev->eid);
    return out;
}
