/* Parts of numbers among many animals: the table of parts must find whom the whole search finds. */
#include "store_help.h"

#define MANY 20200u

struct hits {
    char keys[400][LM_NAME_MAX + 1];
    unsigned n;
};

static enum lm_err note(const struct lm_record *rec, long line, void *ctx)
{
    struct hits *hits = ctx;
    (void) line;
    assert_true(hits->n < 400);
    snprintf(hits->keys[hits->n++], LM_NAME_MAX + 1, "%s", rec->key);
    return LM_OK;
}

static void sql(struct help *h, const char *text)
{
    assert_int_equal(sqlite3_exec(h->s->db, text, NULL, NULL, NULL), SQLITE_OK);
}

static long count(struct help *h, const char *text)
{
    sqlite3_stmt *st = NULL;
    assert_int_equal(sqlite3_prepare_v2(h->s->db, text, -1, &st, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(st), SQLITE_ROW);
    long n = (long) sqlite3_column_int64(st, 0);
    sqlite3_finalize(st);
    return n;
}

static struct lm_record numbered(unsigned i)
{
    struct lm_record rec = {.n_devices = 1};
    snprintf(rec.key, sizeof rec.key, "A-%u", i);
    snprintf(rec.breed, sizeof rec.breed, "%s", i % 500 == 3 ? "Snow white" : "Grey");
    snprintf(rec.mob, sizeof rec.mob, "%s", i == 77 ? "hill 418" : "does");
    rec.devices[0].eid = code(i * 977 + 1);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "%05u", i * 3);
    if (i % 1000 == 9)
        snprintf(rec.devices[0].uid, sizeof rec.devices[0].uid, "04A1B2%08X", i);
    return rec;
}

static void fill_large(struct help *h)
{
    assert_int_equal(lm_store_begin_bulk(h->s), LM_OK);
    lm_store_one_change(h->s);
    for (unsigned i = 0; i < MANY; i++) {
        struct lm_record rec = numbered(i);
        assert_int_equal(lm_store_put(h->s, &rec, T0, "import", NULL), LM_OK);
    }
    assert_int_equal(lm_store_commit(h->s), LM_OK);
}

static const char *const texts[] = {"12345", "2345", "a-1234", "A1234", "5-99", "0420", "999000000",
    "19540001", "snow", "white", "hill", "418", "A1B2", "uid:04A1B200000009", "nobody", "04 20",
    "99 9", "A-77", "-77", "B-9", "98765", "4242", "%34", "_", "7", "999 000000977001"};

/* The same with the table and without it. */
static void same_with_and_without(struct help *h)
{
    struct hits *with = calloc(1, sizeof *with), *without = calloc(1, sizeof *without);
    assert_true(with != NULL && without != NULL);
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        with->n = without->n = 0;
        assert_int_equal(lm_store_find(h->s, texts[i], 400, note, with), LM_OK);
        assert_int_equal(lm_store_begin(h->s), LM_OK);
        sql(h, "DELETE FROM part");
        assert_int_equal(lm_store_find(h->s, texts[i], 400, note, without), LM_OK);
        lm_store_rollback(h->s);
        if (with->n != without->n)
            fail_msg("\"%s\": %u with the table, %u without", texts[i], with->n, without->n);
        for (unsigned k = 0; k < with->n; k++)
            assert_string_equal(with->keys[k], without->keys[k]);
    }
    free(with);
    free(without);
}

static unsigned found(struct help *h, const char *text)
{
    struct hits *hits = calloc(1, sizeof *hits);
    assert_non_null(hits);
    assert_int_equal(lm_store_find(h->s, text, 400, note, hits), LM_OK);
    unsigned n = hits->n;
    free(hits);
    return n;
}

static void the_table_finds_whom_the_search_finds(void **state)
{
    struct help *h = *state;
    fill_large(h);
    assert_true(count(h, "SELECT count(*) FROM part") > 1000);
    same_with_and_without(h);
    /* What is written later is found too, and what was there before no more. */
    assert_int_equal(found(h, "98765"), 0);
    struct lm_record rec;
    get_ok(h->s, "A-4321", &rec);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "98765");
    put_ok(h->s, &rec);
    rec = (struct lm_record){.key = "B-9", .breed = "Snow white", .n_devices = 1};
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "x98765");
    put_ok(h->s, &rec);
    get_ok(h->s, "A-5", &rec);
    rec.devices[rec.n_devices++].eid = code(98765000042);
    put_ok(h->s, &rec);
    assert_int_equal(found(h, "98765"), 3);
    assert_int_equal(count(h, "SELECT count(*) FROM part_stale"), 3);
    same_with_and_without(h);
    help_reopen(h);
    same_with_and_without(h);
}

/* A file from outside may hold anything. */
static void a_damaged_table_harms_nobody(void **state)
{
    struct help *h = *state;
    fill_large(h);
    sql(h, "UPDATE part SET rows = randomblob(length(rows))");
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct hits *hits = calloc(1, sizeof *hits);
        assert_non_null(hits);
        assert_int_equal(lm_store_find(h->s, texts[i], 400, note, hits), LM_OK);
        free(hits);
    }
    sql(h, "UPDATE part SET rows = x'FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF'");
    assert_int_equal(found(h, "2345"), 0);
    assert_int_equal(found(h, "A-12"), 1); /* exact names need no table */
}

static void a_small_register_has_none(void **state)
{
    struct help *h = *state;
    struct lm_record rec = numbered(12);
    put_ok(h->s, &rec);
    assert_int_equal(count(h, "SELECT count(*) FROM part"), 0);
    assert_int_equal(count(h, "SELECT count(*) FROM part_stale"), 0);
    assert_int_equal(found(h, "0003"), 1);
}

static void told(void *ctx)
{
    (void) ctx;
    fail_msg("so few animals take no second");
}

/* As a register is that an older version filled. */
static void one_that_has_none_gets_it(void **state)
{
    struct help *h = *state;
    fill_large(h);
    long parts = count(h, "SELECT count(*) FROM part");
    sql(h, "DELETE FROM part; DELETE FROM part_stale");
    sql(h, "INSERT INTO session(name, kind, mob, lot, count, who, open_seq) "
           "VALUES('1', 0, '', '', '', '', 1)");
    assert_int_equal(lm_store_tend(h->s, told, NULL), LM_OK);
    assert_int_equal(count(h, "SELECT count(*) FROM part"), 0); /* its readings would wait */
    sql(h, "UPDATE session SET close_seq = 2");
    assert_int_equal(lm_store_tend(h->s, told, NULL), LM_OK);
    assert_int_equal(count(h, "SELECT count(*) FROM part"), parts);
    same_with_and_without(h);
    sql(h, "DELETE FROM part; DELETE FROM device; DELETE FROM event; DELETE FROM animal "
           "WHERE id > 19999");
    assert_int_equal(lm_store_tend(h->s, told, NULL), LM_OK);
    assert_int_equal(count(h, "SELECT count(*) FROM part"), 0); /* few are quickly looked at */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            the_table_finds_whom_the_search_finds, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(a_damaged_table_harms_nobody, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(a_small_register_has_none, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(one_that_has_none_gets_it, help_setup, help_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
