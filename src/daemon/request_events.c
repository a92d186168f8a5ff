#include "request.h"

#include "daemon.h"
#include "should.h"
#include "verdict_json.h"
#include <string.h>

static bool no_session(struct request *r, struct lm_problem *bad)
{
    if (r->d->fold.session != NULL) {
        return false;
    }
    lm_problem_set(bad, LM_EARG, "begin one: lugmark open walk", "no session is open");
    return true;
}

/*
 * The lane that a request is about: the one that it names, else the only one there is, else "".
 * Returns false after answering.
 */
static bool take_lane(struct request *r, char lane[LM_NAME_MAX + 1])
{
    const char *names[CONFIG_LANES + CONFIG_READERS];
    size_t n = config_lane_names(r->d->config, names);
    if (!request_text(r, "lane", lane, LM_NAME_MAX + 1)) {
        return false;
    }
    if (lane[0] == '\0') {
        if (n == 1) {
            snprintf(lane, LM_NAME_MAX + 1, "%s", names[0]);
        }
        return true;
    }
    if (r->d->config->n_lanes == 0 && r->d->config->n_readers == 0) {
        return true; /* nothing is configured: whatever people call their lanes is right */
    }
    struct lm_problem p = {.err = LM_OK};
    char mend[LM_PROBLEM_TEXT_MAX] = "the lanes are";
    for (size_t i = 0; i < n; i++) {
        if (strcmp(names[i], lane) == 0) {
            return true;
        }
        size_t at = strlen(mend);
        snprintf(mend + at, sizeof mend - at, " %s", names[i]);
    }
    lm_problem_set(&p, LM_EARG, mend, "there is no lane %s", lane);
    request_fail(r, &p);
    return false;
}

static void judge_saw(struct request *r, bool on_last, struct lm_event *ev, struct lm_problem *bad)
{
    char fold[LM_VISUAL_MAX + 1];
    const char *names[CONFIG_LANES + CONFIG_READERS];
    if (no_session(r, bad)) {
        return;
    }
    if (lm_visual_fold(ev->text, fold) == 0) {
        lm_problem_set(
            bad, LM_EARG, "give the number that stands on the tag", "a sighting needs a number");
        return;
    }
    if (!on_last) {
        return;
    }
    if (ev->lane[0] == '\0') {
        lm_problem_set(bad, LM_EARG, "say which lane: --lane", "there are %zu lanes",
            config_lane_names(r->d->config, names));
        return;
    }
    ev->eid = lm_session_last_pass(r->d->fold.session, ev->lane);
    if (ev->eid.known == LM_EID_NONE) {
        lm_problem_set(
            bad, LM_EARG, "leave --on-last out", "nothing was read in lane %s so far", ev->lane);
    }
}

void request_saw(struct request *r)
{
    struct lm_event ev = {.kind = LM_EVENT_SIGHTING};
    struct lm_problem bad = {.err = LM_OK};
    struct lm_verdict verdict;
    const json_t *number = json_object_get(r->body, "number");
    const json_t *on_last = json_object_get(r->body, "on_last");
    if (!json_is_string(number) ||
        (on_last != NULL && !json_is_boolean(on_last) && !json_is_null(on_last))) {
        lm_problem_set(&bad, LM_EARG, "send \"number\":\"0417\" and, if wanted, \"on_last\":true",
            "a sighting needs its number as text");
        request_fail(r, &bad);
        return;
    }
    ev.cut = !lm_text_copy(
        ev.text, sizeof ev.text, json_string_value(number), json_string_length(number));
    if (!take_lane(r, ev.lane) || !request_ready(r)) {
        return;
    }
    judge_saw(r, json_is_true(on_last), &ev, &bad);
    if (request_submit(r, &ev, &bad, &verdict) == REQUEST_DONE) {
        request_ok(
            r, json_pack("{s:I, s:o}", "seq", (json_int_t) ev.seq, "verdict",
                   should_add(verdict_json(r->d->fold.session, &ev, &verdict), &r->d->fold)));
    }
}

void request_head(struct request *r)
{
    struct lm_event ev = {.kind = LM_EVENT_HEADS};
    struct lm_problem bad = {.err = LM_OK};
    struct lm_verdict verdict;
    const json_t *n = json_object_get(r->body, "n");
    if (!json_is_integer(n) || json_integer_value(n) < 0 || json_integer_value(n) > 10000000) {
        lm_problem_set(&bad, LM_EARG, "send \"n\":213", "a head count is a whole number from 0 up");
        request_fail(r, &bad);
        return;
    }
    ev.heads = (uint32_t) json_integer_value(n);
    if (!take_lane(r, ev.lane) || !request_ready(r)) {
        return;
    }
    no_session(r, &bad);
    if (request_submit(r, &ev, &bad, &verdict) == REQUEST_DONE) {
        request_ok(r, json_pack("{s:I, s:o}", "seq", (json_int_t) ev.seq, "tally",
                          tally_json(r->d->fold.session)));
    }
}

static enum lm_err take_undone(const struct lm_event *ev, void *ctx)
{
    json_t **out = ctx;
    if (ev->kind == LM_EVENT_SIGHTING) {
        *out = json_pack("{s:s}", "sighting", ev->text);
    } else if (ev->kind == LM_EVENT_HEADS) {
        *out = json_pack("{s:I}", "heads", (json_int_t) ev->heads);
    }
    return LM_EAGAIN; /* one is enough */
}

/* What the next undo takes back, as the journal has it. NULL when there is nothing. */
static json_t *next_undone(struct request *r)
{
    struct fold *f = &r->d->fold;
    json_t *out = NULL;
    if (f->session != NULL && f->n_acts > 0) {
        lm_store_events(f->store, f->row.id, f->acts[f->n_acts - 1].seq - 1, take_undone, &out);
    }
    return out;
}

void request_undo(struct request *r)
{
    struct lm_event ev = {.kind = LM_EVENT_UNDO};
    struct lm_problem bad = {.err = LM_OK};
    struct lm_verdict verdict;
    if (!request_ready(r)) {
        return;
    }
    json_t *undone = next_undone(r);
    if (!no_session(r, &bad) && r->d->fold.n_acts == 0) {
        lm_problem_set(&bad, LM_EARG, "readings are not taken back: they did happen",
            "no sighting and no head count is there to take back");
    }
    if (request_submit(r, &ev, &bad, &verdict) != REQUEST_DONE) {
        json_decref(undone);
        return;
    }
    request_ok(
        r, json_pack("{s:I, s:o, s:o}", "seq", (json_int_t) ev.seq, "undone",
               undone != NULL ? undone : json_null(), "tally", tally_json(r->d->fold.session)));
}

void request_close(struct request *r)
{
    struct lm_event ev = {.kind = LM_EVENT_CLOSE};
    struct lm_problem bad = {.err = LM_OK};
    struct lm_verdict verdict;
    if (!request_ready(r)) {
        return;
    }
    no_session(r, &bad);
    if (request_submit(r, &ev, &bad, &verdict) == REQUEST_DONE) {
        struct fold *f = &r->d->fold;
        json_t *more = json_pack("{s:I, s:o, s:o}", "seq", (json_int_t) ev.seq, "session",
            session_json(&f->row), "tally", tally_json(f->session));
        fold_closed(f);
        request_ok(r, more);
    }
}
