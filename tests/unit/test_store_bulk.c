/* Filling an empty register at once gives what filling it one by one gives. */
#include "store_help.h"

#define ANIMALS 300u

struct sums {
    uint64_t n, hash;
};

static enum lm_err add_event(const struct lm_event *ev, void *ctx)
{
    struct sums *s = ctx;
    s->n++;
    s->hash = s->hash * 31 + (uint64_t) ev->seq * 7 + (uint64_t) ev->t_ms +
              (uint64_t) ev->record->key[1] + ev->record->n_devices;
    return LM_OK;
}

static int indexes(struct lm_store *s)
{
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT count(*) FROM sqlite_schema WHERE type='index'");
    assert_int_equal(sqlite3_step(st), SQLITE_ROW);
    int n = sqlite3_column_int(st, 0);
    sqlite3_finalize(st);
    return n;
}

static void is_sound(struct lm_store *s)
{
    assert_int_equal(lm_store_verify(s, NULL, NULL), LM_OK);
}

static enum lm_err put(struct lm_store *s, unsigned i, uint64_t national)
{
    char key[16], visual[16];
    snprintf(key, sizeof key, "A%u", i);
    snprintf(visual, sizeof visual, "%04u", i % 50);
    struct lm_record rec = animal(key, national, visual);
    int64_t seq = 0;
    enum lm_err err = lm_store_put(s, &rec, T0, "import", &seq);
    assert_int_equal(seq != 0, err == LM_OK);
    return err;
}

/* Which events belong together, in one number. */
static uint64_t parts(struct lm_store *s)
{
    sqlite3_stmt *st =
        lm_store_prepare(s, "SELECT sum((coalesce(part_of, 0) + 1) * seq) FROM event");
    assert_int_equal(sqlite3_step(st), SQLITE_ROW);
    uint64_t n = (uint64_t) sqlite3_column_int64(st, 0);
    sqlite3_finalize(st);
    return n;
}

/* @p again: an animal whose code is there already, somewhere in between; 0 for none. */
static struct sums filled(struct lm_store *s, bool bulk, bool one, unsigned again)
{
    struct sums sums = {0};
    int before = indexes(s);
    assert_int_equal(bulk ? lm_store_begin_bulk(s) : lm_store_begin(s), LM_OK);
    assert_int_equal(s->bulk != NULL, bulk);
    if (one)
        lm_store_one_change(s);
    for (unsigned i = 1; i <= ANIMALS; i++) {
        bool twice = i == again;
        assert_int_equal(put(s, i, twice ? 1 : i), twice ? LM_EEXISTS : LM_OK);
        if (twice)
            assert_non_null(strstr(lm_store_problem(s)->what, "worn by animal A1 already"));
    }
    assert_int_equal(lm_store_commit(s), LM_OK);
    assert_null(s->bulk);
    assert_int_equal(indexes(s), before);
    is_sound(s);
    assert_int_equal(lm_store_changes(s, 0, add_event, &sums), LM_OK);
    sums.hash ^= parts(s);
    return sums;
}

static void the_same_either_way(void **state)
{
    (void) state;
    for (unsigned k = 0; k < 4; k++) {
        struct help *a = NULL, *b = NULL;
        unsigned again = k >= 2 ? ANIMALS / 2 : 0;
        help_setup((void **) &a);
        help_setup((void **) &b);
        struct sums one = filled(a->s, false, k % 2 != 0, again);
        struct sums all = filled(b->s, true, k % 2 != 0, again);
        assert_int_equal(one.n, ANIMALS - (again != 0));
        assert_int_equal(all.n, one.n);
        assert_int_equal(all.hash, one.hash);
        help_reopen(b);
        is_sound(b->s);
        help_teardown((void **) &a);
        help_teardown((void **) &b);
    }
}

static void rolled_back_nothing_is_left(void **state)
{
    struct help *h = *state;
    int before = indexes(h->s);
    assert_int_equal(lm_store_begin_bulk(h->s), LM_OK);
    assert_int_equal(put(h->s, 1, 1), LM_OK);
    lm_store_rollback(h->s);
    assert_int_equal(indexes(h->s), before);
    assert_int_equal(lm_store_animals(h->s), 0);
    is_sound(h->s);
    assert_int_equal(put(h->s, 1, 1), LM_OK);
}

static void closed_in_the_middle(void **state)
{
    struct help *h = *state;
    int before = indexes(h->s);
    assert_int_equal(lm_store_begin_bulk(h->s), LM_OK);
    assert_int_equal(put(h->s, 1, 1), LM_OK);
    help_reopen(h);
    assert_int_equal(indexes(h->s), before);
    assert_int_equal(lm_store_animals(h->s), 0);
}

static void not_in_a_register_that_has_animals(void **state)
{
    struct help *h = *state;
    assert_int_equal(put(h->s, 1, 1), LM_OK);
    assert_int_equal(lm_store_begin_bulk(h->s), LM_OK);
    assert_null(h->s->bulk);
    assert_int_equal(put(h->s, 2, 2), LM_OK);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
}

static void beside_another_who_has_it_open(void **state)
{
    struct help *h = *state;
    struct lm_store *other = must_open(h->path, LM_STORE_WRITE);
    assert_int_equal(lm_store_animals(other), 0);
    struct sums all = filled(h->s, true, true, 0);
    assert_int_equal(all.n, ANIMALS);
    assert_int_equal(lm_store_animals(other), ANIMALS);
    is_sound(other);
    lm_store_close(other);
}

static void an_event_in_between_keeps_its_place(void **state)
{
    struct help *h = *state;
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = T0, .open = &open};
    int64_t session = 0, seq = 0;
    assert_int_equal(lm_store_begin_bulk(h->s), LM_OK);
    assert_int_equal(put(h->s, 1, 1), LM_OK);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, &seq), LM_OK);
    assert_int_equal(seq, 2);
    assert_int_equal(put(h->s, 2, 2), LM_OK);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    assert_int_equal(lm_store_last_seq(h->s), 3);
    is_sound(h->s);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_either_way),
        TEST(rolled_back_nothing_is_left),
        TEST(closed_in_the_middle),
        TEST(not_in_a_register_that_has_animals),
        TEST(beside_another_who_has_it_open),
        TEST(an_event_in_between_keeps_its_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
