/*
 * Which readings and rows stay. A reading goes only when leaving it out changes nothing that is
 * said of the others:
 * - It is the only reading of a code that one animal has, which is expected, and which nothing
 *   else in the register is like.
 * - Without times a repeat is the same code with no other between: where that hangs on readings
 *   that would go, the last of them stays.
 * - With times two animals side by side are told by their times (session_reading.c): all that is
 *   as close as that stays, and what came just before and after it.
 */
#include "priv.h"

#include <stdlib.h>
#include <string.h>

#define TOGETHER_MS 250u /* as in lm_session_defaults(); no option of reconcile changes it */

#define WORTH 2u /* when more than one in so many rows stays, the plain way is as good */
#define FEW 256u /* and so many cost nothing */
#define AHEAD 16u

struct lane_state {
    uint32_t last;  /* the reading before, or SIEVE_NONE */
    uint32_t plain; /* with times: the last plain one before `last`. Without: the last that goes */
    bool last_plain;
    bool close; /* `last` is close to the one before it */
    bool after; /* the next plain one is the first after such a group */
};

static bool is_plain(const struct lm_sieve *s, uint32_t i)
{
    uint32_t what = s->readings.what[i];
    return !(what & READING_ODD) && !s->readings.stays[i] &&
           (s->codes.slots[what] & (SLOT_MORE | SLOT_STAYS)) == 0;
}

static void stay(struct lm_sieve *s, uint32_t i)
{
    uint32_t what = s->readings.what[i];
    s->readings.stays[i] = 1;
    if (!(what & READING_ODD))
        s->codes.slots[what] |= SLOT_STAYS;
}

/* @return false when a lane's clock went back: then nearness says nothing. */
static bool keep_near(struct lm_sieve *s, struct lane_state *l, uint32_t i)
{
    const uint32_t *after = s->readings.after;
    bool plain = is_plain(s, i), close = false;
    if (l->last != SIEVE_NONE) {
        if (after[i] < after[l->last])
            return false;
        close = after[i] - after[l->last] <= TOGETHER_MS;
    }
    if (close) {
        stay(s, i);
        stay(s, l->last);
        if (!l->close && l->plain != SIEVE_NONE)
            stay(s, l->plain);
    }
    l->after = !close && (l->close || l->after);
    if (l->after && plain) {
        stay(s, i);
        l->after = false;
    }
    if (l->last != SIEVE_NONE && l->last_plain)
        l->plain = l->last;
    l->last_plain = plain;
    l->last = i;
    l->close = close;
    return true;
}

static const struct sieve_odd *odd_of(const struct lm_sieve *s, uint32_t i)
{
    uint32_t what = s->readings.what[i];
    return what & READING_ODD ? &s->readings.odd[what & ~READING_ODD] : NULL;
}

/* Whether two readings may be of one animal or stranger. */
static bool may_be_one(const struct lm_sieve *s, uint32_t i, uint32_t k)
{
    const struct sieve_odd *a = odd_of(s, i), *b = odd_of(s, k);
    uint32_t x = a != NULL ? a->slot : s->readings.what[i];
    uint32_t y = b != NULL ? b->slot : s->readings.what[k];
    if (x == SIEVE_NONE || y == SIEVE_NONE)
        return x == y && a != NULL && b != NULL &&
               lm_eid_key((struct lm_eid){.bits = a->bits, .known = a->known}) ==
                   lm_eid_key((struct lm_eid){.bits = b->bits, .known = b->known});
    return x == y || (s->codes.slots[x] & s->codes.slots[y] & SLOT_STAYS) != 0;
}

static void keep_between(struct lm_sieve *s, struct lane_state *l, uint32_t i)
{
    const struct sieve_odd *odd = odd_of(s, i);
    if (is_plain(s, i)) {
        l->plain = i;
        return;
    }
    if (odd != NULL && !odd->known)
        return; /* damaged: it is no pass, and parts nothing */
    if (l->last != SIEVE_NONE && l->plain != SIEVE_NONE && may_be_one(s, l->last, i))
        stay(s, l->plain);
    l->plain = SIEVE_NONE;
    l->last = i;
}

static bool pick_readings(struct lm_sieve *s)
{
    struct sieve_readings *r = &s->readings;
    struct lane_state lanes[SIEVE_LANES];
    for (unsigned i = 0; i < SIEVE_LANES; i++)
        lanes[i] = (struct lane_state){.last = SIEVE_NONE, .plain = SIEVE_NONE};
    for (uint32_t i = 0; i < r->n; i++) {
        struct lane_state *l = &lanes[r->lane != NULL ? r->lane[i] : 0];
        if (i + AHEAD < r->n && !(r->what[i + AHEAD] & READING_ODD))
            __builtin_prefetch(&s->codes.slots[r->what[i + AHEAD]]);
        if (r->stays[i])
            stay(s, i);
        if (r->after == NULL)
            keep_between(s, l, i);
        else if (!keep_near(s, l, i))
            return false;
    }
    return true;
}

/* Whether a row goes: expected and gone by once, or not expected and not there. */
static bool goes(const struct lm_sieve *s, uint32_t i)
{
    uint32_t slot = s->rows.slot[i];
    if ((s->rows.flags[i] & ROW_STAYS) || slot == SIEVE_NONE)
        return false;
    uint64_t facts = s->codes.slots[slot];
    if (!(s->rows.flags[i] & ROW_EXPECTED))
        return (facts & (SLOT_ONCE | SLOT_MORE | SLOT_SHARED)) == 0;
    return (facts & (SLOT_ONCE | SLOT_MORE | SLOT_STAYS)) == SLOT_ONCE;
}

static uint32_t pick_rows(struct lm_sieve *s)
{
    struct sieve_rows *rows = &s->rows;
    uint32_t staying = 0;
    for (uint32_t i = 0; i < rows->n; i++) {
        if (i + AHEAD < rows->n && rows->slot[i + AHEAD] != SIEVE_NONE)
            __builtin_prefetch(&s->codes.slots[rows->slot[i + AHEAD]]);
        if (!goes(s, i)) {
            rows->flags[i] |= ROW_STAYS;
            staying++;
        } else if (rows->flags[i] & ROW_EXPECTED) {
            s->through++;
        }
    }
    return staying;
}

/* The readings that go are those of the animals that go, one each. */
static bool adds_up(struct lm_sieve *s)
{
    struct sieve_readings *r = &s->readings;
    uint32_t going = 0;
    for (uint32_t i = 0; i < r->n; i++) {
        bool goes = is_plain(s, i);
        r->stays[i] = !goes;
        going += goes;
    }
    return going == s->through;
}

bool lm_sieve_pick(struct lm_sieve *s)
{
    if (!pick_readings(s) || pick_rows(s) > s->rows.n / WORTH + FEW)
        return false;
    return adds_up(s);
}
