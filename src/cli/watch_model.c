/* What the watching screen knows, from the daemon's lines. */
#include "watch_model.h"

#include <string.h>
#include <time.h>

#include "lugmark/time.h"
#include "out_json.h"
#include "report/tongue.h"
#include "verdict.h"

static const struct lm_watch_tally no_tally = {-1, -1, -1, -1, -1, -1, -1};

void lm_watch_begin(struct lm_watch *w)
{
    memset(w, 0, sizeof *w);
    w->tally = no_tally;
}

/* A time as the clock on the wall here shows it. */
static void local_time(const json_t *object, char *out, size_t size)
{
    char text[LM_TIME_TEXT_SIZE + 8];
    int64_t t_ms = LM_TIME_NONE;
    struct tm tm;
    lm_json_text(object, "t", text, sizeof text);
    out[0] = '\0';
    if (lm_time_parse(text, strlen(text), &t_ms) != LM_OK)
        return;
    time_t seconds = (time_t) (t_ms / 1000);
    if (localtime_r(&seconds, &tm) != NULL)
        strftime(out, size, "%H:%M:%S", &tm);
}

static void take_tally(struct lm_watch *w, const json_t *tally)
{
    if (!json_is_object(tally))
        return;
    w->tally = (struct lm_watch_tally){
        .expected = lm_json_int(tally, "expected", -1),
        .present = lm_json_int(tally, "present", -1),
        .not_seen = lm_json_int(tally, "not_seen", -1),
        .identified = lm_json_int(tally, "identified", -1),
        .heads = lm_json_int(tally, "heads", -1),
        .look = lm_json_int(tally, "look", -1),
        .hold = lm_json_int(tally, "hold", -1),
    };
}

static void describe(struct lm_watch *w, const json_t *session)
{
    char kind[16], name[LM_NAME_MAX + 1];
    lm_json_text(session, "kind", kind, sizeof kind);
    int len = snprintf(w->session, sizeof w->session, "%s", lm_tongue_word(kind));
    if (lm_json_text(session, "mob", name, sizeof name)[0] != '\0')
        snprintf(w->session + len, sizeof w->session - (size_t) len, _(" of mob %s"), name);
    else if (lm_json_text(session, "lot", name, sizeof name)[0] != '\0')
        snprintf(w->session + len, sizeof w->session - (size_t) len, _(" of lot %s"), name);
}

/* Whether the session that was watched first is over. What the daemon says on connecting counts
 * only when nothing is left to be told: the stream tells of the end in its place. */
static void judge_end(struct lm_watch *w, const char *id, bool open, bool streamed)
{
    bool over = w->watched[0] != '\0' && (!open || strcmp(id, w->watched) != 0);
    if (over && (streamed || w->last_seq == 0))
        w->ended = true;
    if (open && w->watched[0] == '\0')
        snprintf(w->watched, sizeof w->watched, "%s", id[0] != '\0' ? id : "-");
}

/* A session as the daemon says it is now: open, closed, or none (null). */
static void take_session(struct lm_watch *w, const json_t *session, bool streamed)
{
    char closed[LM_TIME_TEXT_SIZE + 8] = "", id[sizeof w->session_id] = "";
    bool open = json_is_object(session);
    if (open) {
        lm_json_text(session, "closed", closed, sizeof closed);
        lm_json_text(session, "id", id, sizeof id);
        open = closed[0] == '\0';
    }
    judge_end(w, id, open, streamed);
    if (open && (!w->session_open || strcmp(id, w->session_id) != 0)) {
        bool same = strcmp(id, w->session_id) == 0; /* back after a lost connection */
        w->n_flags = same ? w->n_flags : 0;
        w->has_last = same && w->has_last;
        w->tally = same ? w->tally : no_tally;
        w->idle[0] = '\0';
    }
    w->session_open = open;
    if (!open)
        return;
    memcpy(w->session_id, id, sizeof id);
    describe(w, session);
}

void lm_watch_greet(struct lm_watch *w, const json_t *greeting)
{
    w->connected = true;
    take_session(w, json_object_get(greeting, "session"), false);
}

static void fill_pass(struct lm_watch_pass *p, const json_t *v)
{
    char colour[LM_NAME_MAX + 1], place[32], sex[16], said[LM_WATCH_TEXT];
    memset(p, 0, sizeof *p);
    p->attention = lm_verdict_attention(v);
    lm_json_first(v, "visual", p->number, sizeof p->number);
    lm_json_text(v, "animal", p->animal, sizeof p->animal);
    lm_json_text(v, "eid", p->eid, sizeof p->eid);
    lm_json_text(v, "called", p->called, sizeof p->called);
    snprintf(p->sex, sizeof p->sex, "%s", lm_tongue_word(lm_json_text(v, "sex", sex, sizeof sex)));
    lm_json_text(v, "mob", p->mob, sizeof p->mob);
    /* The daemon says it in English, whoever listens; it is known by these words. */
    snprintf(p->say, sizeof p->say, "%s", _(lm_json_text(v, "say", said, sizeof said)));
    lm_tongue_list(lm_json_text(v, "should", said, sizeof said), p->should, sizeof p->should);
    lm_json_text(v, "lane", p->lane, sizeof p->lane);
    lm_json_text(v, "colour", colour, sizeof colour);
    lm_json_text(v, "place", place, sizeof place);
    snprintf(p->ear, sizeof p->ear, "%s%s%s", colour, colour[0] && place[0] ? ", " : "",
        lm_tongue_word(place));
    local_time(v, p->time, sizeof p->time);
}

static void take_verdict(struct lm_watch *w, const json_t *v)
{
    take_tally(w, json_object_get(v, "tally"));
    if (lm_json_true(v, "repeat"))
        return;
    fill_pass(&w->last, v);
    w->has_last = true;
    if (w->last.attention == LM_GO)
        return;
    w->ring = true;
    memmove(w->flags + 1, w->flags, (LM_WATCH_FLAGS - 1) * sizeof *w->flags);
    w->flags[0] = w->last;
    if (w->n_flags < LM_WATCH_FLAGS)
        w->n_flags++;
}

static void take_reader(struct lm_watch *w, const json_t *r)
{
    char name[LM_NAME_MAX + 1];
    unsigned i = 0;
    lm_json_text(r, "name", name, sizeof name);
    while (i < w->n_readers && strcmp(w->readers[i].name, name) != 0)
        i++;
    if (i == LM_WATCH_READERS)
        return;
    if (i == w->n_readers)
        w->n_readers++;
    memcpy(w->readers[i].name, name, sizeof name);
    lm_json_text(r, "state", w->readers[i].state, sizeof w->readers[i].state);
    lm_json_text(r, "problem", w->readers[i].problem, sizeof w->readers[i].problem);
}

/* The event has it as "state", the answer to a status as "journal". */
static void take_journal(struct lm_watch *w, const json_t *line, const char *key)
{
    char state[16];
    lm_json_text(line, key, state, sizeof state);
    w->journal[0] = '\0';
    if (strcmp(state, "failed") != 0)
        return;
    lm_json_text(line, "problem", w->journal, sizeof w->journal);
    if (w->journal[0] == '\0')
        snprintf(w->journal, sizeof w->journal, "%s", _("it cannot be written"));
}

static void take_answer(struct lm_watch *w, const json_t *line)
{
    const json_t *readers = json_object_get(line, "readers"), *session;
    if (json_is_array(readers))
        w->n_readers = 0;
    for (size_t i = 0; i < json_array_size(readers); i++)
        take_reader(w, json_array_get(readers, i));
    if ((session = json_object_get(line, "session")) != NULL)
        take_session(w, session, false);
    if (json_object_get(line, "journal") != NULL) /* it may have failed before we came */
        take_journal(w, line, "journal");
    take_tally(w, json_object_get(line, "tally"));
}

static void take_event(struct lm_watch *w, const char *event, const json_t *line)
{
    if (strcmp(event, "verdict") == 0) {
        take_verdict(w, line);
    } else if (strcmp(event, "session") == 0) {
        take_session(w, json_object_get(line, "session"), true);
        take_tally(w, json_object_get(line, "tally"));
    } else if (strcmp(event, "reader") == 0) {
        take_reader(w, line);
    } else if (strcmp(event, "journal") == 0) {
        take_journal(w, line, "state");
    } else if (strcmp(event, "idle") == 0) {
        lm_json_text(line, "eid", w->idle, sizeof w->idle);
    } else {
        take_tally(w, json_object_get(line, "tally")); /* a head count, or something taken back */
    }
}

bool lm_watch_take(struct lm_watch *w, const json_t *line)
{
    char event[16];
    int64_t seq = lm_json_int(line, "seq", 0);
    lm_json_text(line, "event", event, sizeof event);
    if (json_object_get(line, "ok") != NULL)
        take_answer(w, line);
    if (event[0] == '\0' || (seq > 0 && seq <= w->last_seq))
        return false; /* no event, or one told again after a lost connection */
    w->last_seq = seq > w->last_seq ? seq : w->last_seq;
    take_event(w, event, line);
    return true;
}
