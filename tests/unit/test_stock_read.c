/* Reading supply lists: what is taken, in which order, and every way to be refused. */
#include "store_help.h"

#include "lugmark/stock.h"

#define HEAD "strip,position,eid,visual,form,colour,official,received\n"
#define KEPT 64

struct got {
    struct lm_stock_item items[KEPT];
    long lines[KEPT];
    unsigned n, n_problems, n_notes;
    struct lm_problem problems[KEPT], notes[KEPT];
    enum lm_err err;
};

static enum lm_err keep(const struct lm_stock_item *item, long line, void *ctx)
{
    struct got *g = ctx;
    assert_true(g->n < KEPT);
    g->lines[g->n] = line;
    g->items[g->n++] = *item;
    return LM_OK;
}

static void problem(const struct lm_problem *p, void *ctx)
{
    struct got *g = ctx;
    assert_true(g->n_problems < KEPT);
    g->problems[g->n_problems++] = *p;
}

static void note(const struct lm_problem *p, void *ctx)
{
    struct got *g = ctx;
    assert_true(g->n_notes < KEPT);
    g->notes[g->n_notes++] = *p;
}

static void read_list(struct got *g, const char *text, bool lenient)
{
    struct lm_stock_hooks hooks = {
        .item = keep, .problem = problem, .note = note, .ctx = g, .lenient = lenient};
    FILE *in = tmpfile();
    memset(g, 0, sizeof *g);
    assert_non_null(in);
    assert_int_equal(fwrite(text, 1, strlen(text), in), strlen(text));
    rewind(in);
    g->err = lm_stock_read(in, "supply.csv", &hooks);
    fclose(in);
}

static void test_every_field(void **state)
{
    static struct got g;
    (void) state;
    read_list(&g,
        HEAD "S1,1,999000000000001,0001,flag tag,yellow,yes,2026-02-03\r\n"
             "S1,2,0x8000F9C000000002,0002,flag tag,yellow,no,2026-02\r\n"
             "S1,3,,0003,,,,\r\n",
        false);
    assert_int_equal(g.err, LM_OK);
    assert_int_equal(g.n, 3);
    const struct lm_stock_item *i = g.items;
    text_is(i[0].strip, "S1", "strip");
    assert_int_equal(i[0].position, 1);
    assert_int_equal(lm_eid_key(i[0].eid), lm_eid_key(code(1)));
    assert_int_equal(i[0].eid.known, LM_EID_CODE);
    text_is(i[0].visual, "0001", "visual");
    text_is(i[0].colour, "yellow", "colour");
    assert_int_equal(i[0].form, LM_FLAG_TAG);
    assert_true(i[0].official);
    assert_int_equal(i[0].received.day, 3);
    assert_int_equal(i[1].eid.known, LM_EID_FULL);
    assert_false(i[1].official);
    assert_int_equal(i[1].received.month, 2);
    assert_int_equal(i[2].eid.known, LM_EID_NONE);
    assert_int_equal(i[2].form, LM_DEVICE_UNKNOWN);
    assert_int_equal(i[2].use, LM_STOCK_LEFT);
    assert_int_equal(g.lines[2], 4);
    assert_int_equal(g.n_notes, 0);
}

/* Columns by name in any order, strips mixed and backwards: given strip by strip, by position. */
static void test_order(void **state)
{
    static struct got g;
    (void) state;
    read_list(&g, "visual;position;strip\n12;12;B\n1;1;A\n11;11;B\n3;3;A\n2;2;A\n", false);
    assert_int_equal(g.err, LM_OK);
    static const struct {
        const char *strip;
        uint32_t position;
        long line;
    } want[] = {{"B", 11, 4}, {"B", 12, 2}, {"A", 1, 3}, {"A", 2, 6}, {"A", 3, 5}};
    assert_int_equal(g.n, 5);
    for (unsigned i = 0; i < 5; i++) {
        text_is(g.items[i].strip, want[i].strip, "strip");
        assert_int_equal(g.items[i].position, want[i].position);
        assert_int_equal(g.lines[i], want[i].line);
    }
}

static void test_refused(void **state)
{
    static struct got g;
    static const struct {
        const char *text;
        long line, column;
        const char *what;
    } rows[] = {
        {"", 1, 0, "empty"},
        {HEAD, 1, 0, "not one device"},
        {"position,eid\n1,999000000000001\n", 1, 0, "no column strip"},
        {"strip,eid\nS,999000000000001\n", 1, 0, "no column position"},
        {"strip,position,colour\nS,1,red\n", 1, 0, "neither a column eid"},
        {"strip,position,eid,breed\nS,1,999000000000001,x\n", 1, 4, "unknown column name breed"},
        {"strip,strip,position,eid\nS,S,1,999000000000001\n", 1, 2, "twice"},
        {HEAD ",1,,0001,,,,\n", 2, 1, "strip: is empty"},
        {HEAD "S,,,0001,,,,\n", 2, 2, "position: is empty"},
        {HEAD "S,0,,0001,,,,\n", 2, 2, "not a place"},
        {HEAD "S,1.5,,0001,,,,\n", 2, 2, "not a place"},
        {HEAD "S,-1,,0001,,,,\n", 2, 2, "not a place"},
        {HEAD "S,9999999999,,0001,,,,\n", 2, 2, "not a place"},
        {HEAD "S,1,,,,,,\n", 2, 0, "neither an electronic code nor"},
        {HEAD "S,1,9.99E+14,0001,,,,\n", 2, 3, "spreadsheet"},
        {HEAD "S,1,99900000000012,0001,,,,\n", 2, 3, ""},
        {HEAD "S,1,999999999999999,0001,,,,\n", 2, 3, ""},
        {HEAD "S,1,,0001,rosette,,,\n", 2, 5, "unknown word"},
        {HEAD "S,1,,0001,,,perhaps,\n", 2, 7, "not a yes or no"},
        {HEAD "S,1,,0001,,,,2026-02-30\n", 2, 8, "not a date"},
        {HEAD "S,1,,0001,,,\n", 2, 8, "cells"},
        {HEAD "S,1,,\"00\x01\",,,,\n", 2, 4, "clean UTF-8"},
        {HEAD "S,1,,0001,,,,\nS,3,,0003,,,,\n", 3, 2, "gap: 3 follows 1"},
        {HEAD "S,1,,0001,,,,\nS,1,,0002,,,,\n", 3, 2, "position 1 already, on line 2"},
        {HEAD "S,1,999000000000001,,,,,\nT,1,999000000000001,,,,,\n", 3, 3,
            "999000000000001 is there already, on line 2"},
        {HEAD "S,1,,0001,,,,\nS,2,,00-01,,,,\n", 3, 4, "number 00-01 is there already"},
        {HEAD "S,1,,0001,,,,\nT,1,,0001,flag tag,,,\n", 3, 4, "0001 is there already"},
        {HEAD "S,1,,0001,flag tag,,,\nT,1,,0001,flag tag,,,\n", 3, 4, "0001 is there already"},
    };
    (void) state;
    for (unsigned i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        read_list(&g, rows[i].text, false);
        if (g.err != LM_EINPUT || g.n != 0 || g.n_problems != 1 ||
            g.problems[0].line != rows[i].line || g.problems[0].column != rows[i].column ||
            strstr(g.problems[0].what, rows[i].what) == NULL || g.problems[0].mend[0] == '\0')
            fail_msg("row %u: err %d, %u items, %u problems, first %ld:%ld %s", i, g.err, g.n,
                g.n_problems, g.problems[0].line, g.problems[0].column, g.problems[0].what);
        text_is(g.problems[0].file, "supply.csv", "file");
    }
}

/* A set: the same number on two strips of different form is for one animal. */
static void test_set(void **state)
{
    static struct got g;
    (void) state;
    read_list(&g, HEAD "S,1,,0001,flag tag,,,\nT,1,999000000000001,0001,button tag,,,\n", false);
    assert_int_equal(g.err, LM_OK);
    assert_int_equal(g.n, 2);
}

static void test_all_problems_at_once(void **state)
{
    static struct got g;
    (void) state;
    read_list(&g,
        HEAD "S,1,,0001,,,,\nS,x,,0002,,,,\nS,3,bad,0003,,,,\nS,4,,0001,,,,\nS,4,,0005,,,,\n",
        false);
    assert_int_equal(g.err, LM_EINPUT);
    assert_int_equal(g.n, 0);
    assert_int_equal(g.n_problems, 4); /* and no gap: rows 2 and 3 were bad, not absent */
    assert_int_equal(g.problems[0].line, 3);
    assert_int_equal(g.problems[1].line, 4);
}

static void test_notes_and_lenient(void **state)
{
    static struct got g;
    (void) state;
    read_list(&g,
        HEAD "S,1,,0001,,,,\nS,2,,0002,,,,\nS,3,,0009,,,,\nS,4,,0005,,,,\nS,5,,0004,,,,\n"
             "T,1,,B10,,,,\nT,2,,B9,,,,\nT,3,,B8,,,,\n",
        false);
    assert_int_equal(g.err, LM_OK);
    assert_int_equal(g.n, 8);
    assert_int_equal(g.n_notes, 1); /* strip T runs backwards, which is an order */
    assert_int_equal(g.notes[0].line, 5);
    text_is(g.notes[0].file, "supply.csv", "file");
    assert_non_null(strstr(g.notes[0].what, "strip S do not run in order: 0005 follows 0009"));
    read_list(&g, HEAD "S,1,,0001,rosette,,,\n", true);
    assert_int_equal(g.err, LM_OK);
    assert_int_equal(g.items[0].form, LM_DEVICE_UNKNOWN);
}

static enum lm_err stop(const struct lm_stock_item *item, long line, void *ctx)
{
    (void) item;
    (void) line;
    return ++*(int *) ctx == 2 ? LM_EGONE : LM_OK;
}

static void test_stops(void **state)
{
    int n = 0;
    struct lm_stock_hooks hooks = {.item = stop, .ctx = &n};
    FILE *in = tmpfile();
    (void) state;
    fputs(HEAD "S,1,,1,,,,\nS,2,,2,,,,\nS,3,,3,,,,\n", in);
    rewind(in);
    assert_int_equal(lm_stock_read(in, NULL, &hooks), LM_EGONE);
    assert_int_equal(n, 2);
    fclose(in);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_field),
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_set),
        cmocka_unit_test(test_all_problems_at_once),
        cmocka_unit_test(test_notes_and_lenient),
        cmocka_unit_test(test_stops),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
