#include "request.h"

#include "clock.h"
#include "daemon.h"
#include "json_memory.h"
#include "lugmark/control.h"
#include "verdict_json.h"
#include <string.h>

struct verb {
    const char *name;
    void (*run)(struct request *r);
    bool looks; /* changes nothing: also for those who may only look */
};

static const struct verb verbs[] = {
    {"open", request_open, false},
    {"saw", request_saw, false},
    {"head", request_head, false},
    {"undo", request_undo, false},
    {"close", request_close, false},
    {"findings", request_findings, true},
    {"status", request_status, true},
    {"readers", request_readers, true},
    {"watch", request_watch, true},
    {"pair", request_pair, false},
    {"paired", request_paired, false},
    {"unpair", request_unpair, false},
};

static int exit_of(enum lm_err err)
{
    if (err == LM_EARG) {
        return 2;
    }
    return err == LM_EINPUT ? 3 : 4;
}

static json_t *answer(struct request *r, bool ok)
{
    json_t *out = json_object();
    json_object_set_new(out, "ok", json_boolean(ok));
    json_object_set(out, "id", r->id != NULL ? r->id : json_null());
    return out;
}

void request_ok(struct request *r, json_t *more)
{
    json_t *out = answer(r, true);
    if (more != NULL) {
        json_object_update(out, more);
        json_decref(more);
    }
    client_answer(r->client, out);
}

void request_fail(struct request *r, const struct lm_problem *p)
{
    json_t *out = answer(r, false);
    json_object_set_new(out, "error", json_string(p->what));
    json_object_set_new(out, "mend", json_string(p->mend));
    json_object_set_new(out, "exit", json_integer(exit_of(p->err)));
    client_answer(r->client, out);
}

static void fail(struct request *r, enum lm_err err, const char *mend, const char *what)
{
    struct lm_problem p = {.err = LM_OK};
    lm_problem_set(&p, err, mend, "%s", what);
    request_fail(r, &p);
}

bool request_text(struct request *r, const char *key, char *out, size_t size)
{
    const json_t *value = json_object_get(r->body, key);
    out[0] = '\0';
    if (value == NULL || json_is_null(value)) {
        return true;
    }
    struct lm_problem p = {.err = LM_OK};
    if (!json_is_string(value)) {
        lm_problem_set(&p, LM_EARG, "write it in quotes", "\"%s\" is no text", key);
    } else if (!lm_text_copy(out, size, json_string_value(value), json_string_length(value))) {
        lm_problem_set(&p, LM_EINPUT, "shorten it, and leave control characters and blanks out",
            "\"%s\" is longer than %zu bytes or not clean text", key, size - 1);
    }
    if (p.err != LM_OK) {
        request_fail(r, &p);
    }
    return p.err == LM_OK;
}

bool request_ready(struct request *r)
{
    struct journal *j = &r->d->journal;
    enum lm_err err = journal_flush(j);
    if (err == LM_OK) {
        err = journal_catch_up(j);
    }
    if (err == LM_OK) {
        return true;
    }
    fail(r, LM_EIO, j->problem.mend, j->failed ? j->problem.what : "the register cannot be read");
    return false;
}

static void answer_again(struct request *r, int64_t seq)
{
    const struct fold *f = &r->d->fold;
    json_t *more = json_pack("{s:I, s:b}", "seq", (json_int_t) seq, "again", 1);
    if (f->session != NULL && f->row.first_seq == seq) {
        json_object_set_new(more, "session", session_json(&f->row));
        json_object_set_new(more, "expected", json_integer((json_int_t) lm_roll_expected(f->roll)));
    }
    request_ok(r, more);
}

enum request_fate request_submit(struct request *r, struct lm_event *ev,
    const struct lm_problem *bad, struct lm_verdict *verdict)
{
    struct journal *j = &r->d->journal;
    if (bad->err != LM_OK) {
        int64_t seq = r->token != NULL ? journal_token(j, r->token) : 0;
        if (seq > 0) {
            answer_again(r, seq);
        } else {
            request_fail(r, bad);
        }
        return REQUEST_ANSWERED;
    }
    ev->t_ms = clock_wall_ms();
    ev->clock_ms = fold_clock(&r->d->fold);
    enum lm_err err = journal_submit(j, ev, r->token, verdict);
    if (err == LM_OK) {
        return REQUEST_DONE;
    }
    if (err == LM_EEXISTS && r->token != NULL && ev->seq != 0) {
        answer_again(r, ev->seq);
    } else {
        fail(r, LM_EIO, j->problem.mend, j->problem.what);
    }
    return REQUEST_ANSWERED;
}

static bool take_token(struct request *r)
{
    const json_t *token = json_object_get(r->body, "token");
    if (token == NULL || json_is_null(token)) {
        return true;
    }
    size_t len = json_string_length(token);
    if (!json_is_string(token) || len == 0 || len > LM_CONTROL_TOKEN_MAX ||
        !lm_text_clean(json_string_value(token), len)) {
        fail(r, LM_EARG, "choose a text of 1 to 64 bytes", "\"token\" is no clean short text");
        return false;
    }
    r->token = json_string_value(token);
    return true;
}

static bool dispatch(struct request *r, size_t len)
{
    const char *verb = json_string_value(json_object_get(r->body, "do"));
    if (len > LM_CONTROL_LINE_MAX && (verb == NULL || strcmp(verb, "open") != 0)) {
        return false;
    }
    if (verb == NULL) {
        fail(r, LM_EARG, "say what to do, as in {\"do\":\"status\"}", "the request has no \"do\"");
        return true;
    }
    for (size_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++) {
        if (strcmp(verbs[i].name, verb) == 0) {
            if (r->client->looks && !verbs[i].looks) {
                fail(r, LM_EIO,
                    "ask the keeper; [control] in lugmark.conf says what the group of the socket "
                    "may do",
                    "you may look, and not change anything");
            } else if (take_token(r)) {
                verbs[i].run(r);
            }
            return true;
        }
    }
    fail(r, LM_EARG, "choose from open saw head undo close findings status readers watch",
        "no request is called so");
    return true;
}

bool request_take(struct client *c, json_t *body, size_t len)
{
    struct request r = {.d = c->d, .client = c, .body = body};
    if (body == NULL && json_memory_ran_out()) {
        fail(&r, LM_ENOMEM, "end other programs, then try again", "out of memory for the request");
        return true;
    }
    if (json_is_object(body)) {
        r.id = json_object_get(body, "id");
        return dispatch(&r, len);
    }
    if (len > LM_CONTROL_LINE_MAX) {
        return false;
    }
    fail(&r, LM_EARG, "send one JSON object a line, each key once",
        body == NULL ? "the line is not JSON" : "the line is no JSON object");
    return true;
}

bool request_handle(struct client *c, const char *line, size_t len)
{
    json_error_t error;
    (void) json_memory_ran_out(); /* what was before is none of this request */
    json_t *body = json_loadb(line, len, JSON_REJECT_DUPLICATES, &error);
    bool good = request_take(c, body, len);
    json_decref(body);
    return good;
}
