/* Who walks, and what goes wrong on purpose. */
#include "rehearse_plan.h"

#include <stdlib.h>
#include <string.h>

const char *lm_fault_name(enum lm_fault fault)
{
    static const char *const names[LM_FAULTS] = {"absent", "dead-code", "stranger", "test-code",
        "again", "other-mob", "gone", "misread", "crossed", "old", "two-lanes"};
    return fault < LM_FAULTS ? names[fault] : "";
}

/* SplitMix64: small, seeded, the same on every machine. Source: Steele, Lea, Flood (2014). */
static uint64_t next_random(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static uint32_t below(uint64_t *state, uint32_t n)
{
    return n ? (uint32_t) (next_random(state) % n) : 0;
}

struct planner {
    const struct lm_roll *roll;
    const struct lm_wishes *wishes;
    struct lm_plan *plan;
    uint64_t random;
    int64_t now;
    uint32_t *walkers;
    uint32_t n_walkers;
    uint32_t *outsiders; /**< in the register, with a code, not expected */
    uint32_t n_outsiders;
    enum lm_err err;
    struct lm_step nowhere; /**< written to, never read, once memory ran out */
};

static void *grown(void *rows, size_t *cap, size_t used, size_t row_size)
{
    if (used < *cap)
        return rows;
    size_t want = *cap ? *cap * 2 : 64;
    void *bigger = realloc(rows, want * row_size);
    if (bigger)
        *cap = want;
    return bigger;
}

static struct lm_step *add_step(struct planner *p, enum lm_step_kind kind, struct lm_eid eid)
{
    struct lm_plan *plan = p->plan;
    void *rows = grown(plan->steps, &plan->cap_steps, plan->n_steps, sizeof *plan->steps);
    if (!rows) {
        p->err = LM_ENOMEM;
        return &p->nowhere;
    }
    plan->steps = rows;
    struct lm_step *step = &plan->steps[plan->n_steps++];
    *step = (struct lm_step){.at_ms = p->now, .kind = kind, .lane = 1, .eid = eid};
    return step;
}

static void plant(struct planner *p, enum lm_fault fault, enum lm_reason reason, uint32_t animal,
    struct lm_eid eid)
{
    struct lm_plan *plan = p->plan;
    void *rows = grown(plan->planted, &plan->cap_planted, plan->n_planted, sizeof *plan->planted);
    if (!rows) {
        p->err = LM_ENOMEM;
        return;
    }
    plan->planted = rows;
    plan->planted[plan->n_planted++] = (struct lm_planted){fault, reason, animal, eid};
}

static bool first_code(const struct planner *p, uint32_t animal, bool gone, struct lm_eid *eid)
{
    struct lm_roll_animal a = lm_roll_animal(p->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(p->roll, animal, k);
        if (d.gone == gone && d.eid.known) {
            *eid = d.eid;
            return true;
        }
    }
    return false;
}

static bool first_number(const struct planner *p, uint32_t animal, const char **number)
{
    struct lm_roll_animal a = lm_roll_animal(p->roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(p->roll, animal, k);
        if (!d.gone && d.visual[0]) {
            *number = d.visual;
            return true;
        }
    }
    return false;
}

/** A pass: the reader repeats the code two to four times. */
static void read_pass(struct planner *p, struct lm_eid eid, unsigned lane)
{
    int64_t begin = p->now;
    unsigned times = 2 + below(&p->random, 3);
    for (unsigned i = 0; i < times; i++, p->now += 40)
        add_step(p, LM_STEP_READ, eid)->lane = lane;
    p->now = begin + p->wishes->gap_ms;
}

static void call(struct planner *p, const char *number, bool on_last)
{
    struct lm_step *step = add_step(p, LM_STEP_CALL, (struct lm_eid){0});
    step->at_ms = p->now - p->wishes->gap_ms / 3;
    step->on_last = on_last;
    strncpy(step->number, number, sizeof step->number - 1);
}

/** Take a random one out of a list of animals. */
static uint32_t draw(struct planner *p, uint32_t *list, uint32_t *n)
{
    uint32_t i = below(&p->random, *n), animal = list[i];
    list[i] = list[--*n];
    return animal;
}

static void walk_plain(struct planner *p, uint32_t animal)
{
    struct lm_eid eid;
    const char *number;
    if (first_code(p, animal, false, &eid)) {
        read_pass(p, eid, 1);
    } else if (first_number(p, animal, &number)) {
        p->now += p->wishes->gap_ms;
        call(p, number, false);
    } else { /* nothing to know it by: it walks and stays unseen */
        plant(p, LM_FAULT_ABSENT, LM_NOT_SEEN, animal, (struct lm_eid){0});
    }
}

/** An animal that cannot have the fault wished for: it walks all the same. */
static void walk_short(struct planner *p, enum lm_fault fault, uint32_t animal)
{
    p->plan->short_of[fault]++;
    walk_plain(p, animal);
}

static void walk_dead_code(struct planner *p, uint32_t animal)
{
    const char *number;
    struct lm_eid eid;
    if (!first_number(p, animal, &number) || !first_code(p, animal, false, &eid)) {
        walk_short(p, LM_FAULT_DEAD_CODE, animal);
        return;
    }
    p->now += p->wishes->gap_ms;
    call(p, number, false);
    plant(p, LM_FAULT_DEAD_CODE, LM_NO_READING, animal, (struct lm_eid){0});
}

static void walk_misread(struct planner *p, uint32_t animal, uint32_t other)
{
    const char *number, *mine;
    struct lm_eid eid;
    if (!first_code(p, animal, false, &eid) || !first_number(p, other, &number) ||
        !first_number(p, animal, &mine) || strcmp(mine, number) == 0) {
        walk_short(p, LM_FAULT_MISREAD, animal);
        return;
    }
    read_pass(p, eid, 1);
    call(p, number, true);
    plant(p, LM_FAULT_MISREAD, LM_NUMBER_DIFFERS, animal, eid);
}

static void walk_crossed(struct planner *p, uint32_t animal, uint32_t other)
{
    struct lm_eid a, b;
    if (!first_code(p, animal, false, &a) || !first_code(p, other, false, &b)) {
        walk_short(p, LM_FAULT_CROSSED, animal);
        walk_plain(p, other);
        return;
    }
    add_step(p, LM_STEP_READ, a);
    p->now += 60;
    add_step(p, LM_STEP_READ, b);
    p->now += p->wishes->gap_ms;
    plant(p, LM_FAULT_CROSSED, LM_CODES_DIFFER, animal, a);
}

static void walk_two_lanes(struct planner *p, uint32_t animal)
{
    struct lm_eid eid;
    if (p->wishes->lanes < 2 || !first_code(p, animal, false, &eid)) {
        walk_short(p, LM_FAULT_TWO_LANES, animal);
        return;
    }
    add_step(p, LM_STEP_READ, eid);
    p->now += 150;
    add_step(p, LM_STEP_READ, eid)->lane = 2;
    p->now += p->wishes->gap_ms;
    plant(p, LM_FAULT_TWO_LANES, LM_TWO_LANES_AT_ONCE, animal, eid);
}

static void stranger(struct planner *p, enum lm_fault fault, unsigned n)
{
    struct lm_eid eid;
    struct lm_roll_hits it;
    struct lm_roll_device d;
    uint64_t national = 700000 + n;
    unsigned country = fault == LM_FAULT_TEST_CODE ? LM_COUNTRY_TEST : 900;
    do {
        if (lm_eid_make(country, national++, &eid) != LM_OK)
            return;
    } while (lm_roll_code_first(p->roll, eid, &it, &d));
    read_pass(p, eid, 1);
    p->plan->heads++;
    plant(p, fault, LM_NOT_IN_REGISTER, LM_NO_ANIMAL, eid);
    if (fault == LM_FAULT_TEST_CODE)
        plant(p, fault, LM_TEST_CODE, LM_NO_ANIMAL, eid);
}

static enum lm_reason status_reason(uint8_t status)
{
    static const enum lm_reason reasons[] = {
        LM_OTHER_MOB, LM_WAS_SOLD, LM_WAS_DEAD, LM_WAS_SLAUGHTERED, LM_WAS_LOST};
    return reasons[status];
}

/** An animal that should not be here walks: of another mob, or gone by the register. */
static void outsider(struct planner *p, enum lm_fault fault)
{
    for (uint32_t i = 0; i < p->n_outsiders; i++) {
        uint32_t animal = p->outsiders[i];
        struct lm_eid eid;
        uint8_t status = lm_roll_animal(p->roll, animal).status;
        if ((status == LM_ON_FARM) != (fault == LM_FAULT_OTHER_MOB) ||
            !first_code(p, animal, false, &eid))
            continue;
        p->outsiders[i] = p->outsiders[--p->n_outsiders];
        read_pass(p, eid, 1);
        p->plan->heads++;
        plant(p, fault, status_reason(status), animal, eid);
        return;
    }
    p->plan->short_of[fault]++;
}

static void old_device(struct planner *p)
{
    for (uint32_t i = 0; i < p->n_walkers; i++) {
        struct lm_eid eid;
        uint32_t animal = p->walkers[i];
        struct lm_roll_hits it;
        struct lm_roll_device d;
        if (!first_code(p, animal, true, &eid) || !lm_roll_code_first(p->roll, eid, &it, &d) ||
            lm_roll_code_next(p->roll, &it, &d))
            continue;
        p->walkers[i] = p->walkers[--p->n_walkers];
        read_pass(p, eid, 1);
        p->plan->heads++;
        plant(p, LM_FAULT_OLD, LM_REMOVED_DEVICE, animal, eid);
        return;
    }
    p->plan->short_of[LM_FAULT_OLD]++;
}

static bool collect(struct planner *p)
{
    uint32_t n = lm_roll_animals(p->roll);
    p->walkers = calloc(n ? n : 1, sizeof *p->walkers);
    p->outsiders = calloc(n ? n : 1, sizeof *p->outsiders);
    if (!p->walkers || !p->outsiders)
        return false;
    for (uint32_t i = 0; i < n; i++) {
        if (lm_roll_animal(p->roll, i).expected)
            p->walkers[p->n_walkers++] = i;
        else
            p->outsiders[p->n_outsiders++] = i;
    }
    return true;
}

static bool due(struct planner *p, unsigned left[LM_FAULTS], enum lm_fault fault, unsigned need)
{
    /* spread the faults over the walk: likelier the fewer animals are left for them */
    if (!left[fault] || p->n_walkers < need || below(&p->random, p->n_walkers) >= left[fault] * 3)
        return false;
    left[fault]--;
    return true;
}

static void walk_one(struct planner *p, unsigned left[LM_FAULTS], uint32_t *second, uint32_t *n)
{
    uint32_t animal = draw(p, p->walkers, &p->n_walkers);
    if (due(p, left, LM_FAULT_ABSENT, 0)) {
        plant(p, LM_FAULT_ABSENT, LM_NOT_SEEN, animal, (struct lm_eid){0});
        return;
    }
    p->plan->heads++;
    if (due(p, left, LM_FAULT_DEAD_CODE, 0)) {
        walk_dead_code(p, animal);
    } else if (due(p, left, LM_FAULT_MISREAD, 1)) {
        walk_misread(p, animal, p->walkers[below(&p->random, p->n_walkers)]);
    } else if (due(p, left, LM_FAULT_CROSSED, 1)) {
        p->plan->heads++;
        walk_crossed(p, animal, draw(p, p->walkers, &p->n_walkers));
    } else if (due(p, left, LM_FAULT_TWO_LANES, 0)) {
        walk_two_lanes(p, animal);
    } else {
        walk_plain(p, animal);
        struct lm_eid eid;
        if (first_code(p, animal, false, &eid) && due(p, left, LM_FAULT_AGAIN, 0))
            second[(*n)++] = animal;
    }
}

/** Those that come a second time do so at the end, later than the re-arm time. */
static void walk_again(struct planner *p, const uint32_t *second, uint32_t n)
{
    if (n)
        p->now += p->wishes->rearm_ms + 500;
    for (uint32_t i = 0; i < n; i++) {
        struct lm_eid eid;
        if (!first_code(p, second[i], false, &eid))
            continue;
        read_pass(p, eid, 1);
        plant(p, LM_FAULT_AGAIN, LM_SAME_ANIMAL_AGAIN, second[i], eid);
    }
}

static void walk_all(struct planner *p)
{
    unsigned left[LM_FAULTS];
    memcpy(left, p->wishes->count, sizeof left);
    uint32_t *second = calloc(p->n_walkers + 1u, sizeof *second), n_second = 0;
    if (!second) {
        p->err = LM_ENOMEM;
        return;
    }
    for (unsigned i = 0; i < left[LM_FAULT_OLD]; i++)
        old_device(p);
    for (unsigned i = 0; i < left[LM_FAULT_STRANGER]; i++)
        stranger(p, LM_FAULT_STRANGER, i);
    while (p->n_walkers && !p->err)
        walk_one(p, left, second, &n_second);
    for (unsigned i = 0; i < left[LM_FAULT_OTHER_MOB]; i++)
        outsider(p, LM_FAULT_OTHER_MOB);
    for (unsigned i = 0; i < left[LM_FAULT_GONE]; i++)
        outsider(p, LM_FAULT_GONE);
    for (unsigned i = 0; i < left[LM_FAULT_TEST_CODE]; i++)
        stranger(p, LM_FAULT_TEST_CODE, i);
    walk_again(p, second, n_second);
    static const enum lm_fault drawn[] = {LM_FAULT_ABSENT, LM_FAULT_DEAD_CODE, LM_FAULT_AGAIN,
        LM_FAULT_MISREAD, LM_FAULT_CROSSED, LM_FAULT_TWO_LANES};
    for (size_t i = 0; i < sizeof drawn / sizeof drawn[0]; i++)
        p->plan->short_of[drawn[i]] += left[drawn[i]];
    free(second);
}

static int by_time(const void *a, const void *b)
{
    const struct lm_step *x = a, *y = b;
    return (x->at_ms > y->at_ms) - (x->at_ms < y->at_ms);
}

/** What the register itself has twice is planted by whoever wrote it. */
static void note_shared(const struct lm_finding *f, void *ctx)
{
    if (f->reason == LM_TWO_ANIMALS_ONE_CODE || f->reason == LM_TWO_ANIMALS_ONE_NUMBER)
        plant(ctx, LM_FAULTS, f->reason, f->animal, (struct lm_eid){0});
}

enum lm_err lm_plan_make(struct lm_roll *roll, const struct lm_wishes *wishes, struct lm_plan *plan)
{
    struct planner p = {.roll = roll, .wishes = wishes, .plan = plan, .random = wishes->seed};
    memset(plan, 0, sizeof *plan);
    p.now = wishes->gap_ms;
    if (!collect(&p)) {
        p.err = LM_ENOMEM;
    } else {
        walk_all(&p);
        if (plan->n_steps)
            qsort(plan->steps, plan->n_steps, sizeof *plan->steps, by_time);
        /* a session over this roll before anything happened shows the register's own faults */
        struct lm_session *empty = lm_session_new(roll, NULL);
        if (empty)
            lm_session_findings(empty, NULL, note_shared, &p);
        else
            p.err = LM_ENOMEM;
        lm_session_free(empty);
    }
    free(p.walkers);
    free(p.outsiders);
    if (p.err)
        lm_plan_free(plan);
    return p.err;
}

void lm_plan_free(struct lm_plan *plan)
{
    free(plan->steps);
    free(plan->planted);
    memset(plan, 0, sizeof *plan);
}
