/* An ICAR animal set of purpose Session becomes a closed walk in the journal. */
#include "icar_priv.h"

#include <stdio.h>
#include <string.h>

static enum lm_err has_name(const struct lm_store_session *s, void *ctx)
{
    return strcmp(s->open.id, ctx) == 0 ? LM_EEXISTS : LM_OK;
}

/* SOURCE:ID, so that no session of this register is called so. "" after telling why not. */
static enum lm_err name_of(
    struct icar_reader *r, const json_t *set, const char *path, char name[LM_NAME_MAX + 1])
{
    char whole[ICAR_SCHEME_MAX + LM_VISUAL_MAX + 2];
    const char *source = json_string_value(json_object_get(json_object_get(set, "meta"), "source"));
    const char *id = lm_icar_text(r, set, path, "id");
    unsigned long before = r->problems;
    name[0] = '\0';
    if (id == NULL || id[0] == '\0') {
        if (r->problems == before)
            lm_icar_bad(r, LM_EINPUT, path, "have the sender add it", "the set has no id");
        return LM_OK;
    }
    snprintf(whole, sizeof whole, "%.120s%s%.120s", source != NULL ? source : "",
        source != NULL ? ":" : "", id);
    if (!lm_text_copy(name, LM_NAME_MAX + 1, whole, strlen(whole))) {
        lm_icar_bad(r, LM_EINPUT, path, "have the sender shorten them",
            "source and id of the set are longer than %u bytes together", LM_NAME_MAX);
        name[0] = '\0';
        return LM_OK;
    }
    enum lm_err err = lm_store_sessions(r->store, has_name, name);
    if (err == LM_EEXISTS) {
        lm_icar_bad(r, LM_EEXISTS, path, "it was imported before: leave it out",
            "there is a session %s already", name);
        name[0] = '\0';
    }
    return err == LM_EEXISTS ? LM_OK : err;
}

static enum lm_err append(struct icar_reader *r, int64_t *session, const struct lm_event *ev)
{
    return lm_store_append(r->store, session, ev, NULL, NULL);
}

static enum lm_err take_member(struct icar_reader *r, const json_t *id, const char *source,
    const char *path, int64_t *session, const struct lm_event *stamp)
{
    struct icar_mark mark;
    struct lm_event ev = *stamp;
    if (!lm_icar_take_id(r, id, source, path, &mark))
        return LM_OK;
    if (mark.kind == ICAR_KEY) {
        lm_icar_note(&r->notes, false, "members named only by the sender's own key");
        return LM_OK;
    }
    ev.kind =
        mark.kind == ICAR_CODE || mark.kind == ICAR_CHIP ? LM_EVENT_READING : LM_EVENT_SIGHTING;
    ev.eid = mark.eid;
    if (mark.kind == ICAR_CHIP && lm_eid_from_uid(mark.text, strlen(mark.text), &ev.eid) != LM_OK) {
        lm_icar_bad(r, LM_EINPUT, path, "have the sender correct it", "no UID of a chip");
        return LM_OK;
    }
    if (ev.kind == LM_EVENT_SIGHTING)
        snprintf(ev.text, sizeof ev.text, "%s", mark.text);
    return append(r, session, &ev);
}

static enum lm_err take_members(struct icar_reader *r, const json_t *set, const char *path,
    int64_t *session, const struct lm_event *stamp)
{
    char at[ICAR_PATH_MAX];
    const char *source = json_string_value(json_object_get(json_object_get(set, "meta"), "source"));
    json_t *list = json_object_get(set, "member"), *id;
    enum lm_err err = LM_OK;
    size_t i;
    if (!json_is_array(list))
        lm_icar_bad(r, LM_EINPUT, path, "write \"member\":[...]", "the set has no list of members");
    json_array_foreach(list, i, id)
    {
        snprintf(at, sizeof at, "%s/member/%zu", path, i);
        if (err == LM_OK)
            err = take_member(r, id, source, at, session, stamp);
    }
    return err;
}

static int64_t created_ms(const json_t *set)
{
    const char *text = json_string_value(json_object_get(json_object_get(set, "meta"), "created"));
    int64_t t_ms = LM_TIME_NONE;
    return text != NULL && lm_time_parse(text, strlen(text), &t_ms) == LM_OK ? t_ms : LM_TIME_NONE;
}

enum lm_err lm_icar_take_set(struct icar_reader *r, const json_t *set, const char *path)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {
        .kind = LM_EVENT_OPEN, .t_ms = created_ms(set), .clock_ms = LM_TIME_NONE, .open = &open};
    const char *purpose = lm_icar_text(r, set, path, "purpose");
    int64_t session = 0;
    if (purpose == NULL || strcmp(purpose, "Session") != 0) {
        lm_icar_note(&r->notes, true, "animal sets of purpose %.40s: only Session is taken",
            purpose != NULL ? purpose : "(not said)");
        return LM_OK;
    }
    enum lm_err err = name_of(r, set, path, open.id);
    if (err != LM_OK || open.id[0] == '\0')
        return err;
    err = append(r, &session, &ev);
    if (err == LM_EBUSY) {
        const struct lm_problem *p = lm_store_problem(r->store);
        lm_icar_bad(r, LM_EINPUT, path, p->mend, "%s", p->what);
        return LM_OK;
    }
    struct lm_event bare = ev;
    bare.open = NULL;
    err = err ? err : take_members(r, set, path, &session, &bare);
    bare.kind = LM_EVENT_CLOSE;
    err = err ? err : append(r, &session, &bare);
    r->taken->sessions += err == LM_OK;
    return err;
}
