#include "request.h"

#include "daemon.h"
#include "lugmark/report.h"
#include "report/tongue.h"
#include "resume.h"
#include "verdict_json.h"
#include <stdlib.h>

static void fail(struct request *r, enum lm_err err, const char *mend, const char *what)
{
    struct lm_problem p = {.err = LM_OK};
    lm_problem_set(&p, err, mend, "%s", what);
    request_fail(r, &p);
}

typedef enum lm_err report_fn(FILE *out, const struct lm_session *session);

/* What a report writes, in memory. Ownership: free(). NULL when out of memory. */
static char *written(report_fn *report, const struct lm_session *session, size_t *len)
{
    char *text = NULL;
    FILE *mem = open_memstream(&text, len);
    if (mem == NULL) {
        return NULL;
    }
    enum lm_err err = report(mem, session);
    if (fclose(mem) == 0 && err == LM_OK) {
        return text;
    }
    free(text);
    return NULL;
}

/* The findings of a session as an answer: the object, and the text for people if it was asked for.
 */
static json_t *findings_json(const struct request *r, const struct lm_session *session)
{
    size_t len = 0;
    char *text = written(lm_report_json, session, &len);
    json_t *object = text != NULL ? json_loadb(text, len, 0, NULL) : NULL;
    free(text);
    json_t *out = object != NULL ? json_pack("{s:o}", "findings", object) : NULL;
    if (out == NULL || !json_is_true(json_object_get(r->body, "text"))) {
        return out;
    }
    const char *lang = json_string_value(json_object_get(r->body, "lang"));
    bool lent = lang != NULL && lm_tongue_lend(lang); /* one of ours, else English */
    text = written(lm_report_text, session, &len);
    if (lent) {
        lm_tongue_give_back();
    }
    if (text == NULL || json_object_set_new(out, "text", json_stringn(text, len)) != 0) {
        json_decref(out);
        out = NULL;
    }
    free(text);
    return out;
}

/* Of the session that was closed last, folded again. */
static json_t *last_findings(struct request *r, enum lm_err *err)
{
    struct daemon *d = r->d;
    struct lm_store_session row;
    struct scratch s;
    json_t *out = NULL;
    *err = lm_store_session(d->store, 0, &row);
    if (*err == LM_OK) {
        *err = scratch_begin(&s, d->store, &row);
    }
    if (*err != LM_OK) {
        return NULL;
    }
    *err = scratch_run(&s, d->store, NULL, NULL);
    if (*err == LM_OK) {
        out = findings_json(r, s.session);
        *err = out != NULL ? LM_OK : LM_ENOMEM;
    }
    scratch_end(&s);
    return out;
}

void request_findings(struct request *r)
{
    struct fold *f = &r->d->fold;
    enum lm_err err = LM_OK;
    json_t *answer = NULL;
    if (!request_ready(r)) {
        return;
    }
    if (f->session != NULL) {
        answer = findings_json(r, f->session);
        err = answer != NULL ? LM_OK : LM_ENOMEM;
    } else {
        answer = last_findings(r, &err);
    }
    if (err == LM_OK) {
        request_ok(r, answer);
    } else if (err == LM_ENOTFOUND) {
        fail(r, LM_EARG, "begin one: lugmark open walk", "there was no session yet");
    } else {
        fail(r, LM_EIO,
            err == LM_ENOMEM ? "end other programs, then try again"
                             : "try again; lugmark verify looks at the register",
            err == LM_ENOMEM ? "out of memory for the findings" : "the findings could not be made");
    }
}

static json_t *lanes_json(const struct config *config)
{
    const char *names[CONFIG_LANES + CONFIG_READERS];
    size_t n = config_lane_names(config, names);
    json_t *out = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(out, json_string(names[i]));
    }
    return out;
}

void request_status(struct request *r)
{
    struct daemon *d = r->d;
    struct fold *f = &d->fold;
    /* Not request_ready(): how we are must be told when the register is not well, too. */
    journal_flush(&d->journal);
    journal_catch_up(&d->journal);
    char page[PAGE_URL_MAX];
    page_url(&d->page, page);
    json_t *holding = json_pack("{s:s, s:s, s:s}", "name", d->config->holding_name, "number",
        d->config->holding_number, "keeper", d->config->holding_keeper);
    request_ok(
        r, json_pack("{s:o, s:o, s:s, s:o, s:I, s:I, s:o, s:o, s:o, s:I, s:o}", "session",
               f->session != NULL ? session_json(&f->row) : json_null(), "tally",
               tally_json(f->session), "journal", d->journal.failed ? "failed" : "well", "problem",
               d->journal.failed ? json_string(d->journal.problem.what) : json_null(), "waiting",
               (json_int_t) (d->journal.n - d->journal.kept), "last_seq", (json_int_t) f->last_seq,
               "lanes", lanes_json(d->config), "by_lane",
               f->session != NULL ? lanes_tally_json(&f->lanes, d->config) : json_null(), "holding",
               holding, "animals", (json_int_t) lm_roll_animals(f->roll), "page",
               page[0] != '\0' ? json_string(page) : json_null()));
}

void request_readers(struct request *r)
{
    json_t *list = json_array();
    for (size_t i = 0; i < r->d->readers.n; i++) {
        json_array_append_new(list, reader_json(&r->d->readers.all[i], false));
    }
    request_ok(r, json_pack("{s:o}", "readers", list));
}

void request_watch(struct request *r)
{
    const json_t *after = json_object_get(r->body, "after");
    if (after != NULL && !json_is_null(after) &&
        (!json_is_integer(after) || json_integer_value(after) < 0)) {
        fail(r, LM_EARG, "send \"after\":0 for all of it", "\"after\" is no place in the journal");
        return;
    }
    /* What waits is told before the answer, so that the stream begins at a known place. */
    journal_flush(&r->d->journal);
    journal_catch_up(&r->d->journal);
    if (json_is_integer(after) && r->client->resume == NULL) {
        enum lm_err err = resume_begin(r->client, json_integer_value(after));
        if (err != LM_OK) {
            fail(r, LM_EIO, "try again in a moment",
                err == LM_EBUSY ? "too many clients catch up at once"
                                : "catching up is not possible");
            return;
        }
    }
    if (!client_watch(r->client)) {
        resume_end(r->client);
        fail(r, LM_EIO, "end some of the others", "too many clients follow already");
        return;
    }
    request_ok(r, json_pack("{s:I}", "last_seq", (json_int_t) r->d->fold.last_seq));
    if (r->client->resume != NULL) {
        resume_step(r->client);
    }
}
