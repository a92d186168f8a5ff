#include "store/store_priv.h"
#include "wire/wire.h"

#include <jansson.h>
#include <stdlib.h>

/* A token that was seen before: the place its event got then. LM_ENOTFOUND: it is new. */
static enum lm_err seen_token(struct lm_store *s, const char *token, int64_t *session, int64_t *seq)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_TOKEN);
    if (st == NULL)
        return s->problem.err;
    sqlite3_bind_text(st, 1, token, -1, SQLITE_STATIC);
    int rc = sqlite3_step(st);
    enum lm_err err = LM_ENOTFOUND;
    if (rc == SQLITE_ROW) {
        *seq = sqlite3_column_int64(st, 0);
        *session = sqlite3_column_int64(st, 1);
        err = lm_problem_set(&s->problem, LM_EEXISTS, NULL,
            "this request was carried out before, as event %lld", (long long) *seq);
    } else if (rc != SQLITE_DONE) {
        err = lm_store_fail(s, "reading the journal");
    }
    sqlite3_reset(st);
    return err;
}

/* The animals of a lot as a JSON array. */
static json_t *keys_list(struct lm_store *s, const struct lm_open *open)
{
    json_t *list = json_array();
    for (size_t i = 0; list != NULL && i < open->n_keys; i++) {
        if (json_array_append_new(list, json_string(open->keys[i])) != 0) {
            json_decref(list);
            lm_problem_set(&s->problem, LM_EARG, "write the list as UTF-8",
                "animal %zu of the lot has a name that is not UTF-8", i + 1);
            return NULL;
        }
    }
    return list;
}

/* What an open event says beyond its session's row; NULL in @p body when it is nothing. */
static enum lm_err open_body(struct lm_store *s, const struct lm_open *open, char **body)
{
    *body = NULL;
    if (open->keys == NULL && open->settings[0] == '\0')
        return LM_OK;
    json_t *root = json_object();
    json_t *keys = open->keys != NULL ? keys_list(s, open) : NULL;
    if (open->keys != NULL && keys == NULL) {
        json_decref(root);
        return LM_EARG;
    }
    if (keys != NULL)
        json_object_set_new(root, "keys", keys);
    if (open->settings[0] != '\0' &&
        json_object_set_new(root, "settings", json_string(open->settings)) != 0) {
        json_decref(root);
        return lm_problem_set(&s->problem, LM_EARG, "write the settings as UTF-8",
            "the settings of the session are not UTF-8");
    }
    *body = lm_wire_dumps(root);
    json_decref(root);
    return *body != NULL ? LM_OK : lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
}

static void bind_event(struct lm_bind *b, const struct lm_event *ev, int64_t session,
    const char *body, const char *token)
{
    if (session != 0)
        lm_bind_int(b, session);
    else
        lm_bind_null(b);
    lm_bind_int(b, ev->kind);
    lm_bind_time(b, ev->t_ms);
    lm_bind_time(b, ev->clock_ms);
    lm_bind_opt(b, ev->lane);
    lm_bind_opt(b, ev->reader);
    lm_bind_int(b, (int64_t) ev->eid.bits);
    lm_bind_int(b, ev->eid.known);
    lm_bind_int(b, ev->doubt);
    lm_bind_opt(b, ev->text);
    lm_bind_int(b, ev->cut);
    if (ev->kind == LM_EVENT_HEADS)
        lm_bind_int(b, ev->heads);
    else
        lm_bind_null(b);
    lm_bind_opt(b, body);
    lm_bind_opt(b, token);
}

static enum lm_err insert(struct lm_store *s, const struct lm_event *ev, int64_t session,
    const char *body, const char *token, int64_t *seq)
{
    sqlite3_stmt *st = lm_store_st(s, LM_ST_EVENT_ADD);
    if (st == NULL)
        return s->problem.err;
    struct lm_bind b = {st, 0};
    bind_event(&b, ev, session, body, token);
    enum lm_err err = lm_store_run(s, st, "writing the journal");
    *seq = err == LM_OK ? sqlite3_last_insert_rowid(s->db) : 0;
    return err;
}

static enum lm_err append_open(struct lm_store *s, int64_t *session, const struct lm_event *ev,
    const char *token, int64_t *seq)
{
    char *body = NULL;
    int64_t planned = 0;
    enum lm_err err = open_body(s, ev->open, &body);
    err = err ? err : lm_store_session_insert(s, ev, session, &planned);
    err = err ? err : insert(s, ev, *session, body, token, seq);
    free(body);
    if (err == LM_OK && *seq != planned)
        err = lm_problem_set(&s->problem, LM_EINPUT, "run `lugmark verify`",
            "the journal gave place %lld where %lld was next", (long long) *seq,
            (long long) planned);
    return err;
}

static enum lm_err append_any(struct lm_store *s, int64_t *session, const struct lm_event *ev,
    const char *token, int64_t *seq)
{
    if (ev->kind == LM_EVENT_OPEN)
        return append_open(s, session, ev, token, seq);
    enum lm_err err = *session != 0 ? lm_store_session_live(s, *session) : LM_OK;
    if (err == LM_OK && ev->kind == LM_EVENT_REGISTER)
        return lm_store_put_event(s, ev->record, ev, *session, NULL, token, seq);
    err = err ? err : insert(s, ev, *session, NULL, token, seq);
    if (err == LM_OK && ev->kind == LM_EVENT_CLOSE)
        err = lm_store_session_close(s, *session, ev->t_ms, *seq);
    return err;
}

static enum lm_err check(struct lm_store *s, const struct lm_event *ev, int64_t session)
{
    if (ev->kind == LM_EVENT_OPEN && ev->open == NULL)
        return lm_problem_set(&s->problem, LM_EARG, NULL, "an open event that opens nothing");
    if (ev->kind == LM_EVENT_REGISTER && ev->record == NULL)
        return lm_problem_set(&s->problem, LM_EARG, NULL, "a register event without an animal");
    if (ev->kind == LM_EVENT_CLOSE && session == 0)
        return lm_problem_set(
            &s->problem, LM_EARG, "open one with `lugmark open`", "no session is open");
    return LM_OK;
}

enum lm_err lm_store_append(struct lm_store *store, int64_t *session, const struct lm_event *ev,
    const char *token, int64_t *seq)
{
    int64_t none = 0, place = 0;
    enum lm_scope scope;
    int64_t *row = session != NULL ? session : &none;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : check(store, ev, *row);
    bool several = ev->kind == LM_EVENT_OPEN || ev->kind == LM_EVENT_CLOSE;
    err = err ? err : lm_store_bulk_end(store);
    err = err ? err : lm_store_write_begin(store, several, &scope);
    if (err != LM_OK)
        return err;
    int64_t before = *row;
    err = token != NULL && token[0] != '\0' ? seen_token(store, token, row, &place) : LM_ENOTFOUND;
    bool again = err == LM_EEXISTS;
    if (err == LM_ENOTFOUND)
        err = append_any(store, row, ev, token, &place);
    err = lm_store_write_end(store, scope, err);
    if (err != LM_OK && !again)
        *row = before;
    if (seq != NULL)
        *seq = err == LM_OK || again ? place : 0;
    return err;
}

int64_t lm_store_last_seq(struct lm_store *store)
{
    int64_t seq = 0;
    if (lm_store_fresh(store) != LM_OK)
        return 0;
    sqlite3_stmt *st = lm_store_st(store, LM_ST_LAST_SEQ);
    if (st == NULL)
        return 0;
    if (sqlite3_step(st) == SQLITE_ROW)
        seq = sqlite3_column_int64(st, 0);
    else
        lm_store_fail(store, "reading the journal");
    sqlite3_reset(st);
    return seq;
}

bool lm_store_changed(struct lm_store *store)
{
    bool changed = false;
    if (lm_store_fresh(store) != LM_OK)
        return false;
    sqlite3_stmt *st = lm_store_st(store, LM_ST_DATA_VERSION);
    if (st == NULL)
        return false;
    if (sqlite3_step(st) == SQLITE_ROW) {
        int64_t version = sqlite3_column_int64(st, 0);
        changed = version != store->data_version;
        store->data_version = version;
    } else {
        lm_store_fail(store, "looking for changes");
    }
    sqlite3_reset(st);
    return changed;
}
