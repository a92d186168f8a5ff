/* The power goes at every write and every sync in the life of a register: what was acknowledged is
 * there, once, and the rest is whole or not there. LUGMARK_SEEDS=N tears each place N times. */
#include "store_help.h"

#include "powercut.h"

#define EVENTS_MAX 1024
#define BURST_MAX 80

/* What was written, in order, and what had been acknowledged at which place of the log. */
struct script {
    struct cut_log *log;
    struct lm_store *s;
    int64_t session;
    struct {
        enum lm_event_kind kind;
        uint64_t bits;
        size_t acked; /* operations there were when it was; SIZE_MAX: never */
    } events[EVENTS_MAX];
    size_t n, told;
    size_t born; /* operations until the register was there */
};

static void noted(struct script *c, enum lm_event_kind kind, uint64_t bits)
{
    assert_true(c->n < EVENTS_MAX);
    c->events[c->n].kind = kind;
    c->events[c->n].bits = bits;
    c->events[c->n++].acked = SIZE_MAX;
}

/* Everything up to here was said to be kept. */
static void acknowledge(struct script *c)
{
    assert_int_equal(lm_store_last_seq(c->s), c->n);
    for (; c->told < c->n; c->told++)
        c->events[c->told].acked = c->log->n;
}

static void append(struct script *c, struct lm_event ev)
{
    ev.t_ms = T0 + (int64_t) c->n;
    if (lm_store_append(c->s, &c->session, &ev, NULL, NULL) != LM_OK)
        fail_msg("append: %s", lm_store_problem(c->s)->what);
    noted(c, ev.kind, ev.eid.bits);
}

/* Readings of one turn of the loop: one transaction, as the daemon writes it. */
static void readings(struct script *c, unsigned n)
{
    struct lm_event evs[BURST_MAX] = {0};
    assert_true(n <= BURST_MAX);
    for (unsigned i = 0; i < n; i++) {
        evs[i] = (struct lm_event){.kind = LM_EVENT_READING, .lane = "1"};
        evs[i].eid = code(1 + ((c->n + i) * 7) % 24);
        evs[i].t_ms = T0 + (int64_t) c->n + i;
    }
    assert_int_equal(lm_store_begin(c->s), LM_OK);
    if (lm_store_append_all(c->s, &c->session, evs, n) != LM_OK)
        fail_msg("append: %s", lm_store_problem(c->s)->what);
    for (unsigned i = 0; i < n; i++)
        noted(c, LM_EVENT_READING, evs[i].eid.bits);
    assert_int_equal(lm_store_commit(c->s), LM_OK);
    acknowledge(c);
}

static void one(struct script *c, enum lm_event_kind kind)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = kind, .open = kind == LM_EVENT_OPEN ? &open : NULL};
    if (kind == LM_EVENT_SIGHTING)
        snprintf(ev.text, sizeof ev.text, "no 0003");
    append(c, ev);
    acknowledge(c);
}

/* A command beside the daemon: another handle changes an animal. */
static void change(struct script *c, const char *breed)
{
    struct lm_record rec;
    struct lm_store *daemon = c->s;
    c->s = must_open(c->log->path[0], LM_STORE_WRITE);
    get_ok(c->s, "K0003", &rec);
    snprintf(rec.breed, sizeof rec.breed, "%s", breed);
    put_ok(c->s, &rec);
    noted(c, LM_EVENT_REGISTER, 0);
    acknowledge(c);
    lm_store_close(c->s);
    c->s = daemon;
}

static void import(struct script *c)
{
    assert_int_equal(lm_store_begin_bulk(c->s), LM_OK);
    fill(c->s, 0, 24);
    assert_int_equal(lm_store_commit(c->s), LM_OK);
    for (unsigned i = 0; i < 24; i++)
        noted(c, LM_EVENT_REGISTER, 0);
    acknowledge(c);
}

static void checkpoint(struct script *c, const char *how)
{
    char sql[64];
    snprintf(sql, sizeof sql, "PRAGMA wal_checkpoint(%s)", how);
    assert_int_equal(sqlite3_exec(c->s->db, sql, NULL, NULL, NULL), SQLITE_OK);
}

static void play(struct script *c)
{
    c->s = must_open(c->log->path[0], LM_STORE_CREATE);
    c->born = c->log->n;
    import(c);
    one(c, LM_EVENT_OPEN);
    for (unsigned i = 1; i <= 6; i++)
        readings(c, i * 3 % 7 + 1);
    one(c, LM_EVENT_SIGHTING);
    change(c, "boer");
    checkpoint(c, "PASSIVE");
    readings(c, BURST_MAX);
    one(c, LM_EVENT_HEADS);
    change(c, "alpine");
    assert_int_equal(lm_store_undo(c->s, T0, "typed wrongly", NULL), LM_OK);
    noted(c, LM_EVENT_REGISTER, 0);
    acknowledge(c);
    checkpoint(c, "TRUNCATE");
    readings(c, 12);
    one(c, LM_EVENT_UNDO);
    one(c, LM_EVENT_CLOSE);
    lm_store_close(c->s);
    c->s = must_open(c->log->path[0], LM_STORE_WRITE);
    one(c, LM_EVENT_OPEN);
    readings(c, 5);
    checkpoint(c, "RESTART");
    readings(c, 5);
    lm_store_close(c->s);
}

struct seen {
    const struct script *c;
    size_t k, next;
};

static enum lm_err follow(const struct lm_event *ev, void *ctx)
{
    struct seen *see = ctx;
    if (ev->seq != (int64_t) see->next + 1)
        fail_msg("cut at %zu: event %lld follows %zu", see->k, (long long) ev->seq, see->next);
    assert_true(see->next < see->c->n);
    assert_int_equal(ev->kind, see->c->events[see->next].kind);
    assert_int_equal(ev->eid.bits, see->c->events[see->next].bits);
    see->next++;
    return LM_OK;
}

/* All events: those of the animals before the first session, then session by session. */
static void all_events(struct lm_store *s, struct seen *see)
{
    struct lm_store_session row;
    int64_t last = lm_store_last_seq(s);
    for (int64_t id = 1; lm_store_session(s, id, &row) == LM_OK; id++) {
        see->next = (size_t) row.first_seq - 1;
        assert_int_equal(lm_store_events(s, id, 0, follow, see), LM_OK);
    }
    assert_true(see->next == 0 || (int64_t) see->next == last);
}

static void survived(const struct script *c, size_t k, const char *path)
{
    struct lm_store *s = NULL;
    struct lm_problem p;
    struct lm_record rec;
    struct seen see = {.c = c, .k = k};
    bool born = k >= c->born;
    if (lm_store_open(path, born ? LM_STORE_WRITE : LM_STORE_CREATE, &s, &p) != LM_OK)
        fail_msg("cut at %zu: %s", k, p.what);
    if (lm_store_verify(s, tell, NULL) != LM_OK)
        fail_msg("cut at %zu: not sound", k);
    int64_t last = lm_store_last_seq(s);
    for (size_t i = 0; i < c->n && c->events[i].acked <= k; i++)
        if ((int64_t) i >= last)
            fail_msg("cut at %zu: event %zu was acknowledged and is not there", k, i + 1);
    all_events(s, &see);
    if (last >= 24) { /* it goes on */
        get_ok(s, "K0005", &rec);
        snprintf(rec.breed, sizeof rec.breed, "after");
        put_ok(s, &rec);
        assert_int_equal(lm_store_last_seq(s), last + 1);
    }
    lm_store_close(s);
}

static void test_the_power_goes_at_every_write(void **state)
{
    char dir[32], path[64], again[64];
    struct script *c = calloc(1, sizeof *c);
    const char *many = getenv("LUGMARK_SEEDS");
    unsigned long seeds = many != NULL ? strtoul(many, NULL, 10) : 1, cuts = 0;
    (void) state;
    /* In memory where that can be: what is synced is written down, not waited for. */
    snprintf(dir, sizeof dir, "%s/lm-cut-XXXXXX",
        access("/dev/shm", W_OK | X_OK) == 0 ? "/dev/shm" : "/tmp");
    assert_non_null(mkdtemp(dir));
    snprintf(path, sizeof path, "%s/register.db", dir);
    snprintf(again, sizeof again, "%s/after.db", dir);
    c->log = cut_begin(path);
    play(c);
    size_t n = c->log->n, kinds[CUT_KINDS] = {0};
    for (size_t k = 0; k < n; k++)
        kinds[c->log->ops[k].kind]++;
    for (size_t k = 0; k <= n; k++) {
        for (uint32_t seed = 0; seed < seeds + 2; seed++) {
            enum cut_fate fate = seed == 0 ? CUT_DROP : seed == 1 ? CUT_KEEP : CUT_TEAR;
            cut_files(c->log, k, fate, (uint32_t) k * 64 + seed, again);
            survived(c, k, again);
            cuts++;
        }
    }
    print_message("# %zu events; %zu writes, %zu syncs, %zu truncations, %zu removals: %lu power "
                  "cuts, nothing acknowledged lost\n",
        c->n, kinds[CUT_WRITE], kinds[CUT_SYNC], kinds[CUT_TRUNCATE], kinds[CUT_DELETE], cuts);
    cut_end(c->log);
    free(c);
    static const char *const tails[] = {"", "-wal", "-shm", "-journal"};
    for (size_t i = 0; i < 4; i++) {
        snprintf(again, sizeof again, "%s/after.db%s", dir, tails[i]);
        unlink(again);
        snprintf(again, sizeof again, "%s%s", path, tails[i]);
        unlink(again);
    }
    rmdir(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_the_power_goes_at_every_write)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
