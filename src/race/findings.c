/*
 * Findings are derived here from the facts of a session, in a fixed order: by kind; within a kind
 * by the order of the register or of first appearance. Nothing is stored.
 */
#include "race/findings_priv.h"

void lm_findings_emit(struct lm_findings_run *run, struct lm_finding f)
{
    enum lm_kind kind = lm_reason_kind(f.reason);
    f.attention = lm_session_attention(run->s, f.reason);
    run->sum->counts[kind]++;
    run->sum->counts_attention[f.attention]++;
    if (run->fn)
        run->fn(&f, run->ctx);
}

static void emit_missing(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    if (!s->closed)
        return;
    for (uint32_t i = 0, n = lm_roll_animals(s->roll); i < n; i++) {
        if (lm_roll_animal(s->roll, i).expected && !lm_session_seen(s, i))
            lm_findings_emit(run, (struct lm_finding){.reason = LM_NOT_SEEN,
                                      .animal = i,
                                      .other = LM_NO_ANIMAL,
                                      .t_ms = LM_TIME_NONE,
                                      .times = 1});
    }
}

/** Numbers called that nobody has, each once. */
static void emit_unknown_numbers(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_sightings; i++) {
        const struct sighting *call = &s->sightings[i];
        if (!call->unknown || call->undone)
            continue;
        uint32_t times = lm_findings_number_times(s, i);
        if (times)
            lm_findings_emit(run, (struct lm_finding){.reason = LM_NOT_IN_REGISTER,
                                      .animal = LM_NO_ANIMAL,
                                      .other = LM_NO_ANIMAL,
                                      .text = lm_arena_at(&s->arena, call->text),
                                      .t_ms = call->t,
                                      .times = times});
    }
}

static void emit_unmatched(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_seen; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal != LM_NO_ANIMAL)
            continue;
        lm_findings_emit(run, (struct lm_finding){.reason = LM_NOT_IN_REGISTER,
                                  .animal = LM_NO_ANIMAL,
                                  .other = LM_NO_ANIMAL,
                                  .eid = {.bits = e->bits, .known = e->known},
                                  .t_ms = e->first_t,
                                  .times = e->readings});
    }
    emit_unknown_numbers(run);
}

static void emit_mark(struct lm_findings_run *run, const struct mark *m)
{
    const struct lm_session *s = run->s;
    const struct seen *e = m->seen == LM_NO_SEEN ? NULL : &s->seen[m->seen];
    uint32_t times = m->times;
    if (m->reason == LM_SAME_ANIMAL_AGAIN && e)
        times = (e->passes ? e->passes : 1u) + e->again; /* a call for a pass is no other one */
    if (m->reason == LM_SAME_ANIMAL_AGAIN && times < 2)
        return; /* the second call was taken back */
    lm_findings_emit(run, (struct lm_finding){.reason = m->reason,
                              .animal = e ? e->animal : LM_NO_ANIMAL,
                              .other = m->other,
                              .eid = m->eid,
                              .eid2 = m->eid2,
                              .text = m->text ? lm_arena_at(&s->arena, m->text) : NULL,
                              .t_ms = m->t,
                              .times = times});
}

static void emit_marks(struct lm_findings_run *run, enum lm_kind kind)
{
    for (uint32_t i = 0; i < run->s->n_marks; i++) {
        if (lm_reason_kind(run->s->marks[i].reason) == kind)
            emit_mark(run, &run->s->marks[i]);
    }
}

static void emit_unexpected(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_seen; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal == LM_NO_ANIMAL || !lm_seen_stands(e))
            continue;
        enum lm_reason reason = lm_session_unexpected(s, e->animal);
        if (reason != LM_REASONS)
            lm_findings_emit(run, (struct lm_finding){.reason = reason,
                                      .animal = e->animal,
                                      .other = LM_NO_ANIMAL,
                                      .eid = {.bits = e->bits, .known = e->known},
                                      .t_ms = e->first_t,
                                      .times = e->passes});
    }
}

static void emit_conflicts(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_sightings; i++) {
        const struct sighting *call = &s->sightings[i];
        if (!call->conflict || call->undone)
            continue;
        uint32_t animal;
        struct lm_eid eid = lm_findings_conflict_code(call, &animal);
        lm_findings_emit(run, (struct lm_finding){.reason = LM_NUMBER_DIFFERS,
                                  .animal = animal,
                                  .other = call->other,
                                  .eid = eid,
                                  .text = lm_arena_at(&s->arena, call->text),
                                  .t_ms = call->t,
                                  .times = 1});
    }
    emit_marks(run, LM_CONFLICT);
    for (unsigned i = 0; i < s->n_lanes; i++) { /* the last two passes have no third to tell */
        struct mark m = {0};
        if (!lm_lane_together(s, &s->lanes[i], 0))
            continue;
        lm_codes_differ(s, &s->lanes[i], 0, &m);
        emit_mark(run, &m);
    }
}

static void emit_unread(struct lm_findings_run *run)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_seen; i++) {
        const struct seen *e = &s->seen[i];
        if (e->animal == LM_NO_ANIMAL || e->readings || !e->sightings)
            continue;
        if (lm_findings_wears_code(s, e->animal))
            lm_findings_emit(run, (struct lm_finding){.reason = LM_NO_READING,
                                      .animal = e->animal,
                                      .other = LM_NO_ANIMAL,
                                      .t_ms = e->first_t,
                                      .times = e->sightings});
    }
}

static void emit_calls(struct lm_findings_run *run, enum lm_reason reason)
{
    const struct lm_session *s = run->s;
    for (uint32_t i = 0; i < s->n_sightings; i++) {
        const struct sighting *call = &s->sightings[i];
        if (call->undone || !(reason == LM_DAMAGED_TEXT ? call->cut : call->removed))
            continue;
        lm_findings_emit(
            run, (struct lm_finding){.reason = reason,
                     .animal = call->animal,
                     .other = LM_NO_ANIMAL,
                     .eid = reason == LM_REMOVED_DEVICE ? lm_findings_removed_code(s, call)
                                                        : (struct lm_eid){0},
                     .text = lm_arena_at(&s->arena, call->text),
                     .t_ms = call->t,
                     .times = 1});
    }
}

static void bounds(struct lm_summary *sum)
{
    uint32_t missing = sum->expected - sum->present;
    sum->absent_max = missing;
    sum->absent_min = 0;
    if (!sum->has_heads)
        return;
    if (sum->heads < sum->identified) {
        sum->heads_short = true;
        sum->absent_min = missing;
    } else if (missing > sum->heads - sum->identified) {
        sum->absent_min = missing - (sum->heads - sum->identified);
    }
}

/** The head count that stands: the last of each lane added up, or the last total after them. */
static void add_heads(const struct lm_session *s, struct lm_summary *sum)
{
    bool taken[LM_LANES_MAX] = {false};
    for (uint32_t i = s->n_heads; i-- > 0;) {
        const struct heads *h = &s->heads[i];
        bool total = s->lanes[h->lane].name[0] == '\0';
        if (h->undone || taken[h->lane] || (total && sum->has_heads))
            continue;
        taken[h->lane] = true;
        sum->has_heads = true;
        sum->heads += h->n;
        if (total)
            return;
    }
}

void lm_session_tally(const struct lm_session *s, struct lm_summary *sum)
{
    *sum = (struct lm_summary){.expected = lm_roll_expected(s->roll),
        .present = s->present,
        .identified = s->identified,
        .readings = s->readings,
        .passes = s->passes};
    for (int i = 0; i < 3; i++)
        sum->counts_attention[i] = s->shown[i];
    add_heads(s, sum);
    bounds(sum);
}

enum lm_err lm_session_findings(
    const struct lm_session *s, struct lm_summary *summary, lm_finding_fn *fn, void *ctx)
{
    struct lm_summary own;
    struct lm_findings_run run = {.s = s, .sum = summary ? summary : &own, .fn = fn, .ctx = ctx};
    lm_session_tally(s, run.sum);
    for (int i = 0; i < 3; i++)
        run.sum->counts_attention[i] = 0;
    emit_missing(&run);
    emit_unmatched(&run);
    emit_marks(&run, LM_DUPLICATE);
    lm_findings_shared(&run);
    emit_unexpected(&run);
    emit_conflicts(&run);
    emit_unread(&run);
    emit_marks(&run, LM_RETIRED);
    emit_calls(&run, LM_REMOVED_DEVICE);
    emit_marks(&run, LM_DOUBTFUL);
    emit_calls(&run, LM_DAMAGED_TEXT);
    return LM_OK;
}
