#include "lugmark/stay.h"

#include <string.h>

static bool begins(const char *why, const char *word)
{
    size_t n = strlen(word);
    return strncmp(why, word, n) == 0 &&
           (why[n] == '\0' || why[n] == ' ' || why[n] == ':' || why[n] == ',' || why[n] == ';');
}

static bool came_by(const char *why, uint8_t *came)
{
    if (begins(why, "bought"))
        *came = LM_CAME_BOUGHT;
    else if (begins(why, "transferred in"))
        *came = LM_CAME_MOVED;
    else
        return false;
    return true;
}

static uint8_t left_by(uint8_t status, const char *why)
{
    switch ((enum lm_status) status) {
    case LM_SOLD:
        return begins(why, "transferred out") ? LM_LEFT_MOVED : LM_LEFT_SOLD;
    case LM_DEAD:
        return LM_LEFT_DIED;
    case LM_SLAUGHTERED:
        return LM_LEFT_KILLED;
    case LM_LOST:
        return LM_LEFT_LOST;
    case LM_ON_FARM:
        break;
    }
    return LM_HERE_STILL;
}

static void set_in(struct lm_stay *stay, struct lm_date in, int32_t written)
{
    stay->in = in;
    stay->in_written = in.year == 0 && written != LM_DAY_BEGIN;
    stay->in_day = in.year != 0 ? lm_date_days(in, 0) : written;
    stay->in_last = in.year != 0 ? lm_date_days(in, 1) : written;
}

/** The day something left: in the stretch its date means, not before it came, not in the future. */
static void set_out(struct lm_stay *stay, struct lm_date out, int32_t written)
{
    int32_t first = out.year != 0 ? lm_date_days(out, 0) : written;
    int32_t last = out.year != 0 ? lm_date_days(out, 1) : written;
    stay->out = out;
    stay->out_written = out.year == 0;
    stay->out_first = first > stay->in_day ? first : stay->in_day;
    if (last > written)
        last = written > first ? written : first;
    stay->out_day = last > stay->in_day ? last : stay->in_day;
}

static struct lm_stay *push(struct lm_stays *s)
{
    if (s->n == LM_STAYS_MAX) {
        memmove(&s->stay[0], &s->stay[1], (LM_STAYS_MAX - 1) * sizeof s->stay[0]);
        s->n--;
    }
    struct lm_stay *stay = &s->stay[s->n++];
    memset(stay, 0, sizeof *stay);
    stay->out_first = stay->out_day = LM_DAY_NEVER;
    return stay;
}

static void first_entry(struct lm_stays *s, const struct lm_record *now, const char *why,
    int32_t written, int32_t begun)
{
    struct lm_stay *stay = push(s);
    struct lm_date none = {0};
    s->written = written;
    if (came_by(why, &stay->came)) {
        set_in(stay, now->status == LM_ON_FARM ? now->status_date : none, written);
    } else if (now->born.year != 0) {
        stay->came = LM_CAME_BORN;
        set_in(stay, now->born, written);
    } else {
        stay->came = LM_CAME_UNSAID;
        set_in(stay, none, written <= begun ? LM_DAY_BEGIN : written);
    }
    if (now->status == LM_ON_FARM)
        return;
    /* written down as gone already: without a date it was gone before anybody counted */
    stay->left = left_by(now->status, why);
    if (now->status_date.year != 0)
        set_out(stay, now->status_date, written);
    else
        stay->in_day = stay->in_last = stay->out_first = stay->out_day = LM_DAY_BEGIN;
}

/** A stay begins no earlier than the one before it ended, whatever its date may mean. */
static void after_last(struct lm_stays *s)
{
    if (s->n < 2)
        return;
    struct lm_stay *now = &s->stay[s->n - 1];
    int32_t day = s->stay[s->n - 2].out_day;
    if (now->in_day < day)
        now->in_day = day;
    if (now->in_last < day)
        now->in_last = day;
}

static void came_back(
    struct lm_stays *s, const struct lm_record *now, const char *why, int32_t written)
{
    struct lm_stay *last = &s->stay[s->n - 1];
    uint8_t came = LM_CAME_UNSAID;
    bool later = now->status_date.year != 0 && lm_date_days(now->status_date, 1) > last->out_day;
    bool said = came_by(why, &came);
    if (!said && s->status == LM_LOST && (later || begins(why, "found again"))) {
        came = LM_CAME_FOUND;
        said = true;
    }
    if (!said && !later) { /* a correction: it never left */
        last->left = LM_HERE_STILL;
        last->out = (struct lm_date){0};
        last->out_written = false;
        last->out_first = last->out_day = LM_DAY_NEVER;
        return;
    }
    struct lm_stay *stay = push(s);
    stay->came = came;
    set_in(stay, now->status_date, written);
    after_last(s);
}

/** Dates that were corrected without a change of status. */
static void correct(struct lm_stays *s, const struct lm_record *now, int32_t written)
{
    struct lm_stay *first = &s->stay[0], *last = &s->stay[s->n - 1];
    bool same = now->status_date.year == s->status_date.year &&
                now->status_date.month == s->status_date.month &&
                now->status_date.day == s->status_date.day;
    if (first->came == LM_CAME_BORN && now->born.year != 0)
        set_in(first, now->born, s->written);
    if (first->came == LM_CAME_UNSAID && now->born.year != 0 && s->n == 1 &&
        first->in.year == 0) { /* the birth date became known */
        first->came = LM_CAME_BORN;
        set_in(first, now->born, s->written);
    }
    if (!same && now->status != LM_ON_FARM)
        set_out(last, now->status_date, written);
    else if (!same && now->status_date.year != 0 && last->came != LM_CAME_BORN)
        set_in(last, now->status_date, written);
    after_last(s);
}

void lm_stays_change(struct lm_stays *s, const struct lm_record *now, const char *why,
    int32_t written, int32_t begun)
{
    if (now->struck) { /* taken back; if it comes again, that is its first entry */
        s->n = 0;
        return;
    }
    if (s->n == 0) {
        first_entry(s, now, why, written, begun);
    } else if (now->status == s->status) {
        correct(s, now, written);
    } else if (now->status == LM_ON_FARM) {
        came_back(s, now, why, written);
    } else {
        struct lm_stay *last = &s->stay[s->n - 1];
        last->left = left_by(now->status, why);
        set_out(last, now->status_date, written);
    }
    s->status = now->status;
    s->status_date = now->status_date;
}

bool lm_stays_here(const struct lm_stays *s, int32_t day)
{
    for (unsigned i = 0; i < s->n; i++) {
        if (s->stay[i].in_day <= day && s->stay[i].out_day > day)
            return true;
    }
    return false;
}

bool lm_stays_surely(const struct lm_stays *s, int32_t day)
{
    for (unsigned i = 0; i < s->n; i++) {
        if (s->stay[i].in_last <= day && s->stay[i].out_first > day)
            return true;
    }
    return false;
}

bool lm_stays_maybe(const struct lm_stays *s, int32_t day)
{
    for (unsigned i = 0; i < s->n; i++) {
        if (s->stay[i].in_day <= day && s->stay[i].out_day >= day)
            return true;
    }
    return false;
}

bool lm_stays_vague(const struct lm_stays *s, int32_t day)
{
    for (unsigned i = 0; i < s->n; i++) {
        const struct lm_stay *t = &s->stay[i];
        if ((t->in_day <= day && t->in_last > day) || (t->out_first <= day && t->out_day > day))
            return true;
    }
    return false;
}
