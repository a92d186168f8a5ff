/*
 * A reading: whose code it is, whether it begins a pass, and what to say about it.
 */
#include "race/session_priv.h"

#include <string.h>

/** Whose a code is, by the register. */
struct owner {
    uint32_t animal; /**< LM_NO_ANIMAL: nobody's */
    unsigned fact;   /**< SAW_WORN, SAW_REMOVED or SAW_REPLACED */
    unsigned carriers;
};

/** An older chip with the same digits, when both counters are known. */
static bool older(struct lm_eid read, struct lm_eid worn)
{
    return read.known == LM_EID_FULL && worn.known == LM_EID_FULL &&
           lm_eid_retag(read) < lm_eid_retag(worn);
}

static int64_t gap(int64_t a, int64_t b)
{
    return a > b ? a - b : b - a;
}

/** Whether an animal still stands there: its last reading is within the re-arm time. */
static bool goes_on(const struct lm_session *s, uint32_t seen, unsigned lane, int64_t clock)
{
    const struct seen *e = &s->seen[seen];
    if (clock == LM_TIME_NONE || e->clock == LM_TIME_NONE)
        return s->lanes[lane].recent[0].seen == seen;
    return e->passes && gap(clock, e->clock) <= s->lanes[lane].rearm_ms;
}

/**
 * Of several animals that the register gives one code, take the one whose pass goes on; else one
 * that lives, is expected, and is not yet seen: so two passes of a shared code are two animals.
 */
static int rank(const struct lm_session *s, uint32_t animal, unsigned lane, int64_t clock)
{
    uint32_t seen = lm_session_find_animal(s, animal);
    struct lm_roll_animal a = lm_roll_animal(s->roll, animal);
    bool unseen = seen == LM_NO_SEEN || !lm_seen_stands(&s->seen[seen]);
    bool here = seen != LM_NO_SEEN && goes_on(s, seen, lane, clock);
    return (here ? 8 : 0) + (a.status == LM_ON_FARM ? 4 : 0) + (a.expected ? 2 : 0) + unseen;
}

static struct owner owner_of(
    const struct lm_session *s, struct lm_eid eid, unsigned lane, int64_t clock)
{
    struct owner o = {.animal = LM_NO_ANIMAL};
    struct lm_roll_hits it;
    struct lm_roll_device d;
    int best = -1;
    unsigned n = 0;
    for (bool ok = lm_roll_code_first(s->roll, eid, &it, &d); ok && n++ < LM_NUMBER_HITS;
         ok = lm_roll_code_next(s->roll, &it, &d)) {
        if (d.gone) { /* the last one removed speaks, but only where nobody wears the code */
            if (o.fact != SAW_WORN && o.fact != SAW_REPLACED)
                o = (struct owner){d.animal, SAW_REMOVED, 0};
            continue;
        }
        int mine = rank(s, d.animal, lane, clock);
        if (o.fact == SAW_REMOVED)
            o = (struct owner){.animal = LM_NO_ANIMAL};
        o.carriers++;
        if (mine > best) {
            best = mine;
            o.animal = d.animal;
            o.fact = older(eid, d.eid) ? SAW_REPLACED : SAW_WORN;
        }
    }
    return o;
}

static enum lm_err doubtful(struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v)
{
    enum lm_reason reason = ev->doubt == LM_DOUBT_BAD_CHECK      ? LM_BAD_CHECK
                            : ev->doubt == LM_DOUBT_OUT_OF_RANGE ? LM_OUT_OF_RANGE
                                                                 : LM_DAMAGED_TEXT;
    uint32_t text;
    lm_verdict_add(s, v, reason);
    struct mark *last = s->n_marks ? &s->marks[s->n_marks - 1] : NULL;
    if (last && last->reason == reason && last->seen == LM_NO_SEEN &&
        strcmp(lm_arena_at(&s->arena, last->text), ev->text) == 0) {
        last->times++; /* the reader repeats itself */
        v->repeat = true;
        return LM_OK;
    }
    enum lm_err err = lm_arena_add(&s->arena, ev->text, &text);
    return err ? err : lm_session_mark(s, reason, LM_NO_SEEN, text, ev);
}

/** Doubt about a well-formed code, once for each animal or stranger. */
static enum lm_err doubt_code(
    struct lm_session *s, uint32_t index, const struct lm_event *ev, struct lm_verdict *v)
{
    struct seen *e = &s->seen[index];
    struct lm_eid eid = ev->eid;
    enum lm_err err = LM_OK;
    if (eid.known == LM_EID_UID) /* of no country, and of an animal only if the register says so */
        return LM_OK;
    enum lm_country_class class = lm_country_class(lm_eid_country(eid));
    bool first = e->readings == 0;
    if (eid.known == LM_EID_FULL && !(eid.bits >> 63) && !(e->facts & SAW_NOT_ANIMAL)) {
        e->facts |= SAW_NOT_ANIMAL;
        lm_verdict_add(s, v, LM_NOT_ANIMAL);
        err = lm_session_mark(s, LM_NOT_ANIMAL, index, 0, ev);
    }
    if (err || !first)
        return err;
    enum lm_reason reason = LM_REASONS;
    if (class == LM_COUNTRY_UNASSIGNED || class == LM_COUNTRY_INVALID)
        reason = LM_UNKNOWN_COUNTRY;
    else if (class == LM_COUNTRY_IS_TEST && e->animal == LM_NO_ANIMAL)
        reason = LM_TEST_CODE;
    if (reason == LM_REASONS)
        return LM_OK;
    lm_verdict_add(s, v, reason);
    return lm_session_mark(s, reason, index, 0, ev);
}

/** How a reading stands to the last one of the same animal. */
enum step { STEP_SAME_PASS, STEP_NEW_PASS, STEP_OTHER_LANE };

static enum step step_of(
    const struct lm_session *s, const struct seen *e, uint32_t index, unsigned lane, int64_t clock)
{
    const struct lane *l = &s->lanes[lane];
    if (clock == LM_TIME_NONE || e->clock == LM_TIME_NONE)
        return e->readings && l->recent[0].seen == index ? STEP_SAME_PASS : STEP_NEW_PASS;
    int64_t since = gap(clock, e->clock);
    if (e->lane != lane)
        return since <= s->options.crossing_ms ? STEP_OTHER_LANE : STEP_NEW_PASS;
    return since <= l->rearm_ms ? STEP_SAME_PASS : STEP_NEW_PASS;
}

/** One antenna needs 13 ms and more for another code (ISO 11785): closer is a buffer let go. */
#define BURST_MS 10

/** How far off the next animal must be before two passes of the same moment are one. */
static int64_t alone_ms(const struct lm_session *s, const struct recent *b, const struct recent *c)
{
    bool whole_seconds =
        b->first % 1000 == 0 && b->last % 1000 == 0 && c->first % 1000 == 0 && c->last % 1000 == 0;
    return whole_seconds ? 3000 : s->options.together_ms; /* times cut to seconds say less */
}

static bool beside(const struct recent *a, const struct recent *b, int64_t near)
{
    return a && a->seen != LM_NO_SEEN && a->first != LM_TIME_NONE &&
           (gap(a->last, b->first) <= near || gap(a->first, b->last) <= near);
}

/** Both have times, both are known animals, and they begin and end together; @p b is the older. */
static bool coincide(const struct lm_session *s, const struct recent *b, const struct recent *c)
{
    int64_t near = s->options.together_ms;
    if (b->seen == LM_NO_SEEN || b->first == LM_TIME_NONE || c->first == LM_TIME_NONE)
        return false;
    if (s->seen[b->seen].animal == LM_NO_ANIMAL || s->seen[c->seen].animal == LM_NO_ANIMAL)
        return false;
    return gap(b->first, c->first) <= near && gap(b->last, c->last) <= near;
}

bool lm_lane_together(const struct lm_session *s, const struct lane *l, unsigned newest)
{
    const struct recent *c = &l->recent[newest], *b = c + 1, *a = b + 1;
    const struct recent *d = newest ? c - 1 : NULL;
    if (!coincide(s, b, c))
        return false;
    if (b->reader && b->reader == c->reader && gap(b->first, c->first) < BURST_MS)
        return false;
    /* a third animal as close: the lane is crowded or the times are worth nothing */
    return !beside(a, b, alone_ms(s, b, c)) && !beside(d, c, alone_ms(s, b, c));
}

static uint32_t reader_hash(const char *name)
{
    return name[0] ? (uint32_t) lm_hash_text(name, strlen(name)) | 1u : 0;
}

void lm_codes_differ(
    const struct lm_session *s, const struct lane *l, unsigned newest, struct mark *out)
{
    const struct seen *second = &s->seen[l->recent[newest].seen];
    const struct recent *first = &l->recent[newest + 1];
    const struct seen *e = &s->seen[first->seen];
    out->reason = LM_CODES_DIFFER;
    out->seen = first->seen;
    out->other = second->animal;
    out->t = first->t;
    out->eid = (struct lm_eid){.bits = e->bits, .known = e->known};
    out->eid2 = (struct lm_eid){.bits = second->bits, .known = second->known};
    out->times = 1;
}

/** A new pass pushes the lane's memory on; what leaves it is judged with its neighbours known. */
static enum lm_err push_recent(
    struct lm_session *s, struct lane *l, uint32_t index, const struct lm_event *ev)
{
    memmove(&l->recent[1], &l->recent[0], (LM_RECENT - 1) * sizeof l->recent[0]);
    l->recent[0] = (struct recent){.seen = index,
        .reader = reader_hash(ev->reader),
        .t = ev->t_ms,
        .first = ev->clock_ms,
        .last = ev->clock_ms};
    if (!lm_lane_together(s, l, 1))
        return LM_OK;
    enum lm_err err = lm_session_mark(s, LM_CODES_DIFFER, l->recent[2].seen, 0, ev);
    if (!err)
        lm_codes_differ(s, l, 1, &s->marks[s->n_marks - 1]);
    return err;
}

static void touch_recent(struct lane *l, uint32_t index, int64_t clock)
{
    for (unsigned i = 0; i < LM_RECENT; i++) {
        if (l->recent[i].seen == index && clock != LM_TIME_NONE) {
            l->recent[i].last = clock;
            return;
        }
    }
}

static enum lm_err begin_pass(struct lm_session *s, uint32_t index, unsigned lane,
    const struct lm_event *ev, struct lm_verdict *v)
{
    struct seen *e = &s->seen[index];
    v->new_pass = true;
    s->passes++;
    if (e->passes < UINT16_MAX)
        e->passes++;
    if (e->passes > 1) {
        lm_verdict_add(s, v, LM_SAME_ANIMAL_AGAIN);
        if (!(e->facts & SAW_AGAIN)) {
            e->facts |= SAW_AGAIN;
            enum lm_err err = lm_session_mark(s, LM_SAME_ANIMAL_AGAIN, index, 0, ev);
            if (err)
                return err;
        }
    }
    enum lm_err err = push_recent(s, &s->lanes[lane], index, ev);
    if (!err && lm_lane_together(s, &s->lanes[lane], 0))
        lm_verdict_add(s, v, LM_CODES_DIFFER); /* as it looks now; the next animal may tell */
    return err;
}

static enum lm_err other_lane(
    struct lm_session *s, uint32_t index, const struct lm_event *ev, struct lm_verdict *v)
{
    struct seen *e = &s->seen[index];
    if (e->facts & SAW_TWO_LANES) {
        v->repeat = true;
        return LM_OK;
    }
    e->facts |= SAW_TWO_LANES;
    lm_verdict_add(s, v, LM_TWO_LANES_AT_ONCE);
    return lm_session_mark(s, LM_TWO_LANES_AT_ONCE, index, 0, ev);
}

static enum lm_err place_reading(struct lm_session *s, uint32_t index, unsigned lane,
    const struct lm_event *ev, struct lm_verdict *v)
{
    struct seen *e = &s->seen[index];
    /* a called number is no pass: the first reading of a sighted animal begins one */
    switch (e->passes ? step_of(s, e, index, lane, ev->clock_ms) : STEP_NEW_PASS) {
    case STEP_NEW_PASS:
        return begin_pass(s, index, lane, ev, v);
    case STEP_OTHER_LANE:
        return other_lane(s, index, ev, v);
    case STEP_SAME_PASS:
        v->repeat = true;
        touch_recent(&s->lanes[lane], index, ev->clock_ms);
        break;
    }
    return LM_OK;
}

/** What a reading of a known animal says on its own: an old device, or the register's own faults.
 */
static void judge(struct lm_session *s, const struct seen *e, struct owner o, struct lm_verdict *v)
{
    if (v->repeat && !v->reasons)
        return;
    if (e->animal == LM_NO_ANIMAL) {
        lm_verdict_add(s, v, LM_NOT_IN_REGISTER);
        return;
    }
    lm_session_judge_animal(s, e->animal, v);
    if (o.fact == SAW_REMOVED)
        lm_verdict_add(s, v, LM_REMOVED_DEVICE);
    if (o.fact == SAW_REPLACED)
        lm_verdict_add(s, v, LM_REPLACED_BY_COUNTER);
}

static void note_reading(
    struct lm_session *s, struct seen *e, const struct lm_event *ev, unsigned lane, struct owner o)
{
    bool stood = lm_seen_stands(e);
    e->readings++;
    e->bits = ev->eid.bits;
    e->known = ev->eid.known;
    e->facts |= (uint8_t) o.fact;
    e->lane = (uint8_t) lane;
    if (ev->clock_ms != LM_TIME_NONE)
        e->clock = ev->clock_ms;
    lm_session_recount(s, e, stood, true);
    s->last_lane = lane;
}

enum lm_err lm_session_reading(
    struct lm_session *s, const struct lm_event *ev, struct lm_verdict *v)
{
    s->readings++;
    if (ev->doubt != LM_DOUBT_NONE || !ev->eid.known)
        return doubtful(s, ev, v);
    uint32_t index;
    unsigned lane = lm_session_lane(s, ev->lane);
    struct owner o = owner_of(s, ev->eid, lane, ev->clock_ms);
    enum lm_err err = o.animal == LM_NO_ANIMAL ? lm_session_seen_stranger(s, ev->eid, &index)
                                               : lm_session_seen_animal(s, o.animal, &index);
    if (err)
        return err;
    struct seen *e = &s->seen[index];
    if (e->first_t == LM_TIME_NONE)
        e->first_t = ev->t_ms;
    v->animal = o.animal;
    v->eid = ev->eid;
    err = place_reading(s, index, lane, ev, v);
    if (!err)
        err = doubt_code(s, index, ev, v);
    if (err)
        return err;
    if (o.fact & ~(unsigned) e->facts & (SAW_REMOVED | SAW_REPLACED)) {
        v->repeat = false; /* the same animal still stands there, but this device is news */
        err = lm_session_mark(
            s, o.fact == SAW_REMOVED ? LM_REMOVED_DEVICE : LM_REPLACED_BY_COUNTER, index, 0, ev);
    }
    judge(s, e, o, v);
    note_reading(s, e, ev, lane, o);
    return err;
}
