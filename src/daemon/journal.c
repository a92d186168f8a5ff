#include "journal.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include "notify.h"
#include "journal_tell.h"
#include <stdlib.h>
#include <string.h>

#define BATCH_MAX 1024u
#define BATCH_AGE_MS 20

static void step(struct journal *j);

static void on_commit(evutil_socket_t fd, short what, void *ctx)
{
    (void) fd;
    (void) what;
    step(ctx);
}

enum lm_err journal_begin(struct journal *j, struct daemon *d)
{
    *j = (struct journal){.d = d};
    lm_store_there(d->store); /* which file it is, from now on */
    /* Taken once: the pages are touched only when the disk falls behind. */
    j->pending = malloc(JOURNAL_PENDING_ROOM * sizeof *j->pending);
    j->commit = event_new(d->base, -1, 0, on_commit, j);
    j->retry = evtimer_new(d->base, on_commit, j);
    if (j->pending == NULL || j->commit == NULL || j->retry == NULL || tell_new(j) != LM_OK) {
        return LM_ENOMEM;
    }
    event_priority_set(j->commit, PRIORITY_COMMIT);
    return LM_OK;
}

void journal_end(struct journal *j)
{
    if (j->commit != NULL) {
        event_free(j->commit);
    }
    if (j->retry != NULL) {
        event_free(j->retry);
    }
    tell_free(j);
    free(j->pending);
    *j = (struct journal){0};
}

void journal_add(struct journal *j, const struct lm_event *ev)
{
    if (j->n == JOURNAL_PENDING_ROOM) {
        log_at(LOG_LEVEL_ERROR, "journal", "a reading of %s could not be kept: too many wait",
            ev->reader);
        return;
    }
    if (j->n == j->kept) {
        j->first_ms = clock_steady_ms();
    }
    j->pending[j->n++] = *ev;
    if (!j->failed) {
        event_active(j->commit, EV_TIMEOUT, 0);
    }
}

bool journal_has_room(const struct journal *j)
{
    return j->n < JOURNAL_PENDING_MAX;
}

void journal_nudge(struct journal *j)
{
    if (!j->failed && j->n > 0 && !tell_waits(j) &&
        (j->n >= BATCH_MAX || clock_steady_ms() - j->first_ms > BATCH_AGE_MS)) {
        step(j);
    }
}

static void say_state(struct journal *j)
{
    struct daemon *d = j->d;
    if (publish_wanted(&d->publisher)) {
        publish_send(&d->publisher,
            json_pack("{s:s, s:s, s:o}", "event", "journal", "state", j->failed ? "failed" : "well",
                "problem", j->failed ? json_string(j->problem.what) : json_null()),
            0);
    }
    notify_send(j->failed ? "STATUS=the register cannot be written" : "STATUS=at work");
}

static void note_problem(struct journal *j, enum lm_err err)
{
    j->problem = *lm_store_problem(j->d->store);
    if (j->problem.what[0] == '\0') {
        lm_problem_set(
            &j->problem, err, NULL, "the register cannot be written: %s", lm_err_str(err));
    }
}

/* Somebody removed the register while we have it open: what it holds is still to be had from us. */
static void rescue(struct journal *j)
{
    struct lm_store *store = j->d->store;
    struct lm_problem why = j->problem;
    if (j->rescued[0] == '\0' && lm_store_rescue(store, j->rescued, sizeof j->rescued) != LM_OK) {
        log_problem(LOG_LEVEL_ERROR, "journal", lm_store_problem(store));
        j->rescued[0] = '\0'; /* tried again with the next retry */
    }
    if (j->rescued[0] != '\0') {
        lm_problem_set(&j->problem, LM_EGONE,
            "put it back where it was; or stop lugmarkd, move the copy there and start it again",
            "%s; all that was told is in %s", why.what, j->rescued);
    }
}

static void say_failed(struct journal *j, enum lm_err err)
{
    const struct timeval second = {1, 0};
    note_problem(j, err);
    bool news = !j->failed;
    j->failed = true;
    if (err == LM_EGONE) {
        rescue(j);
    }
    evtimer_add(j->retry, &second);
    if (news) {
        log_problem(LOG_LEVEL_ERROR, "journal", &j->problem);
        say_state(j);
    }
}

void journal_check(struct journal *j)
{
    enum lm_err err = j->failed ? LM_OK : lm_store_there(j->d->store);
    if (err != LM_OK) {
        say_failed(j, err);
    }
}

static void say_well(struct journal *j)
{
    if (!j->failed) {
        return;
    }
    j->failed = false;
    j->rescued[0] = '\0';
    evtimer_del(j->retry);
    log_at(LOG_LEVEL_NOTICE, "journal", "the register can be written again");
    say_state(j);
}

static void publish_change(const struct lm_event *ev, void *ctx)
{
    struct lm_verdict none = {.animal = LM_NO_ANIMAL};
    tell_publish(ctx, ev, &none);
}

enum lm_err journal_catch_up(struct journal *j)
{
    if (tell_waits(j)) {
        return LM_OK; /* they come behind what is on the disk already, and are not forgotten */
    }
    return fold_catch_up(&j->d->fold, publish_change, j->d);
}

/*
 * One transaction. Register changes by others are taken over inside it, where nobody else can
 * write: so they are folded in the order in which they stand in the journal.
 */
static enum lm_err write_all(
    struct journal *j, struct lm_event *evs, size_t n, const char *token, int64_t *session)
{
    struct lm_store *store = j->d->store;
    enum lm_err err = lm_store_there(store);
    err = err != LM_OK ? err : lm_store_begin(store);
    if (err != LM_OK) {
        return err;
    }
    err = journal_catch_up(j);
    if (err == LM_OK && token != NULL) {
        err = lm_store_append(store, session, evs, token, &evs->seq);
    } else if (err == LM_OK) {
        err = lm_store_append_all(store, session, evs, n);
    }
    if (err == LM_OK && n == 0) {
        /* Nothing waits: only a real write tells whether the disk is well again. */
        err = lm_store_set(store, "daemon_probe", "written to find out whether it can be");
    }
    if (err == LM_OK) {
        return lm_store_commit(store);
    }
    lm_store_rollback(store);
    return err;
}

/* Put what waits on the disk. What was put there before is told by now. */
static enum lm_err keep(struct journal *j)
{
    int64_t session = j->d->fold.row.id;
    enum lm_err err = write_all(j, j->pending, j->n, NULL, &session);
    if (err != LM_OK) {
        say_failed(j, err);
        return err;
    }
    j->kept = j->n;
    return LM_OK;
}

static void step(struct journal *j)
{
    if (!tell_waits(j) && (j->n > 0 || j->failed) && keep(j) == LM_OK) {
        tell_begin(j);
    }
}

enum lm_err journal_flush(struct journal *j)
{
    tell_all(j);
    if (j->n == 0 && !j->failed) {
        return LM_OK;
    }
    enum lm_err err = keep(j);
    if (err == LM_OK) {
        tell_all(j);
        say_well(j);
    }
    return err;
}

bool journal_calm(struct journal *j)
{
    if (!tell_waits(j) && j->n > TELL_PIECE) {
        step(j);
    }
    j->awaited = j->awaited || tell_waits(j);
    return !tell_waits(j);
}

void journal_told(struct journal *j)
{
    memmove(j->pending, j->pending + j->kept, (j->n - j->kept) * sizeof *j->pending);
    j->n -= j->kept;
    j->kept = j->told = 0;
    say_well(j); /* behind what waited for it */
    if (j->n > 0 && !j->failed) {
        event_active(j->commit, EV_TIMEOUT, 0);
    }
    if (journal_has_room(j)) {
        readers_resume(&j->d->readers);
    }
    if (j->awaited) {
        j->awaited = false;
        control_wake(&j->d->control);
        page_wake(&j->d->page);
    }
}

enum lm_err journal_submit(
    struct journal *j, struct lm_event *ev, const char *token, struct lm_verdict *verdict)
{
    struct fold *fold = &j->d->fold;
    int64_t session = fold->session != NULL ? fold->row.id : 0;
    enum lm_err err = write_all(j, ev, 1, token, &session);
    if (err == LM_EEXISTS && token != NULL && ev->seq != 0) {
        return err; /* only a token that was there already has a place in the journal */
    }
    if (err == LM_EARG || err == LM_EBUSY || err == LM_EEXISTS) {
        note_problem(j, err); /* this request cannot be; the register itself is well */
        return err;
    }
    if (err != LM_OK) {
        say_failed(j, err);
        return err;
    }
    tell_one(j, ev, verdict);
    if (ev->kind == LM_EVENT_OPEN) {
        fold->row.id = session;
        readers_renew(&j->d->readers);
    }
    say_well(j);
    return LM_OK;
}

int64_t journal_token(struct journal *j, const char *token)
{
    struct lm_store *store = j->d->store;
    struct lm_event probe = {
        .kind = LM_EVENT_HEADS, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE};
    int64_t session = 0, seq = 0;
    if (lm_store_begin(store) != LM_OK) {
        return 0;
    }
    /* The store looks for the token first; what it would write is rolled back either way. */
    enum lm_err err = lm_store_append(store, &session, &probe, token, &seq);
    lm_store_rollback(store);
    return err == LM_EEXISTS ? seq : 0;
}
