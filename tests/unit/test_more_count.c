/* A count's odd animals: codes and numbers that became somebody's, entries that went, marks that
 * contradict each other. */
#include "flock.h"

#include "lugmark/count.h"

#define DAY 20000

/** A book and what is counted against it; everybody was here for a year. */
struct counted {
    struct lm_roll *book;
    struct lm_stays stays[8];
    struct lm_count *count;
    struct lm_count_figures f;
    char story[2048];
};

static void begin(struct counted *c, const struct lm_record *animals, size_t n)
{
    memset(c, 0, sizeof *c);
    c->book = lm_roll_new();
    for (size_t i = 0; i < n; i++) {
        put(c->book, animals[i]);
        lm_stays_change(&c->stays[i], &animals[i], "", DAY - 365, DAY - 365);
    }
    c->count = lm_count_new(c->book, c->stays, DAY);
    assert_non_null(c->count);
}

/** A session over a roll of its own (freed here), in which these happened. */
static void session(
    struct counted *c, struct lm_roll *roll, const struct lm_event *events, size_t n)
{
    lm_roll_expect_mob(roll, NULL);
    struct lm_session *s = lm_session_new(roll, NULL);
    for (size_t i = 0; i < n; i++)
        apply(s, events[i]);
    apply(s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_count_session(c->count, s, DAY), LM_OK);
    lm_session_free(s);
    lm_roll_free(roll);
}

static void say(const struct lm_count_entry *e, void *ctx)
{
    struct counted *c = ctx;
    char code[LM_EID_TEXT_SIZE] = "";
    size_t used = strlen(c->story);
    if (e->eid.known)
        lm_eid_format(e->eid, code);
    snprintf(c->story + used, sizeof c->story - used, "%s %s%s%s%s%s;", lm_count_kind_name(e->kind),
        e->key, e->other[0] ? "/" : "", e->other, e->text[0] ? e->text : code,
        e->n_sessions > 1 ? "*" : "");
}

static void ends(struct counted *c, const char *story)
{
    assert_int_equal(lm_count_result(c->count, &c->f, say, c), LM_OK);
    if (strcmp(c->story, story) != 0)
        fail_msg("\n%s\nis not\n%s", c->story, story);
    struct lm_count_figures quiet; /* the figures are the same when nobody listens */
    assert_int_equal(lm_count_result(c->count, &quiet, NULL, NULL), LM_OK);
    assert_memory_equal(&quiet, &c->f, sizeof quiet);
    lm_count_free(c->count);
    lm_roll_free(c->book);
}

static struct lm_record twice(const char *key, unsigned code, const char *visual)
{
    struct lm_record rec = animal_of(key, code, visual);
    rec.n_devices = 2;
    rec.devices[1] = rec.devices[0];
    return rec;
}

static struct lm_record gone(const char *key, unsigned code, const char *visual)
{
    struct lm_record rec = animal_of(key, code, visual);
    rec.devices[0].gone = true;
    return rec;
}

/* A number that nobody had: whose it is now, if one animal alone wears it. */
static void a_number_entered_since(void **state)
{
    (void) state;
    struct {
        struct lm_record a, b;
        const char *story;
    } rows[] = {
        {animal_of("A", 1, "777"), animal_of("B", 2, "2"), "not-covered B;entered-since A777;"},
        {twice("A", 1, "777"), animal_of("B", 2, "2"), "not-covered B;entered-since A777;"},
        {animal_of("A", 1, "777"), animal_of("B", 2, "777"),
            "stranger 777;not-covered A;not-covered B;"},
        {gone("A", 1, "777"), animal_of("B", 2, "777"), "not-covered A;entered-since B777;"},
        {animal_of("A", 1, "777"), gone("B", 2, "777"), "not-covered B;entered-since A777;"},
        {gone("A", 1, "777"), animal_of("B", 2, "2"), "stranger 777;not-covered A;not-covered B;"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct counted c;
        const struct lm_record book[] = {rows[i].a, rows[i].b};
        const struct lm_event events[] = {call_at(0, "777", (struct lm_eid){0})};
        begin(&c, book, 2);
        session(&c, lm_roll_new(), events, 1);
        ends(&c, rows[i].story);
        assert_int_equal(c.f.identified, strstr(rows[i].story, "entered") != NULL);
    }
}

/* The same for a code; one animal with two devices of the code is one animal. */
static void a_code_entered_since(void **state)
{
    (void) state;
    struct {
        struct lm_record a, b;
        const char *owner; /* "": nobody */
    } rows[] = {
        {twice("A", 7, ""), animal_of("B", 2, ""), "A"},
        {animal_of("A", 7, ""), gone("B", 7, ""), "A"},
        {gone("A", 7, ""), animal_of("B", 7, ""), "B"},
        {gone("A", 7, ""), gone("B", 7, ""), "B"}, /* the last who wore it */
        {animal_of("A", 7, ""), animal_of("B", 7, ""), ""},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct counted c;
        char want[80];
        const struct lm_record book[] = {rows[i].a, rows[i].b};
        const struct lm_event events[] = {reading_at(0, "1", eid_of(7))};
        begin(&c, book, 2);
        session(&c, lm_roll_new(), events, 1);
        if (rows[i].owner[0])
            snprintf(want, sizeof want, "not-covered %s;entered-since %s999000000000007;",
                rows[i].owner[0] == 'A' ? "B" : "A", rows[i].owner);
        else
            snprintf(want, sizeof want, "stranger 999000000000007;not-covered A;not-covered B;");
        ends(&c, want);
    }
}

/* Seen in an earlier session by its entry, in a later one by a code that was nobody's: a double,
 * but once in each. */
static void seen_before_it_was_entered(void **state)
{
    (void) state;
    struct counted c;
    struct lm_record a = animal_of("A", 1, "0101"), b = animal_of("B", 2, "0102");
    struct lm_roll *first = lm_roll_new(), *second = lm_roll_new(), *third = lm_roll_new();
    a.n_devices = 2;
    a.devices[1].eid = eid_of(7);
    snprintf(a.devices[1].visual, sizeof a.devices[1].visual, "777");
    const struct lm_record book[] = {a, b};
    const struct lm_event one[] = {reading_at(0, "1", eid_of(1)), reading_at(9, "2", eid_of(2))};
    const struct lm_event two[] = {reading_at(0, "1", eid_of(7))};
    const struct lm_event three[] = {reading_at(0, "1", eid_of(2)),
        reading_at(90000, "1", eid_of(7)), call_at(95000, "777", (struct lm_eid){0})};
    begin(&c, book, 2);
    put(first, animal_of("A", 1, "0101"));
    put(first, b);
    put(second, b);
    put(third, b);
    session(&c, first, one, 2);
    session(&c, second, two, 1);
    session(&c, third, three, 3);
    assert_true(lm_count_seen(c.count, 0));
    assert_false(lm_count_seen(c.count, 2));
    ends(&c, "double A*;double B*;entered-since A999000000000007*;entered-since A777;");
    assert_int_equal(c.f.sightings, 5); /* 2, 1 and 2 */
    assert_int_equal(c.f.repeats, 3);
}

/* Its entry is gone from the book: it is who wears its code now; a removed device says nothing. */
static void an_entry_that_went(void **state)
{
    (void) state;
    for (int removed = 0; removed < 2; removed++) {
        struct counted c;
        struct lm_record old = animal_of("OLD", 7, "0101");
        const struct lm_record book[] = {animal_of("NEW", 7, "0101")};
        const struct lm_event events[] = {call_at(0, "0101", (struct lm_eid){0})};
        struct lm_roll *roll = lm_roll_new();
        old.devices[0].gone = removed;
        begin(&c, book, 1);
        put(roll, old);
        session(&c, roll, events, 1);
        ends(&c, removed ? "entry-taken-back OLD;not-covered NEW;" : "unread NEW;");
    }
}

/* Read by its code once, it is not unread; known by its number only, it is if it wears a code. */
static void read_or_only_called(void **state)
{
    (void) state;
    struct lm_record two = gone("A", 7, "0101");
    two.n_devices = 2;
    snprintf(two.devices[1].visual, sizeof two.devices[1].visual, "0102");
    struct {
        struct lm_record rec;
        bool read; /* in a second session */
        const char *story;
    } rows[] = {
        {animal_of("A", 7, "0101"), false, "unread A;"},
        {animal_of("A", 7, "0101"), true, "double A*;"},
        {animal_of("A", 0, "0101"), false, ""}, /* it wears none */
        {gone("A", 7, "0101"), false, ""},      /* nor any more */
        {two, false, ""},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct counted c;
        const struct lm_event called[] = {call_at(0, "0101", (struct lm_eid){0})};
        const struct lm_event read[] = {reading_at(0, "1", eid_of(7))};
        begin(&c, &rows[i].rec, 1);
        struct lm_roll *roll = lm_roll_new();
        put(roll, rows[i].rec);
        session(&c, roll, called, 1);
        if (rows[i].read) {
            roll = lm_roll_new();
            put(roll, rows[i].rec);
            session(&c, roll, read, 1);
        }
        ends(&c, rows[i].story);
    }
}

/* Codes and numbers that two have, a number called for another's code: once for all sessions. */
static void what_contradicts(void **state)
{
    (void) state;
    struct counted c;
    const struct lm_record book[] = {animal_of("A", 7, "0101"), animal_of("B", 7, "0102"),
        animal_of("C", 3, "0103"), animal_of("D", 4, "0103")};
    const struct lm_event events[] = {reading_at(0, "1", eid_of(7)),
        reading_at(50000, "1", eid_of(7)), reading_at(100000, "1", eid_of(3)),
        reading_at(150000, "1", eid_of(4)), call_at(150100, "0999", eid_of(4))};
    begin(&c, book, 4);
    for (int i = 0; i < 2; i++) {
        struct lm_roll *roll = lm_roll_new();
        for (int k = 0; k < 4; k++)
            put(roll, book[k]);
        session(&c, roll, events, i ? 4 : 5);
    }
    ends(&c, "contradiction A/B999000000000007*;contradiction C/D0103*;contradiction D0999;"
             "double A*;double B*;double C*;double D*;");
    assert_true(lm_count_flagged(&c.f));
}

/* Flagged by what stands in a list, by heads that are too few, or by heads of nobody. */
static void what_flags(void **state)
{
    (void) state;
    struct lm_count_figures f = {0};
    assert_false(lm_count_flagged(&f));
    f.unidentified = 2; /* no session has heads: a sum of nothing */
    assert_false(lm_count_flagged(&f));
    f.has_heads = true;
    assert_true(lm_count_flagged(&f));
    f.unidentified = 0;
    assert_false(lm_count_flagged(&f));
    f.heads_short = true;
    assert_true(lm_count_flagged(&f));
    for (enum lm_count_kind kind = 0; kind < LM_COUNT_KINDS; kind++) {
        f = (struct lm_count_figures){0};
        f.counts[kind] = 1;
        assert_int_equal(lm_count_flagged(&f), kind <= LM_COUNT_NOT_COVERED);
    }
    assert_string_equal(lm_count_kind_name(LM_COUNT_KINDS), "");
}

/* Nothing was counted yet. */
static void no_session(void **state)
{
    (void) state;
    struct counted c;
    begin(&c, NULL, 0);
    ends(&c, "");
    assert_false(c.f.has_heads);
    assert_false(lm_count_flagged(&c.f));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_number_entered_since),
        cmocka_unit_test(a_code_entered_since),
        cmocka_unit_test(seen_before_it_was_entered),
        cmocka_unit_test(an_entry_that_went),
        cmocka_unit_test(read_or_only_called),
        cmocka_unit_test(what_contradicts),
        cmocka_unit_test(what_flags),
        cmocka_unit_test(no_session),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
