/* When animals were here, and the yearly count over several sessions. */
#include "flock.h"

#include "lugmark/count.h"

#include <stdlib.h>

#define N_OF(a) (sizeof(a) / sizeof((a)[0]))

static struct lm_date date(const char *text)
{
    struct lm_date d;
    assert_int_equal(lm_date_parse(text, strlen(text), &d), LM_OK);
    return d;
}

static int32_t day(const char *text)
{
    return lm_date_days(date(text), 0);
}

/* --- stays --- */

/** One change: status, its date, the reason, the day it was written down. */
struct change {
    enum lm_status status;
    const char *born, *since, *why, *written;
};

static struct lm_stays stays_of(const struct change *changes, size_t n, const char *begun)
{
    struct lm_stays s;
    struct lm_record rec;
    memset(&s, 0, sizeof s);
    for (size_t i = 0; i < n && changes[i].written; i++) {
        memset(&rec, 0, sizeof rec);
        rec.status = (uint8_t) changes[i].status;
        rec.born = date(changes[i].born);
        rec.status_date = date(changes[i].since);
        rec.struck = strcmp(changes[i].why, "struck") == 0;
        lm_stays_change(&s, &rec, changes[i].why, day(changes[i].written), day(begun));
    }
    return s;
}

/** On which of the days 2026-01-01 to 2026-12-01 (firsts of months) it was here: twelve 0 or 1. */
static void here_by_month(const struct lm_stays *s, char out[13])
{
    char text[16];
    for (unsigned m = 1; m <= 12; m++) {
        snprintf(text, sizeof text, "2026-%02u-01", m);
        out[m - 1] = lm_stays_here(s, day(text)) ? '1' : '0';
    }
    out[12] = '\0';
}

static const struct {
    struct change changes[4];
    const char *here;
    enum lm_came came;
    enum lm_left left;
} histories[] = {
    {{{LM_ON_FARM, "2024-03", "", "", "2026-01-01"}}, "111111111111", LM_CAME_BORN, LM_HERE_STILL},
    {{{LM_ON_FARM, "2026-03-28", "", "", "2026-05-10"}}, "000111111111", LM_CAME_BORN,
        LM_HERE_STILL},
    /* no birth date: here from the beginning only if written down when the register began */
    {{{LM_ON_FARM, "", "", "", "2026-01-01"}}, "111111111111", LM_CAME_UNSAID, LM_HERE_STILL},
    {{{LM_ON_FARM, "", "", "", "2026-05-10"}}, "000001111111", LM_CAME_UNSAID, LM_HERE_STILL},
    {{{LM_ON_FARM, "2024", "2026-04-02", "bought 2026-04-02 from X", "2026-04-20"}}, "000011111111",
        LM_CAME_BOUGHT, LM_HERE_STILL},
    {{{LM_ON_FARM, "2024", "", "bought", "2026-04-20"}}, "000011111111", LM_CAME_BOUGHT,
        LM_HERE_STILL},
    {{{LM_ON_FARM, "2024", "2026-02-01", "transferred in", "2026-02-01"}}, "011111111111",
        LM_CAME_MOVED, LM_HERE_STILL},
    {{{LM_ON_FARM, "2024", "", "boughten", "2026-04-20"}}, "111111111111", LM_CAME_BORN,
        LM_HERE_STILL},
    /* sold on the first of May: not here at the end of that day */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-05-01", "sold 2026-05-01", "2026-06-30"}},
        "111100000000", LM_CAME_BORN, LM_LEFT_SOLD},
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-05-01", "transferred out 2026-05-01", "2026-06-30"}},
        "111100000000", LM_CAME_BORN, LM_LEFT_MOVED},
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"}, {LM_DEAD, "2024", "", "", "2026-06-30"}},
        "111111000000", LM_CAME_BORN, LM_LEFT_DIED},
    /* killed some time in May: until its last day, but not after it was written down */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SLAUGHTERED, "2024", "2026-05", "", "2026-06-30"}},
        "111110000000", LM_CAME_BORN, LM_LEFT_KILLED},
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"}, {LM_DEAD, "2024", "2026", "", "2026-08-30"}},
        "111111110000", LM_CAME_BORN, LM_LEFT_DIED},
    /* lost and found again */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_LOST, "2024", "2026-03-15", "lost", "2026-03-15"},
         {LM_ON_FARM, "2024", "2026-07-15", "found again 2026-07-15", "2026-07-15"}},
        "111000011111", LM_CAME_FOUND, LM_HERE_STILL},
    /* sold by mistake, taken back: it never left */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-03-15", "sold", "2026-03-15"},
         {LM_ON_FARM, "2024", "", "taken back", "2026-07-15"}},
        "111111111111", LM_CAME_BORN, LM_HERE_STILL},
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-03-15", "sold", "2026-03-15"},
         {LM_ON_FARM, "2024", "2026-09-15", "bought 2026-09-15", "2026-09-15"}},
        "111000000111", LM_CAME_BOUGHT, LM_HERE_STILL},
    /* it came back on a day that was written down, how is not said */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-03-15", "sold", "2026-03-15"},
         {LM_ON_FARM, "2024", "2026-09-15", "", "2026-09-15"}},
        "111000000111", LM_CAME_UNSAID, LM_HERE_STILL},
    /* a date corrected, a status corrected */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"},
         {LM_SOLD, "2024", "2026-03-15", "sold", "2026-03-15"},
         {LM_SOLD, "2024", "2026-05-15", "", "2026-06-15"},
         {LM_DEAD, "2024", "2026-05-15", "", "2026-06-16"}},
        "111110000000", LM_CAME_BORN, LM_LEFT_DIED},
    /* imported as gone, without a date: never here */
    {{{LM_SOLD, "2024", "", "", "2026-01-01"}}, "000000000000", LM_CAME_BORN, LM_LEFT_SOLD},
    {{{LM_SOLD, "2024", "2026-02-15", "", "2026-06-01"}}, "110000000000", LM_CAME_BORN,
        LM_LEFT_SOLD},
    /* taken back as an entry, then made anew */
    {{{LM_ON_FARM, "2024", "", "", "2026-01-01"}, {LM_ON_FARM, "2024", "", "struck", "2026-02-01"},
         {LM_ON_FARM, "2026-04-15", "", "", "2026-05-01"}},
        "000011111111", LM_CAME_BORN, LM_HERE_STILL},
};

static void stays_table(void **state)
{
    (void) state;
    for (size_t i = 0; i < N_OF(histories); i++) {
        struct lm_stays s = stays_of(histories[i].changes, 4, "2026-01-01");
        char here[13];
        here_by_month(&s, here);
        if (strcmp(here, histories[i].here) != 0)
            fail_msg("row %zu: %s, not %s", i, here, histories[i].here);
        assert_int_equal(s.stay[s.n - 1].came, histories[i].came);
        assert_int_equal(s.stay[s.n - 1].left, histories[i].left);
    }
}

static void stays_vague(void **state)
{
    (void) state;
    static const struct change killed[] = {{LM_ON_FARM, "2025", "", "", "2026-01-01"},
        {LM_SLAUGHTERED, "2025", "2026-05", "", "2026-06-30"}};
    struct lm_stays s = stays_of(killed, 2, "2026-01-01");
    assert_true(lm_stays_surely(&s, day("2026-04-30")));
    assert_false(lm_stays_surely(&s, day("2026-05-01")));
    assert_true(lm_stays_maybe(&s, day("2026-05-31")));
    assert_false(lm_stays_maybe(&s, day("2026-06-01")));
    assert_false(lm_stays_vague(&s, day("2026-04-30")));
    assert_true(lm_stays_vague(&s, day("2026-05-15")));
    assert_false(lm_stays_vague(&s, day("2026-05-31")));
    assert_true(lm_stays_vague(&s, day("2025-06-01")));
    struct lm_stays many = stays_of(killed, 1, "2026-01-01");
    struct lm_record rec = animal_of("A", 1, "1");
    for (int i = 0; i < 20; i++) { /* more comings and goings than are kept */
        rec.status = i % 2 ? LM_ON_FARM : LM_LOST;
        rec.status_date = lm_date_of((day("2026-02-01") + i) * INT64_C(86400000));
        lm_stays_change(&many, &rec, "", day("2026-12-01"), day("2026-01-01"));
    }
    assert_int_equal(many.n, LM_STAYS_MAX);
    assert_true(lm_stays_here(&many, day("2026-12-01")));
}

/* --- the count --- */

#define FARM_MAX 64u

struct farm {
    struct lm_roll *book;
    struct lm_stays *stays; /**< room for FARM_MAX */
    struct lm_count *count;
    char story[8192];
    struct lm_count_figures f;
};

static void tell_entry(const struct lm_count_entry *e, void *ctx)
{
    struct farm *farm = ctx;
    size_t used = strlen(farm->story);
    char code[LM_EID_TEXT_SIZE];
    const char *who = e->key[0] ? e->key : e->text[0] ? e->text : lm_eid_format(e->eid, code);
    int n = snprintf(farm->story + used, sizeof farm->story - used, "%s %s%s%s",
        lm_count_kind_name(e->kind), who, e->other[0] ? "/" : "", e->other);
    used += (size_t) n;
    for (size_t i = 0; i < e->n_sessions; i++) {
        n = snprintf(farm->story + used, sizeof farm->story - used, "%c%u", i ? ',' : ' ',
            e->sessions[i] + 1);
        used += (size_t) n;
    }
    snprintf(farm->story + used, sizeof farm->story - used, ";");
}

/** The identity that count.h promises, and what else must always hold. */
static void holds(const struct lm_count_figures *f)
{
    if (f->has_heads)
        assert_int_equal((int64_t) f->heads - f->book,
            (int64_t) f->repeats + f->unidentified + ((int64_t) f->identified - f->present) -
                f->counts[LM_COUNT_NOT_FOUND] - f->counts[LM_COUNT_NOT_DUE] -
                f->counts[LM_COUNT_NOT_COVERED]);
    assert_int_equal(f->book, f->present + f->counts[LM_COUNT_NOT_FOUND] +
                                  f->counts[LM_COUNT_NOT_DUE] + f->counts[LM_COUNT_NOT_COVERED]);
    assert_true(f->absent_min <= f->absent_max);
    assert_true(f->present <= f->identified);
}

static void story_is(struct farm *farm, const char *want)
{
    farm->story[0] = '\0';
    assert_int_equal(lm_count_result(farm->count, &farm->f, tell_entry, farm), LM_OK);
    if (strcmp(farm->story, want) != 0)
        fail_msg("\n%s\nis not\n%s", farm->story, want);
    holds(&farm->f);
}

/** Put one animal into a roll of a session or the book; it is in a mob. */
static void put_in(struct lm_roll *roll, unsigned n, const char *mob, enum lm_status status)
{
    char key[16], number[16];
    snprintf(key, sizeof key, "A%u", n);
    snprintf(number, sizeof number, "%04u", n);
    struct lm_record rec = animal_of(key, n, number);
    snprintf(rec.mob, sizeof rec.mob, "%s", mob);
    rec.status = (uint8_t) status;
    put(roll, rec);
}

static void stay(struct farm *farm, const char *key, const char *in, const char *out)
{
    uint32_t i = lm_roll_by_key(farm->book, key);
    struct change c[] = {
        {LM_ON_FARM, in, "", "", "2020-01-01"}, {LM_SOLD, in, out, "sold", "2026-12-31"}};
    assert_true(i < FARM_MAX);
    farm->stays[i] = stays_of(c, out[0] ? 2 : 1, "2020-01-01");
}

static struct lm_session *session_of(struct lm_roll *roll, const char *mob)
{
    struct lm_session *s = lm_session_new(roll, NULL);
    struct lm_open open = {.kind = LM_COUNT};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    snprintf(open.mob, sizeof open.mob, "%s", mob);
    ev.open = &open;
    assert_non_null(s);
    apply(s, ev);
    return s;
}

static void read_all(struct lm_session *s, const unsigned *codes, size_t n)
{
    for (size_t i = 0; i < n; i++)
        read_at(s, 20000 * (long) i, codes[i]);
}

static void ends(
    struct farm *farm, struct lm_session *s, struct lm_roll *roll, int heads, const char *on)
{
    if (heads >= 0)
        apply(s, heads_of((uint32_t) heads));
    apply(s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_count_session(farm->count, s, day(on)), LM_OK);
    lm_session_free(s);
    lm_roll_free(roll);
}

static void done(struct farm *farm)
{
    lm_count_free(farm->count);
    lm_roll_free(farm->book);
    free(farm->stays);
}

/*
 * Does 1-6 are run on 1 December, bucks 7-8 and kids 9-10 on 3 December, cut-off 5 December.
 * 3 was sold on 30 November, written down late; 4 dies on 4 December, after it was seen; 5 is not
 * found; 6 is sold on the 2nd, unseen; 8 is born... bought on 4 December; 2 is seen twice; the code
 * 77 is nobody's; 9 is sold on 20 November and yet seen; mob 11 is never run.
 */
static void three_sessions(void **state)
{
    (void) state;
    struct farm farm = {.book = lm_roll_new(), .stays = calloc(FARM_MAX, sizeof(struct lm_stays))};
    for (unsigned i = 1; i <= 11; i++)
        put_in(farm.book, i, "", LM_ON_FARM);
    for (unsigned i = 1; i <= 11; i++) {
        char key[8];
        snprintf(key, sizeof key, "A%u", i);
        stay(&farm, key, "2024", "");
    }
    stay(&farm, "A3", "2024", "2026-11-30");
    stay(&farm, "A4", "2024", "2026-12-04");
    stay(&farm, "A6", "2024", "2026-12-02");
    stay(&farm, "A8", "2026-12-04", "");
    stay(&farm, "A9", "2024", "2026-11-20");
    farm.count = lm_count_new(farm.book, farm.stays, day("2026-12-05"));
    struct lm_roll *roll = lm_roll_new();
    for (unsigned i = 1; i <= 6; i++)
        put_in(roll, i, "does", LM_ON_FARM);
    put_in(roll, 7, "bucks", LM_ON_FARM);
    struct lm_session *s = session_of(roll, "does");
    read_all(s, (unsigned[]){1, 2, 4, 77}, 4);
    ends(&farm, s, roll, 4, "2026-12-01");
    roll = lm_roll_new();
    put_in(roll, 7, "bucks", LM_ON_FARM);
    put_in(roll, 2, "does", LM_ON_FARM);
    put_in(roll, 9, "bucks", LM_SOLD);
    s = session_of(roll, "bucks");
    read_all(s, (unsigned[]){7, 2, 9, 77}, 4);
    ends(&farm, s, roll, 5, "2026-12-03");
    roll = lm_roll_new();
    put_in(roll, 10, "kids", LM_ON_FARM);
    s = session_of(roll, "kids");
    apply(s, call_at(0, "0010", (struct lm_eid){0}));
    ends(&farm, s, roll, 1, "2026-12-03");
    story_is(&farm, "not-found A5;stranger 999000000000077 1,2;seen-though-gone A9 2;"
                    "double A2 1,2;unread A10 3;not-covered A11;not-due A8;left-since A4 1;"
                    "left-before A3;left-before A6;");
    assert_int_equal(farm.f.sessions, 3);
    assert_int_equal(farm.f.book, 7); /* 1 2 5 7 8 10 11 */
    assert_int_equal(farm.f.heads, 10);
    assert_int_equal(farm.f.identified, 6); /* 1 2 4 7 9 10 */
    assert_int_equal(farm.f.present, 4);
    assert_int_equal(farm.f.repeats, 1);
    assert_int_equal(farm.f.unidentified, 3); /* twice 77, and one more */
    assert_int_equal(farm.f.absent_min, 0);
    assert_int_equal(farm.f.absent_max, 1);
    assert_true(lm_count_flagged(&farm.f));
    assert_true(lm_count_seen(farm.count, lm_roll_by_key(farm.book, "A10")));
    assert_false(lm_count_seen(farm.count, lm_roll_by_key(farm.book, "A5")));
    story_is(&farm, "not-found A5;stranger 999000000000077 1,2;seen-though-gone A9 2;"
                    "double A2 1,2;unread A10 3;not-covered A11;not-due A8;left-since A4 1;"
                    "left-before A3;left-before A6;"); /* asking changes nothing */
    done(&farm);
}

/** A farm of @p n animals, all here since 2024, and one session that expects them all. */
static struct farm plain_farm(unsigned n, struct lm_roll **roll)
{
    struct farm farm = {.book = lm_roll_new(), .stays = calloc(FARM_MAX, sizeof(struct lm_stays))};
    *roll = lm_roll_new();
    for (unsigned i = 1; i <= n; i++) {
        char key[8];
        put_in(farm.book, i, "", LM_ON_FARM);
        put_in(*roll, i, "", LM_ON_FARM);
        snprintf(key, sizeof key, "A%u", i);
        stay(&farm, key, "2024", "");
    }
    farm.count = lm_count_new(farm.book, farm.stays, day("2026-12-01"));
    return farm;
}

static void all_well(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(3, &roll);
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1, 2, 3}, 3);
    ends(&farm, s, roll, 3, "2026-12-01");
    story_is(&farm, "");
    assert_false(lm_count_flagged(&farm.f));
    done(&farm);
}

/* Bounds over the whole count, the same sums as for one session. */
static void bounds(void **state)
{
    (void) state;
    static const struct {
        int heads;
        unsigned read, min, max;
        bool has, short_, flagged;
    } rows[] = {{-1, 3, 0, 2, false, false, true}, {3, 3, 2, 2, true, false, true},
        {4, 3, 1, 2, true, false, true}, {9, 3, 0, 2, true, false, true},
        {2, 3, 2, 2, true, true, true}, {5, 5, 0, 0, true, false, false},
        {6, 5, 0, 0, true, false, true}};
    for (size_t i = 0; i < N_OF(rows); i++) {
        struct lm_roll *roll;
        struct farm farm = plain_farm(5, &roll);
        struct lm_session *s = session_of(roll, "");
        read_all(s, (unsigned[]){1, 2, 3, 4, 5}, rows[i].read);
        ends(&farm, s, roll, rows[i].heads, "2026-12-01");
        assert_int_equal(lm_count_result(farm.count, &farm.f, NULL, NULL), LM_OK);
        holds(&farm.f);
        assert_int_equal(farm.f.absent_min, rows[i].min);
        assert_int_equal(farm.f.absent_max, rows[i].max);
        assert_int_equal(farm.f.has_heads, rows[i].has);
        assert_int_equal(farm.f.heads_short, rows[i].short_);
        assert_int_equal(lm_count_flagged(&farm.f), rows[i].flagged);
        done(&farm);
    }
}

/* Nobody's code on the day, entered in the register before the count is made: it is that animal,
 * and it is one animal also where its old number was called in the same session. */
static void entered_since(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(2, &roll);
    struct lm_record rec = animal_of("A2", 2, "0002");
    rec.devices[0].gone = true;
    rec.devices[1].eid = eid_of(55);
    rec.n_devices = 2;
    put(farm.book, rec); /* A2 was tagged anew */
    put(farm.book, animal_of("A3", 0, "x 9"));
    stay(&farm, "A3", "2024", "");
    lm_count_free(farm.count);
    farm.count = lm_count_new(farm.book, farm.stays, day("2026-12-01"));
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1, 55}, 2);
    apply(s, call_at(90000, "X9", (struct lm_eid){0}));
    ends(&farm, s, roll, 3, "2026-12-01");
    story_is(&farm, "entered-since A2 1;entered-since A3 1;");
    assert_int_equal(farm.f.identified, 3);
    assert_false(lm_count_flagged(&farm.f));
    done(&farm);
}

static void once_by_both_names(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(1, &roll);
    struct lm_record rec = animal_of("A1", 1, "0001");
    rec.devices[1].eid = eid_of(55);
    rec.n_devices = 2;
    put(farm.book, rec);
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){55}, 1);
    apply(s, call_at(90000, "0001", (struct lm_eid){0}));
    ends(&farm, s, roll, 1, "2026-12-01");
    story_is(&farm, "entered-since A1 1;");
    assert_int_equal(farm.f.sightings, 1);
    done(&farm);
}

/* Two entries of one animal became one: its devices say who it is. An entry taken back: a head. */
static void merged_and_taken_back(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(1, &roll);
    struct lm_record rec = animal_of("A1", 1, "0001");
    rec.devices[1].eid = eid_of(2);
    rec.n_devices = 2;
    put(farm.book, rec);
    put_in(roll, 2, "", LM_ON_FARM);
    put_in(roll, 3, "", LM_ON_FARM);
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1, 2, 3}, 3);
    ends(&farm, s, roll, 3, "2026-12-01");
    story_is(&farm, "entry-taken-back A3 1;");
    assert_int_equal(farm.f.identified, 2);
    assert_int_equal(farm.f.unidentified, 1);
    done(&farm);
}

/* Marks that contradict each other, said once for the whole count. */
static void contradictions(void **state)
{
    (void) state;
    struct farm farm;
    struct lm_roll *roll;
    farm = plain_farm(2, &roll);
    for (int i = 0; i < 2; i++) {
        if (i == 1) {
            roll = lm_roll_new();
            put_in(roll, 1, "", LM_ON_FARM);
            put_in(roll, 2, "", LM_ON_FARM);
        }
        struct lm_session *s = session_of(roll, "");
        read_all(s, (unsigned[]){1, 2}, 2);
        apply(s, call_at(41000, "0001", eid_of(2)));
        ends(&farm, s, roll, 2, i ? "2026-12-01" : "2026-11-30");
    }
    story_is(&farm, "contradiction A2/A1 1,2;double A1 1,2;double A2 1,2;");
    assert_int_equal(farm.f.heads, 4);
    assert_int_equal(farm.f.repeats, 2);
    done(&farm);
}

static void came_after(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(2, &roll);
    stay(&farm, "A2", "2026-12-05", "");
    lm_count_free(farm.count);
    farm.count = lm_count_new(farm.book, farm.stays, day("2026-12-01"));
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1, 2}, 2);
    ends(&farm, s, roll, 2, "2026-12-05");
    story_is(&farm, "came-after A2 1;");
    assert_int_equal(farm.f.book, 1);
    done(&farm);
}

/* In the book at the cut-off, but sold before its session: nobody could find it. */
static void left_before_its_session(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(2, &roll);
    stay(&farm, "A2", "2024", "2026-12-03");
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1}, 1);
    ends(&farm, s, roll, 1, "2026-12-04");
    story_is(&farm, "not-due A2;");
    assert_int_equal(farm.f.book, 2);
    assert_false(lm_count_flagged(&farm.f));
    done(&farm);
}

/* One head too few in one session and one too many in another make no peace. */
static void short_and_long(void **state)
{
    (void) state;
    struct lm_roll *roll;
    struct farm farm = plain_farm(2, &roll);
    struct lm_session *s = session_of(roll, "");
    read_all(s, (unsigned[]){1}, 1);
    ends(&farm, s, roll, 0, "2026-12-01");
    roll = lm_roll_new();
    put_in(roll, 2, "", LM_ON_FARM);
    s = session_of(roll, "");
    read_all(s, (unsigned[]){2}, 1);
    ends(&farm, s, roll, 2, "2026-12-01");
    story_is(&farm, "");
    assert_int_equal(farm.f.unidentified, 0);
    assert_true(farm.f.heads_short);
    assert_true(lm_count_flagged(&farm.f));
    done(&farm);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(stays_table),
        cmocka_unit_test(stays_vague),
        cmocka_unit_test(three_sessions),
        cmocka_unit_test(all_well),
        cmocka_unit_test(bounds),
        cmocka_unit_test(entered_since),
        cmocka_unit_test(once_by_both_names),
        cmocka_unit_test(merged_and_taken_back),
        cmocka_unit_test(contradictions),
        cmocka_unit_test(came_after),
        cmocka_unit_test(left_before_its_session),
        cmocka_unit_test(short_and_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
