/* Changes of several animals, taking changes back, entries that count no more, links of devices. */
#include "store_help.h"

/* The whole register as text; animals in the order of their rows. Ownership: the caller. */
struct dump {
    FILE *out;
};

static enum lm_err dump_one(const struct lm_record *rec, long line, void *ctx)
{
    struct dump *d = ctx;
    (void) line;
    return lm_regcsv_write(d->out, rec);
}

static char *dump_at(struct lm_store *s, int64_t seq)
{
    char *text = NULL;
    size_t size;
    struct dump d = {open_memstream(&text, &size)};
    enum lm_err err =
        seq != 0 ? lm_store_each_at(s, seq, dump_one, &d) : lm_store_each(s, dump_one, &d);
    assert_int_equal(err, LM_OK);
    fclose(d.out);
    return text;
}

static void undo_ok(struct lm_store *s)
{
    if (lm_store_undo(s, T0, "taken back", NULL) != LM_OK)
        fail_msg("undo: %s", lm_store_problem(s)->what);
}

static void change_ok(struct lm_store *s, const struct lm_record *a, const struct lm_record *b)
{
    const struct lm_record *both[] = {a, b};
    if (lm_store_change(s, both, 2, T0, "both", NULL) != LM_OK)
        fail_msg("change: %s", lm_store_problem(s)->what);
}

static void test_a_device_goes_over(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), b = animal("B", 2, "2"), got;
    put_ok(h->s, &a);
    put_ok(h->s, &b);
    char *before = dump_at(h->s, 0);
    int64_t seq = lm_store_last_seq(h->s) + 1;
    get_ok(h->s, "A", &a);
    get_ok(h->s, "B", &b);
    a.devices[a.n_devices++] = b.devices[0];
    b.n_devices = 0;
    b.struck = true;
    snprintf(b.merged_into, sizeof b.merged_into, "A");
    change_ok(h->s, &b, &a);
    get_ok(h->s, "A", &got);
    record_is(&got, &a);
    assert_int_equal(lm_store_get(h->s, "B", &got), LM_ENOTFOUND);
    says(lm_store_problem(h->s), "merged into A");
    assert_int_equal(lm_store_animals(h->s), 1);
    sound(h->path);
    char *then = dump_at(h->s, seq);
    assert_string_equal(then, before);
    undo_ok(h->s);
    char *after = dump_at(h->s, 0);
    assert_string_equal(after, before);
    sound(h->path);
    free(before);
    free(then);
    free(after);
}

static void test_no_device_may_vanish(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), b = animal("B", 2, "2");
    put_ok(h->s, &a);
    put_ok(h->s, &b);
    char *before = dump_at(h->s, 0);
    int64_t seq = lm_store_last_seq(h->s);
    get_ok(h->s, "A", &a);
    get_ok(h->s, "B", &b);
    a.n_devices = 0;
    const struct lm_record *both[] = {&a, &b};
    assert_int_equal(lm_store_change(h->s, both, 2, T0, "", NULL), LM_EARG);
    says(lm_store_problem(h->s), "is missing");
    char *after = dump_at(h->s, 0);
    assert_string_equal(after, before);
    assert_int_equal(lm_store_last_seq(h->s), seq);
    free(before);
    free(after);
}

static enum lm_err count(const struct lm_event *ev, const char *why, void *ctx)
{
    unsigned *n = ctx;
    (void) ev;
    (void) why;
    (*n)++;
    return LM_OK;
}

static void test_an_entry_that_was_taken_back_may_come_again(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), got;
    struct lm_store_last last;
    unsigned n = 0;
    assert_int_equal(lm_store_undo(h->s, T0, "", &last), LM_ENOTFOUND);
    put_ok(h->s, &a);
    undo_ok(h->s);
    assert_int_equal(lm_store_get(h->s, "A", &got), LM_ENOTFOUND);
    says(lm_store_problem(h->s), "taken back");
    assert_int_equal(lm_store_animals(h->s), 0);
    assert_int_equal(lm_store_undo(h->s, T0, "", &last), LM_ENOTFOUND);
    put_ok(h->s, &a);
    get_ok(h->s, "A", &got);
    record_is(&got, &a);
    assert_int_equal(lm_store_history(h->s, "A", count, &n), LM_OK);
    assert_int_equal(n, 3);
    sound(h->path);
    undo_ok(h->s);
    assert_int_equal(lm_store_animals(h->s), 0);
    sound(h->path);
}

static void test_one_transaction_one_change(void **state)
{
    struct help *h = *state;
    struct lm_store_last last;
    fill(h->s, 0, 3);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    lm_store_one_change(h->s);
    fill(h->s, 3, 40);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    fill(h->s, 43, 1);
    assert_int_equal(lm_store_last_change(h->s, &last, NULL, NULL), LM_OK);
    assert_int_equal(last.animals, 1);
    undo_ok(h->s);
    assert_int_equal(lm_store_undo(h->s, T0, "", &last), LM_OK);
    assert_int_equal(last.animals, 40);
    assert_int_equal(lm_store_animals(h->s), 3);
    sound(h->path);
}

/* As an import does that takes a code off one animal, gives it to the next, and comes back. */
static void test_an_animal_changed_twice_in_one_change(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), b = animal("B", 2, "2");
    struct lm_store_last last;
    put_ok(h->s, &a);
    put_ok(h->s, &b);
    char *before = dump_at(h->s, 0);
    int64_t seq = lm_store_last_seq(h->s) + 1;
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    lm_store_one_change(h->s);
    get_ok(h->s, "A", &a);
    a.devices[0].gone = true;
    put_ok(h->s, &a);
    get_ok(h->s, "B", &b);
    b.devices[0].gone = true;
    b.devices[b.n_devices] = (struct lm_device){.eid = code(1)};
    b.devices[b.n_devices++].replaces = 1;
    put_ok(h->s, &b);
    a.devices[a.n_devices++] = (struct lm_device){.eid = code(2)};
    put_ok(h->s, &a);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    char *now = dump_at(h->s, 0);
    int64_t undone = lm_store_last_seq(h->s) + 1;
    assert_int_equal(lm_store_last_change(h->s, &last, NULL, NULL), LM_OK);
    assert_int_equal(last.animals, 2);
    assert_int_equal(lm_store_undo(h->s, T0, "taken back", &last), LM_OK);
    assert_int_equal(last.animals, 2);
    char *after = dump_at(h->s, 0), *then = dump_at(h->s, seq), *between = dump_at(h->s, undone);
    assert_string_equal(after, before);
    assert_string_equal(then, before);
    assert_string_equal(between, now);
    sound(h->path);
    undo_ok(h->s); /* what was done before it: the entry of B */
    assert_int_equal(lm_store_animals(h->s), 1);
    sound(h->path);
    free(before);
    free(now);
    free(after);
    free(then);
    free(between);
}

static void test_a_code_taken_meanwhile_stops_it(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), b = animal("B", 1, "2"), got;
    put_ok(h->s, &a);
    get_ok(h->s, "A", &a);
    a.devices[0].gone = true;
    put_ok(h->s, &a);
    /* As another laptop's entry would come in: not the last change, and yet there. */
    put_ok(h->s, &b);
    assert_int_equal(
        sql_of(h->path, "UPDATE event SET undoes = -1 WHERE seq = (SELECT max(seq) FROM event)"),
        SQLITE_OK);
    assert_int_equal(lm_store_undo(h->s, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "worn by animal B");
    get_ok(h->s, "A", &got);
    assert_true(got.devices[0].gone);
}

static void test_links_survive_any_order(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A", 1, "1"), got, file;
    put_ok(h->s, &a);
    get_ok(h->s, "A", &a);
    a.devices[0].gone = true;
    a.devices[1] = animal("A", 2, "1").devices[0];
    a.devices[1].replaces = 1;
    a.n_devices = 2;
    put_ok(h->s, &a);
    get_ok(h->s, "A", &got);
    record_is(&got, &a);
    /* from a file, in another order and without the link: the register keeps what it knows */
    file = a;
    file.devices[0] = a.devices[1];
    file.devices[1] = a.devices[0];
    file.devices[0].id = file.devices[1].id = 0;
    file.devices[0].replaces = 0;
    int64_t seq = lm_store_last_seq(h->s);
    put_ok(h->s, &file);
    assert_int_equal(lm_store_last_seq(h->s), seq);
    get_ok(h->s, "A", &got);
    record_is(&got, &a);
    /* and with another link: that is a change */
    file.devices[1].replaces = 1;
    put_ok(h->s, &file);
    get_ok(h->s, "A", &got);
    assert_int_equal(got.devices[0].replaces, 2);
    got.devices[1].replaces = 2;
    assert_int_equal(lm_store_put(h->s, &got, T0, "", NULL), LM_EARG);
    sound(h->path);
}

static unsigned next_random(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed >> 16;
}

/* One change of any kind; false when it was none. */
static bool any_change(struct lm_store *s, unsigned *seed, uint64_t *code_no)
{
    char key[8];
    struct lm_record a, b;
    int64_t before = lm_store_last_seq(s);
    snprintf(key, sizeof key, "K%u", next_random(seed) % 6);
    if (lm_store_get(s, key, &a) != LM_OK) {
        a = animal(key, ++*code_no, "n");
        put_ok(s, &a);
        return true;
    }
    snprintf(key, sizeof key, "K%u", next_random(seed) % 6);
    unsigned what = next_random(seed) % 5;
    bool two = strcmp(key, a.key) != 0 && lm_store_get(s, key, &b) == LM_OK;
    if (what == 0 && a.n_devices + 1 < (int) LM_DEVICES_MAX) {
        a.devices[a.n_devices] = animal("x", ++*code_no, "n").devices[0];
        a.devices[a.n_devices].replaces = a.n_devices;
        a.n_devices++;
        put_ok(s, &a);
    } else if (what == 1 && a.n_devices > 0) {
        a.devices[next_random(seed) % a.n_devices].gone = next_random(seed) % 2;
        put_ok(s, &a);
    } else if (what == 2 && two && a.n_devices + b.n_devices < (int) LM_DEVICES_MAX) {
        for (unsigned i = 0; i < b.n_devices; i++) {
            struct lm_device *d = &a.devices[a.n_devices + i];
            *d = b.devices[i];
            d->replaces = (uint8_t) (d->replaces != 0 ? d->replaces + a.n_devices : 0);
        }
        a.n_devices = (uint8_t) (a.n_devices + b.n_devices);
        b.n_devices = 0;
        b.struck = true;
        change_ok(s, &b, &a);
    } else if (what == 3 && two && a.n_devices > 0 && b.n_devices > 0) {
        struct lm_device d = a.devices[0];
        a.devices[0] = b.devices[0];
        b.devices[0] = d;
        for (unsigned i = 0; i < a.n_devices; i++)
            a.devices[i].replaces = 0;
        for (unsigned i = 0; i < b.n_devices; i++)
            b.devices[i].replaces = 0;
        change_ok(s, &a, &b);
    } else {
        snprintf(a.mob, sizeof a.mob, "m%u", next_random(seed) % 9);
        put_ok(s, &a);
    }
    return lm_store_last_seq(s) != before;
}

/* Whatever was done: back through every state there was, and the past reads as it was. */
static void test_any_history_goes_back(void **state)
{
    enum { STEPS = 60 };
    struct help *h = *state;
    char *states[STEPS + 1];
    int64_t seqs[STEPS + 1];
    uint64_t code_no = 0;
    unsigned seed = 2026;
    for (int round = 0; round < 8; round++) {
        int n = 0;
        states[0] = dump_at(h->s, 0);
        seqs[0] = lm_store_last_seq(h->s) + 1;
        while (n < STEPS)
            if (any_change(h->s, &seed, &code_no)) {
                n++;
                states[n] = dump_at(h->s, 0);
                seqs[n] = lm_store_last_seq(h->s) + 1;
            }
        int back = (int) (next_random(&seed) % STEPS);
        for (int i = 1; i <= back; i++) {
            undo_ok(h->s);
            char *now = dump_at(h->s, 0);
            assert_string_equal(now, states[n - i]);
            free(now);
        }
        for (int i = 0; i <= n; i++) {
            char *then = dump_at(h->s, seqs[i]);
            assert_string_equal(then, states[i]);
            free(then);
            free(states[i]);
        }
        sound(h->path);
    }
}

/* A real file of the version before: its entries are all there, and its changes can be taken back.
 */
static void test_from_the_version_before(void **state)
{
    struct help *h = *state;
    const struct lm_schema old = {lm_store_schema.steps, 2};
    struct lm_store *s = NULL;
    struct lm_problem p;
    struct lm_record got;
    char path[160];
    snprintf(path, sizeof path, "%s/old.db", h->dir);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_CREATE, &old, &s, &p), LM_OK);
    lm_store_close(s);
    assert_int_equal(
        sql_of(path, "INSERT INTO animal(id, key, species, breed, sex, castrated, born, dam, sire, "
                     "status, status_date) VALUES(1, 'A', 'goat', '', 1, 0, '2024', '', '', 0, '');"
                     "INSERT INTO device(id, animal_id, form, place, colour, official, bits, known,"
                     "retag, visual, visual_fold, uid, applied, removed, gone, why) "
                     "VALUES(1, 1, 1, 1, '', 0, 0, 0, 0, '7', '7', '', '', '', 0, '');"
                     "INSERT INTO event(seq, kind, t_ms, animal_id) VALUES(1, 6, 5, 1);"),
        SQLITE_OK);
    s = must_open(path, LM_STORE_WRITE);
    get_ok(s, "A", &got);
    assert_int_equal(got.n_devices, 1);
    assert_false(got.struck);
    snprintf(got.mob, sizeof got.mob, "m");
    put_ok(s, &got);
    undo_ok(s);
    get_ok(s, "A", &got);
    text_is(got.mob, "", "mob");
    undo_ok(s);
    assert_int_equal(lm_store_animals(s), 0);
    lm_store_close(s);
    sound(path);
}

static void test_verify_sees_a_broken_link(void **state)
{
    struct help *h = *state;
    fill(h->s, 0, 2);
    assert_int_equal(lm_store_verify(h->s, tell, NULL), LM_OK);
    assert_int_equal(sql_of(h->path, "UPDATE device SET replaces = 2 WHERE id = 1"), SQLITE_OK);
    assert_int_equal(lm_store_verify(h->s, tell, NULL), LM_EINPUT);
    assert_int_equal(sql_of(h->path, "UPDATE device SET replaces = NULL"), SQLITE_OK);
    assert_int_equal(sql_of(h->path, "UPDATE animal SET struck = 1 WHERE id = 1"), SQLITE_OK);
    assert_int_equal(lm_store_verify(h->s, tell, NULL), LM_EINPUT);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_a_device_goes_over),
        WITH(test_no_device_may_vanish),
        WITH(test_an_entry_that_was_taken_back_may_come_again),
        WITH(test_one_transaction_one_change),
        WITH(test_an_animal_changed_twice_in_one_change),
        WITH(test_a_code_taken_meanwhile_stops_it),
        WITH(test_links_survive_any_order),
        WITH(test_any_history_goes_back),
        WITH(test_from_the_version_before),
        WITH(test_verify_sees_a_broken_link),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
