/* Many events at once are kept as they are one by one: the plain way is the oracle. */
#include "store_help.h"

#define BATCHES 60u
#define BATCH_MAX 200u

static unsigned dice(unsigned *seed, unsigned sides)
{
    *seed = *seed * 1103515245u + 12345u;
    return (*seed >> 16) % sides;
}

/* One in `odd` / 7 is no reading without doubt. */
static struct lm_event any_event(unsigned *seed, unsigned odd)
{
    struct lm_event ev = {.kind = LM_EVENT_READING, .clock_ms = dice(seed, 9999)};
    ev.t_ms = T0 + dice(seed, 9999);
    snprintf(ev.lane, sizeof ev.lane, "%.1s", &"12"[dice(seed, 3)]);
    snprintf(ev.reader, sizeof ev.reader, "%.5s", &"r1234567890"[dice(seed, 12)]);
    ev.eid = code(dice(seed, 1000000));
    switch (dice(seed, odd)) {
    case 0:
        ev.kind = LM_EVENT_SIGHTING;
        snprintf(ev.text, sizeof ev.text, "0417");
        break;
    case 1:
        ev.kind = LM_EVENT_HEADS;
        ev.heads = dice(seed, 300);
        break;
    case 2:
        ev.doubt = LM_DOUBT_OUT_OF_RANGE;
        ev.eid = (struct lm_eid){0};
        snprintf(ev.text, sizeof ev.text, "999999999999999");
        break;
    case 3:
        ev.cut = true;
        break;
    case 4:
        ev.doubt = LM_DOUBT_DAMAGED;
        break;
    case 5:
        ev.t_ms = ev.clock_ms = LM_TIME_NONE;
        break;
    case 6:
        snprintf(ev.text, sizeof ev.text, "12-7");
        break;
    default:
        break;
    }
    return ev;
}

/* Mostly of the same turn of the same reader; else one thing differs. */
static void share_turn(struct lm_event *ev, const struct lm_event *before, unsigned *seed)
{
    unsigned differs = dice(seed, 300);
    if (differs != 0)
        ev->t_ms = before->t_ms;
    if (differs != 1)
        ev->clock_ms = before->clock_ms;
    if (differs != 2)
        memcpy(ev->lane, before->lane, sizeof ev->lane);
    if (differs != 3)
        memcpy(ev->reader, before->reader, sizeof ev->reader);
}

static int64_t open_session(struct lm_store *s)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 0, .open = &open};
    int64_t session = 0;
    assert_int_equal(lm_store_append(s, &session, &ev, NULL, NULL), LM_OK);
    return session;
}

/* Every column of every event, as text. */
static char *dump(struct lm_store *s)
{
    size_t size = 0;
    char *text = NULL;
    FILE *out = open_memstream(&text, &size);
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT * FROM event ORDER BY seq");
    while (sqlite3_step(st) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(st); i++) {
            const unsigned char *cell = sqlite3_column_text(st, i);
            fprintf(out, "%d:%s|", sqlite3_column_type(st, i), cell ? (const char *) cell : "");
        }
        fputc('\n', out);
    }
    sqlite3_finalize(st);
    fclose(out);
    return text;
}

static void one_by_one(struct lm_store *s, int64_t session, struct lm_event *evs, size_t n)
{
    assert_int_equal(lm_store_begin(s), LM_OK);
    for (size_t i = 0; i < n; i++)
        assert_int_equal(lm_store_append(s, &session, &evs[i], NULL, &evs[i].seq), LM_OK);
    assert_int_equal(lm_store_commit(s), LM_OK);
}

static void test_as_one_by_one(void **state)
{
    struct help *plain = *state, *quick = NULL;
    unsigned seed = 9;
    help_setup((void **) &quick);
    int64_t session = open_session(plain->s), same = open_session(quick->s);
    assert_int_equal(session, same);
    for (unsigned b = 0; b < BATCHES; b++) {
        struct lm_event a[BATCH_MAX], c[BATCH_MAX];
        size_t n = b == 1 ? 0 : b == 2 ? 1 : b < 6 ? 64 + b : dice(&seed, BATCH_MAX);
        int64_t of = dice(&seed, 9) ? session : 0;
        for (size_t i = 0; i < n; i++) {
            a[i] = any_event(&seed, b % 4 ? 3000 : 60);
            if (b % 3 && i > 0)
                share_turn(&a[i], &a[i - 1], &seed);
        }
        memcpy(c, a, sizeof a);
        one_by_one(plain->s, of, a, n);
        if (b % 2)
            assert_int_equal(lm_store_begin(quick->s), LM_OK);
        assert_int_equal(lm_store_append_all(quick->s, &of, c, n), LM_OK);
        if (b % 2)
            assert_int_equal(lm_store_commit(quick->s), LM_OK);
        for (size_t i = 0; i < n; i++)
            assert_int_equal(a[i].seq, c[i].seq);
    }
    char *want = dump(plain->s), *got = dump(quick->s);
    assert_true(strlen(want) > 1000);
    assert_string_equal(got, want);
    free(want);
    free(got);
    help_teardown((void **) &quick);
}

static void set_readings(struct lm_event evs[], size_t n)
{
    for (size_t i = 0; i < n; i++)
        evs[i] = (struct lm_event){
            .kind = LM_EVENT_READING, .t_ms = T0, .clock_ms = 1, .seq = 77, .eid = code(i)};
}

/* An event that cannot be takes back those before it, but not what the caller had written. */
static void test_all_or_none(void **state)
{
    struct help *h = *state;
    struct lm_event evs[100];
    int64_t session = open_session(h->s), seq = 0;
    for (unsigned own = 0; own < 2; own++) {
        set_readings(evs, 100);
        evs[80] = (struct lm_event){.kind = LM_EVENT_REGISTER, .t_ms = T0};
        int64_t before = lm_store_last_seq(h->s);
        if (own) {
            assert_int_equal(lm_store_begin(h->s), LM_OK);
            assert_int_equal(lm_store_append(h->s, &session, &evs[0], NULL, &seq), LM_OK);
        }
        assert_int_equal(lm_store_append_all(h->s, &session, evs, 100), LM_EARG);
        for (size_t i = 0; i < 100; i++)
            assert_int_equal(evs[i].seq, 0);
        if (own)
            assert_int_equal(lm_store_commit(h->s), LM_OK);
        assert_int_equal(lm_store_last_seq(h->s), before + own);
    }
}

static void test_closed_sessions_take_nothing(void **state)
{
    struct help *h = *state;
    struct lm_event evs[64], end = {.kind = LM_EVENT_CLOSE, .t_ms = T0, .clock_ms = 9};
    int64_t session = open_session(h->s), none = 999;
    assert_int_equal(lm_store_append(h->s, &session, &end, NULL, NULL), LM_OK);
    set_readings(evs, 64);
    assert_int_equal(lm_store_append_all(h->s, &session, evs, 64), LM_EARG);
    assert_string_equal(lm_store_problem(h->s)->what, "session 1 is closed");
    assert_int_equal(lm_store_append_all(h->s, &none, evs, 64), LM_EARG);
    assert_int_equal(evs[63].seq, 0);
    assert_int_equal(lm_store_last_seq(h->s), 2);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_as_one_by_one),
        WITH(test_all_or_none),
        WITH(test_closed_sessions_take_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
