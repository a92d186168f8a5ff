/* A session as an ICAR animal set: what was read at the race, known to the register or not. */
#include "icar_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct seen {
    struct icar_writer *w;
    json_t *members;  /* scheme and id in one text: the identifier, in order of first seeing */
    json_t *undoable; /* stack: a sighting's text, or "" for what adds nothing */
};

static enum lm_err keep(json_t *members, json_t *id)
{
    char name[ICAR_SCHEME_MAX + LM_VISUAL_MAX + 40];
    if (id == NULL)
        return LM_ENOMEM;
    snprintf(name, sizeof name, "%s\x1f%s", json_string_value(json_object_get(id, "scheme")),
        json_string_value(json_object_get(id, "id")));
    if (json_object_get(members, name) != NULL) {
        json_decref(id);
        return LM_OK;
    }
    return json_object_set_new(members, name, id) == 0 ? LM_OK : LM_ENOMEM;
}

static enum lm_err see_reading(struct seen *s, const struct lm_event *ev)
{
    char code[LM_EID_TEXT_SIZE];
    struct icar_writer *w = s->w;
    if (ev->doubt != LM_DOUBT_NONE || ev->eid.known == LM_EID_NONE) {
        lm_icar_note(&w->notes, false, "doubtful readings, which give no code");
        return LM_OK;
    }
    lm_eid_format(ev->eid, code);
    if (ev->eid.known == LM_EID_UID)
        return keep(s->members, lm_icar_own_id(w, "chip", code + strlen("uid:")));
    if (strlen(code) != 15) {
        lm_icar_note(&w->notes, false, "codes of countries above 999, which have not 15 digits");
        return LM_OK;
    }
    return keep(s->members, lm_icar_id(ICAR_CODE_SCHEME, code));
}

static enum lm_err see(const struct lm_event *ev, void *ctx)
{
    struct seen *s = ctx;
    switch (ev->kind) {
    case LM_EVENT_READING:
        return see_reading(s, ev);
    case LM_EVENT_SIGHTING:
        /* One that belongs to a pass names an animal that is in the set by its code. */
        return json_array_append_new(
                   s->undoable, json_string(ev->eid.known == LM_EID_NONE ? ev->text : "")) == 0
                   ? LM_OK
                   : LM_ENOMEM;
    case LM_EVENT_HEADS:
        lm_icar_note(&s->w->notes, false, "head counts");
        return json_array_append_new(s->undoable, json_string("")) == 0 ? LM_OK : LM_ENOMEM;
    case LM_EVENT_UNDO:
        if (json_array_size(s->undoable) > 0)
            json_array_remove(s->undoable, json_array_size(s->undoable) - 1);
        return LM_OK;
    case LM_EVENT_OPEN:
    case LM_EVENT_CLOSE:
    case LM_EVENT_REGISTER:
        break;
    }
    return LM_OK;
}

/* A number that one living animal wears is that animal, by what it is best known by. */
static json_t *sighted(struct icar_writer *w, sqlite3_stmt *st, const char *number)
{
    char fold[LM_VISUAL_MAX + 1];
    char key[LM_NAME_MAX + 1] = "";
    unsigned n = 0;
    lm_visual_fold(number, fold);
    sqlite3_bind_text(st, 1, fold, -1, SQLITE_TRANSIENT);
    while (fold[0] != '\0' && sqlite3_step(st) == SQLITE_ROW) {
        struct lm_take t = {st, 0};
        lm_take_text(&t, key, sizeof key);
        n++;
    }
    sqlite3_reset(st);
    if (n == 1 && lm_store_get(w->store, key, w->other) == LM_OK)
        return lm_icar_identifier(w, w->other);
    return lm_icar_own_id(w, "visual", number);
}

static enum lm_err add_sighted(struct seen *s)
{
    size_t i;
    json_t *number;
    enum lm_err err = LM_OK;
    sqlite3_stmt *st = lm_store_prepare(s->w->store,
        "SELECT DISTINCT a.key FROM device d JOIN animal a ON a.id = d.animal_id "
        "WHERE d.visual_fold = ?1 AND d.visual_fold <> '' AND d.gone = 0 LIMIT 2");
    if (st == NULL)
        return s->w->store->problem.err;
    json_array_foreach(s->undoable, i, number)
    {
        if (err == LM_OK && json_string_length(number) > 0)
            err = keep(s->members, sighted(s->w, st, json_string_value(number)));
    }
    sqlite3_finalize(st);
    return err;
}

static json_t *set_of(struct seen *s, const struct lm_store_session *session)
{
    struct icar_writer *w = s->w;
    char opened[LM_TIME_TEXT_SIZE], name[LM_NAME_MAX + 64], day[LM_DATE_TEXT_SIZE];
    const char *kind = lm_session_kind_name(session->open.kind), *key;
    json_t *list = json_array(), *id;
    bool closed = session->closed_ms != LM_TIME_NONE;
    json_object_foreach(s->members, key, id) json_array_append(list, id);
    json_t *meta = lm_icar_meta(
        lm_icar_source(w), session->open.id, closed ? session->closed_ms : w->how->now_ms);
    if (session->opened_ms != LM_TIME_NONE && meta != NULL)
        json_object_set_new(
            meta, "created", json_string(lm_time_format(session->opened_ms, opened)));
    snprintf(name, sizeof name, "%s %s%s%s", kind,
        lm_date_format(lm_date_of(session->opened_ms), day),
        session->open.mob[0] != '\0' ? " " : "", session->open.mob);
    if (!closed)
        lm_icar_note(&w->notes, false, "the session is still open: more may come");
    return json_pack("{s:s, s:o, s:o, s:s, s:s, s:s, s:o}", "resourceType", "icarAnimalSetResource",
        "meta", meta, "location", lm_icar_location(w), "id", session->open.id, "name", name,
        "purpose", "Session", "member", list);
}

enum lm_err lm_icar_write_session(struct icar_writer *w)
{
    const struct lm_store_session session = w->session;
    enum lm_err err = LM_OK;
    struct seen s = {.w = w, .members = json_object(), .undoable = json_array()};
    if (s.members == NULL || s.undoable == NULL)
        err = LM_ENOMEM;
    err = err ? err : lm_store_events(w->store, session.id, 0, see, &s);
    err = err ? err : add_sighted(&s);
    err = err ? err : lm_icar_emit(w, set_of(&s, &session));
    json_decref(s.members);
    json_decref(s.undoable);
    return err;
}
