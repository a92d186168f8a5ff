/* The stock in the register: added whole or not at all, what is used and what is next. */
#include "store_help.h"

#include "lugmark/stock.h"

static struct lm_stock_item item(
    const char *strip, uint32_t position, uint64_t national, const char *visual)
{
    struct lm_stock_item it = {.position = position, .form = LM_FLAG_TAG, .official = true};
    snprintf(it.strip, sizeof it.strip, "%s", strip);
    snprintf(it.visual, sizeof it.visual, "%s", visual);
    if (national != 0)
        it.eid = code(national);
    return it;
}

/* Strip S: codes 11 to 15 with numbers 0001 to 0005. */
static void add_five(struct help *h)
{
    struct lm_stock_item items[5];
    for (unsigned i = 0; i < 5; i++) {
        char number[8];
        snprintf(number, sizeof number, "000%u", i + 1);
        items[i] = item("S", i + 1, 11 + i, number);
    }
    assert_int_equal(lm_store_stock_add(h->s, items, NULL, 5, NULL), LM_OK);
}

static void put(struct help *h, struct lm_record rec)
{
    if (lm_store_put(h->s, &rec, T0, "", NULL) != LM_OK)
        fail_msg("%s", lm_store_problem(h->s)->what);
}

struct all {
    struct lm_stock_item items[32];
    struct lm_stock_strip strips[8];
    unsigned n, n_strips;
};

static enum lm_err keep(const struct lm_stock_item *it, long line, void *ctx)
{
    struct all *a = ctx;
    assert_int_equal(line, 0);
    assert_true(a->n < 32);
    a->items[a->n++] = *it;
    return LM_OK;
}

static enum lm_err keep_strip(const struct lm_stock_strip *s, void *ctx)
{
    struct all *a = ctx;
    assert_true(a->n_strips < 8);
    a->strips[a->n_strips++] = *s;
    return LM_OK;
}

static void test_round_trip(void **state)
{
    struct help *h = *state;
    static struct all all;
    struct lm_stock_item one = item("B", 7, 77, "XK 07"), two = item("A", 1, 0, "9");
    one.eid = code_retag(77, 3);
    one.received = (struct lm_date){2026, 2, 3};
    one.official = false;
    snprintf(one.colour, sizeof one.colour, "yellow");
    memset(&all, 0, sizeof all);
    assert_int_equal(lm_store_stock_add(h->s, &one, NULL, 1, NULL), LM_OK);
    assert_int_equal(lm_store_stock_add(h->s, &two, NULL, 1, NULL), LM_OK);
    help_reopen(h);
    assert_int_equal(lm_store_stock_each(h->s, NULL, keep, &all), LM_OK);
    assert_int_equal(all.n, 2);
    text_is(all.items[0].strip, "B", "strips in order of arrival");
    assert_int_equal(all.items[0].position, 7);
    assert_int_equal(all.items[0].eid.bits, one.eid.bits);
    assert_int_equal(all.items[0].eid.known, LM_EID_FULL);
    text_is(all.items[0].visual, "XK 07", "visual");
    text_is(all.items[0].colour, "yellow", "colour");
    date_is(all.items[0].received, one.received, "received");
    assert_int_equal(all.items[0].form, LM_FLAG_TAG);
    assert_false(all.items[0].official);
    assert_int_equal(all.items[1].eid.known, LM_EID_NONE);
    struct lm_stock_item got;
    assert_int_equal(lm_store_stock_by_code(h->s, code(77), &got), LM_OK);
    assert_int_equal(got.position, 7);
    assert_int_equal(lm_store_stock_by_code(h->s, code(78), &got), LM_ENOTFOUND);
    memset(&all, 0, sizeof all);
    assert_int_equal(lm_store_stock_by_number(h->s, "xk-07", keep, &all), LM_OK);
    assert_int_equal(all.n, 1);
    memset(&all, 0, sizeof all);
    assert_int_equal(lm_store_stock_by_number(h->s, "", keep, &all), LM_OK);
    assert_int_equal(all.n, 0);
    assert_int_equal(lm_store_verify(h->s, NULL, NULL), LM_OK);
}

static void next_is(struct help *h, const char *strip, uint32_t position)
{
    struct lm_stock_item next;
    enum lm_err err = lm_store_stock_next(h->s, strip, &next);
    assert_int_equal(err, position != 0 ? LM_OK : LM_ENOTFOUND);
    assert_int_equal(next.position, position);
}

static void test_use_follows_the_devices(void **state)
{
    struct help *h = *state;
    static struct all all;
    struct lm_record rec;
    add_five(h);
    next_is(h, "S", 1);
    next_is(h, "T", 0);
    put(h, animal("A2", 12, "0002"));
    next_is(h, "S", 3);            /* after the last used one, although 1 is left */
    rec = animal("A3", 0, "0003"); /* tagged, its code not yet noted */
    put(h, rec);
    next_is(h, "S", 4);
    rec = animal("A5", 15, "wrong");
    put(h, rec);
    next_is(h, "S", 1); /* nothing is left after 5: the first left at all */
    rec.devices[0].gone = true;
    put(h, rec);
    memset(&all, 0, sizeof all);
    assert_int_equal(lm_store_stock_each(h->s, "S", keep, &all), LM_OK);
    static const uint8_t use[] = {
        LM_STOCK_LEFT, LM_STOCK_WORN, LM_STOCK_WORN, LM_STOCK_LEFT, LM_STOCK_GONE};
    static const char *const who[] = {"", "A2", "A3", "", "A5"};
    for (unsigned i = 0; i < 5; i++) {
        assert_int_equal(all.items[i].use, use[i]);
        text_is(all.items[i].animal, who[i], "animal");
    }
    assert_int_equal(lm_store_stock_strips(h->s, keep_strip, &all), LM_OK);
    assert_int_equal(all.n_strips, 1);
    assert_int_equal(all.strips[0].items, 5);
    assert_int_equal(all.strips[0].left, 2);
    assert_int_equal(all.strips[0].worn, 2);
    assert_int_equal(all.strips[0].gone, 1);
    assert_int_equal(all.strips[0].next.position, 1);
    put(h, animal("A1", 11, "0001"));
    put(h, animal("A4", 14, "0004"));
    next_is(h, "S", 0);
}

/* A code that is worn again counts as worn, whichever animal was entered last. */
static void test_worn_before_removed(void **state)
{
    struct help *h = *state;
    struct lm_stock_item got;
    struct lm_record rec = animal("A1", 11, "");
    add_five(h);
    put(h, animal("A2", 11, ""));
    rec.devices[0].gone = true;
    put(h, rec);
    assert_int_equal(lm_store_stock_by_code(h->s, code(11), &got), LM_OK);
    assert_int_equal(got.use, LM_STOCK_WORN);
    text_is(got.animal, "A2", "animal");
}

/* A number on a device of another form is the other device of a set, not this one. */
static void test_form_of_a_number(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 0, "0001");
    add_five(h);
    rec.devices[0].form = LM_BUTTON_TAG;
    put(h, rec);
    next_is(h, "S", 1);
    rec = animal("A2", 0, "0002");
    rec.devices[0].form = LM_FLAG_TAG;
    put(h, rec);
    next_is(h, "S", 3);
}

struct told {
    unsigned n;
    struct lm_problem p[8];
};

static void hear(const struct lm_problem *p, void *ctx)
{
    struct told *t = ctx;
    assert_true(t->n < 8);
    t->p[t->n++] = *p;
}

static void test_refused(void **state)
{
    struct help *h = *state;
    add_five(h);
    put(h, animal("A1", 11, "0001"));
    put(h, animal("A8", 98, "0098"));
    const struct {
        struct lm_stock_item it;
        const char *what;
    } rows[] = {
        {item("S", 3, 50, "0050"), "position 3 in the stock already"},
        {item("S", 7, 50, "0050"), "leave a gap, the stock has 1 to 5"},
        {item("T", 1, 12, "0050"), "999000000000012 is in the stock already, on strip S at posi"},
        {item("T", 1, 50, "00-04"), "00-04 is in the stock already, on strip S at position 4"},
        {item("T", 1, 98, "0098"), "999000000000098 / 0098 is on animal A8 already"},
        {item("T", 1, 98, "0097"), "is on animal A8 already, there as 999000000000098 / 0098"},
        {item("T", 1, 97, "0098"), "is on animal A8 already, there as 999000000000098 / 0098"},
    };
    for (unsigned i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct told t = {0};
        long line = 9;
        struct lm_stock_add how = {.name = "s.csv", .problem = hear, .ctx = &t};
        struct lm_stock_item items[2] = {rows[i].it, item("U", 1, 60, "0060")};
        long lines[2] = {line, 10};
        assert_int_equal(lm_store_stock_add(h->s, items, lines, 2, &how), LM_EINPUT);
        if (t.n != 1 || strstr(t.p[0].what, rows[i].what) == NULL)
            fail_msg("row %u: %u problems: %s", i, t.n, t.p[0].what);
        text_is(t.p[0].file, "s.csv", "file");
        assert_int_equal(t.p[0].line, 9);
        text_is(lm_store_problem(h->s)->what, t.p[0].what, "the problem of the handle");
        next_is(h, "U", 0); /* nothing of the list was kept */
    }
}

static void test_used_ones_allowed(void **state)
{
    struct help *h = *state;
    struct lm_stock_add how = {.allow_used = true};
    struct lm_stock_item good = item("T", 1, 98, "0098"), bad = item("T", 2, 99, "0097");
    put(h, animal("A8", 98, "00 98"));
    put(h, animal("A9", 99, "0099"));
    assert_int_equal(lm_store_stock_add(h->s, &good, NULL, 1, NULL), LM_EINPUT);
    assert_int_equal(lm_store_stock_add(h->s, &good, NULL, 1, &how), LM_OK);
    assert_int_equal(lm_store_stock_add(h->s, &bad, NULL, 1, &how), LM_EINPUT);
    struct lm_stock_item got;
    assert_int_equal(lm_store_stock_by_code(h->s, code(98), &got), LM_OK);
    assert_int_equal(got.use, LM_STOCK_WORN);
    text_is(got.animal, "A8", "animal");
}

static void test_goes_on_where_it_ended(void **state)
{
    struct help *h = *state;
    struct lm_stock_item more[2] = {item("S", 7, 0, "0007"), item("S", 6, 0, "0006")};
    add_five(h);
    assert_int_equal(lm_store_stock_add(h->s, more, NULL, 2, NULL), LM_OK);
    struct lm_stock_item none = item("", 1, 1, "1"), nothing = item("S", 8, 0, "");
    assert_int_equal(lm_store_stock_add(h->s, &none, NULL, 1, NULL), LM_EARG);
    assert_int_equal(lm_store_stock_add(h->s, &nothing, NULL, 1, NULL), LM_EARG);
    assert_int_equal(lm_store_verify(h->s, NULL, NULL), LM_OK);
}

/* Without lines, too, strips are told apart. */
static void test_strips_mixed(void **state)
{
    struct help *h = *state;
    static struct all all;
    struct lm_stock_item items[4] = {
        item("S", 3, 0, "3"), item("T", 1, 0, "t1"), item("S", 2, 0, "2"), item("R", 9, 0, "r9")};
    memset(&all, 0, sizeof all);
    assert_int_equal(lm_store_stock_add(h->s, items, NULL, 4, NULL), LM_OK);
    assert_int_equal(lm_store_stock_strips(h->s, keep_strip, &all), LM_OK);
    assert_int_equal(all.n_strips, 3);
    text_is(all.strips[0].first.strip, "S", "strip");
    assert_int_equal(all.strips[0].first.position, 2);
    text_is(all.strips[1].first.strip, "T", "strip");
    text_is(all.strips[2].first.strip, "R", "strip");
}

static void test_joins_a_transaction(void **state)
{
    struct help *h = *state;
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    add_five(h);
    lm_store_rollback(h->s);
    next_is(h, "S", 0);
}

static void spoil(struct help *h, const char *sql)
{
    sqlite3 *db = NULL;
    char *why = NULL;
    assert_int_equal(sqlite3_open(h->path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
        fail_msg("%s: %s", sql, why);
    sqlite3_close(db);
}

static void test_verify(void **state)
{
    struct help *h = *state;
    static const struct {
        const char *spoil, *mend, *what;
    } rows[] = {
        {"UPDATE stock SET eid = 5 WHERE position = 2",
            "UPDATE stock SET eid = bits & 281474976710655", "column it is found by differ"},
        {"UPDATE stock SET visual_fold = 'x' WHERE position = 2",
            "UPDATE stock SET visual_fold = visual", "number 0002 and the column"},
        {"UPDATE stock SET received = 'soon' WHERE position = 2", "UPDATE stock SET received = ''",
            "date that is none"},
        {"UPDATE stock SET colour = char(7) WHERE position = 2", "UPDATE stock SET colour = ''",
            "unclean"},
        {"UPDATE stock SET position = 9 WHERE position = 3",
            "UPDATE stock SET position = 3 WHERE position = 9", "positions have a gap"},
        {"UPDATE setting SET key = 'x' WHERE key = 'id.copy'",
            "UPDATE setting SET key = 'id.copy' WHERE key = 'x'", "identity"},
        {"UPDATE event SET copy_seq = 3 WHERE seq = 1", "UPDATE event SET copy_seq = NULL",
            "half known"},
    };
    add_five(h);
    put(h, animal("A1", 11, "0001"));
    for (unsigned i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct told t = {0};
        spoil(h, rows[i].spoil);
        assert_int_equal(lm_store_verify(h->s, hear, &t), LM_EINPUT);
        if (t.n != 1 || strstr(t.p[0].what, rows[i].what) == NULL)
            fail_msg("row %u: %u problems: %s", i, t.n, t.p[0].what);
        spoil(h, rows[i].mend);
        assert_int_equal(lm_store_verify(h->s, NULL, NULL), LM_OK);
    }
}

#define WITH(test) cmocka_unit_test_setup_teardown(test, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_round_trip),
        WITH(test_use_follows_the_devices),
        WITH(test_worn_before_removed),
        WITH(test_form_of_a_number),
        WITH(test_refused),
        WITH(test_used_ones_allowed),
        WITH(test_goes_on_where_it_ended),
        WITH(test_strips_mixed),
        WITH(test_joins_a_transaction),
        WITH(test_verify),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
