#include "journal_tell.h"

#include "clock.h"
#include "daemon.h"
#include "log.h"
#include "lugmark/control.h"
#include "should.h"
#include "verdict_json.h"
#include "verdict_line.h"

#define BEHIND_MAX (LM_CONTROL_QUEUE_MAX / 2)
#define AHEAD 4u /* readings: by then memory has answered */
#define LOOK_EVERY 32u
#define STUCK_MS 250  /* a follower who took nothing for so long does not read */
#define BURST_MS 2000 /* nobody is waited for longer: new readings are not on the disk yet */
#define AGAIN_US 1000

void tell_publish(struct daemon *d, const struct lm_event *ev, const struct lm_verdict *v)
{
    const struct fold *f = &d->fold;
    char line[VERDICT_LINE_MAX], should[LM_PLAN_TEXT_MAX];
    if (!publish_wanted(&d->publisher) || f->session == NULL) {
        return;
    }
    const char *key = v->animal != LM_NO_ANIMAL ? lm_roll_animal(f->roll, v->animal).key : NULL;
    size_t len = verdict_line(f->session, ev, v, should_text(f, key, should), line);
    if (len > 0) {
        publish_text(&d->publisher, line, len, ev->seq);
    } else {
        publish_send(&d->publisher,
            should_add(event_json(d->fold.session, &d->fold.row, ev, v), &d->fold), ev->seq);
    }
}

void tell_one(struct journal *j, const struct lm_event *ev, struct lm_verdict *verdict)
{
    struct daemon *d = j->d;
    enum lm_err err = fold_apply(&d->fold, ev, verdict);
    if (err != LM_OK) {
        log_at(LOG_LEVEL_ERROR, "journal", "event %lld is kept but could not be followed: %s",
            (long long) ev->seq, lm_err_str(err));
        return;
    }
    tell_publish(d, ev, verdict);
}

bool tell_waits(const struct journal *j)
{
    return j->told < j->kept;
}

static void tell_piece(struct journal *j)
{
    struct lm_verdict verdict;
    for (size_t i = 0; i < TELL_PIECE && tell_waits(j); i++) {
        if (i > 0 && i % LOOK_EVERY == 0 && publish_behind(&j->d->publisher) > BEHIND_MAX) {
            return;
        }
        if (j->kept - j->told > AHEAD && j->d->fold.session != NULL) {
            lm_session_soon(j->d->fold.session, j->pending[j->told + AHEAD].eid);
        }
        tell_one(j, &j->pending[j->told++], &verdict);
    }
}

/* Somebody reads and is behind. He is waited for, but new readings wait with him. */
static bool be_patient(struct journal *j)
{
    int64_t now = clock_steady_ms();
    return publish_slow(&j->d->publisher, BEHIND_MAX, now, STUCK_MS) &&
           now - j->burst_ms < BURST_MS;
}

/* The next piece; then end it or come back. */
static void tell_on(struct journal *j)
{
    tell_piece(j);
    if (tell_waits(j)) {
        be_patient(j); /* what waits for whom now is what he will be measured by */
        event_active(j->tell, EV_TIMEOUT, 0);
    } else {
        journal_told(j);
    }
}

static void on_tell(evutil_socket_t fd, short what, void *ctx)
{
    static const struct timeval again = {0, AGAIN_US};
    struct journal *j = ctx;
    (void) fd;
    (void) what;
    if (!tell_waits(j)) {
        return;
    }
    if (be_patient(j)) {
        evtimer_add(j->tell, &again);
        return;
    }
    tell_on(j);
}

enum lm_err tell_new(struct journal *j)
{
    j->tell = evtimer_new(j->d->base, on_tell, j);
    return j->tell != NULL && event_priority_set(j->tell, PRIORITY_WORK) == 0 ? LM_OK : LM_ENOMEM;
}

void tell_free(struct journal *j)
{
    if (j->tell != NULL) {
        event_free(j->tell);
    }
}

void tell_begin(struct journal *j)
{
    j->burst_ms = clock_steady_ms();
    if (j->kept > TELL_PIECE) {
        be_patient(j);
    }
    tell_on(j);
}

void tell_all(struct journal *j)
{
    while (tell_waits(j)) {
        tell_piece(j);
    }
    if (j->kept > 0) {
        journal_told(j);
    }
}
