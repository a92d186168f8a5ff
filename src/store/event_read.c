#include "store/store_priv.h"

#include "lugmark/eventline.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* An animal as a register event kept it. */
enum lm_err lm_store_image(
    struct lm_store *s, int64_t seq, const char *body, size_t len, struct lm_record *rec)
{
    struct lm_problem why = {0};
    if (lm_record_from_json(body, len, rec, &why) == LM_OK)
        return LM_OK;
    return lm_problem_set(&s->problem, LM_EINPUT,
        "run `lugmark verify`; if it agrees, go back to the last good backup",
        "the history at event %lld cannot be read: %s", (long long) seq, why.what);
}

/* What a change made of its animal: what the next change found, else what the register says. */
static enum lm_err after_image(
    struct lm_store *s, int64_t animal, int64_t seq, struct lm_record *rec)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_NEXT_IMAGE);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_int64(st, 1, animal);
    sqlite3_bind_int64(st, 2, seq);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_OK;
    if (rc == SQLITE_ROW) {
        const char *body = (const char *) sqlite3_column_text(st, 1);
        err = lm_store_image(s, sqlite3_column_int64(st, 0), body != NULL ? body : "",
            body != NULL ? (size_t) sqlite3_column_bytes(st, 1) : 0, rec);
    } else if (rc != SQLITE_DONE) {
        err = lm_store_fail(s, "reading the history");
    }
    sqlite3_reset(st);
    return err == LM_OK && rc == SQLITE_DONE ? lm_store_load(s, animal, rec) : err;
}

static enum lm_err take_keys(struct lm_store_event *e, const json_t *list)
{
    size_t n = json_array_size(list);
    if (list == NULL)
        return LM_OK;
    e->keys = calloc(n + 1, sizeof *e->keys);
    if (!json_is_array(list) || e->keys == NULL)
        return LM_EINPUT;
    for (size_t i = 0; i < n; i++) {
        const char *key = json_string_value(json_array_get(list, i));
        e->keys[i] = key != NULL ? key : "";
    }
    e->open.keys = e->keys;
    e->open.n_keys = n;
    return LM_OK;
}

static enum lm_err take_body(struct lm_store *s, struct lm_store_event *e, const char *body)
{
    if (body == NULL)
        return LM_OK;
    json_t *root = json_loads(body, 0, NULL);
    e->json = root;
    const char *settings = json_string_value(json_object_get(root, "settings"));
    if (settings != NULL)
        lm_text_copy(e->open.settings, sizeof e->open.settings, settings, strlen(settings));
    if (json_is_object(root) && take_keys(e, json_object_get(root, "keys")) == LM_OK)
        return LM_OK;
    return lm_problem_set(&s->problem, LM_EINPUT, "run `lugmark verify`",
        "the lot of the session at event %lld cannot be read", (long long) e->ev.seq);
}

static enum lm_err take_open(
    struct lm_store *s, struct lm_store_event *e, int64_t session, const char *body)
{
    struct lm_store_session row;
    enum lm_err err = lm_store_session(s, session, &row);
    if (err != LM_OK)
        return err;
    e->open = row.open;
    e->ev.open = &e->open;
    return take_body(s, e, body);
}

enum lm_err lm_store_event_row(struct lm_store *s, sqlite3_stmt *st, struct lm_store_event *e)
{
    struct lm_take t = {st, 0};
    struct lm_event *ev = &e->ev;
    memset(ev, 0, sizeof *ev);
    e->keys = NULL;
    e->json = NULL;
    ev->seq = lm_take_int(&t);
    ev->kind = (enum lm_event_kind) lm_take_word(&t, LM_EVENT_REGISTER);
    ev->t_ms = lm_take_time(&t);
    ev->clock_ms = lm_take_time(&t);
    lm_take_text(&t, ev->lane, sizeof ev->lane);
    lm_take_text(&t, ev->reader, sizeof ev->reader);
    ev->eid.bits = (uint64_t) lm_take_int(&t);
    ev->eid.known = lm_take_word(&t, LM_EID_UID);
    ev->doubt = (enum lm_doubt) lm_take_word(&t, LM_DOUBT_DAMAGED);
    lm_take_text(&t, ev->text, sizeof ev->text);
    ev->cut = lm_take_bool(&t);
    ev->heads = (uint32_t) lm_take_int(&t);
    int64_t session = lm_take_int(&t);
    int64_t animal = lm_take_int(&t);
    const char *body = (const char *) sqlite3_column_text(st, t.i++);
    lm_take_text(&t, e->why, sizeof e->why);
    if (ev->kind == LM_EVENT_OPEN)
        return take_open(s, e, session, body);
    if (ev->kind != LM_EVENT_REGISTER)
        return LM_OK;
    ev->record = &e->record;
    return after_image(s, animal, ev->seq, &e->record);
}

void lm_store_event_free(struct lm_store_event *e)
{
    free(e->keys);
    json_decref(e->json);
    e->keys = NULL;
    e->json = NULL;
}
