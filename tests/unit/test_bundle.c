/* Uniting copies of a register: sessions, changes of several animals, and what cannot be united. */
#include "store_help.h"

#include "lugmark/bundle.h"
#include "lugmark/stock.h"

struct two {
    struct help *h; /* home */
    struct lm_store *away;
    enum lm_keep keep;
    unsigned asked;
    enum lm_clash_kind kind;
};

static enum lm_keep keep_it(const struct lm_clash *clash, void *ctx)
{
    struct two *t = ctx;
    t->asked++;
    t->kind = clash->kind;
    return t->keep;
}

static enum lm_err carry(struct two *t, struct lm_store *from, struct lm_store *to,
    struct lm_united *got, struct lm_problem *p)
{
    struct lm_bundle_hooks hooks = {keep_it, t};
    FILE *file = tmpfile();
    assert_non_null(file);
    assert_int_equal(lm_bundle_write(from, file), LM_OK);
    rewind(file);
    t->asked = 0;
    enum lm_err err = lm_bundle_unite(to, file, "b.ndjson", T0 + 99, &hooks, got, p);
    fclose(file);
    return err;
}

static void carry_ok(struct two *t, struct lm_store *from, struct lm_store *to)
{
    struct lm_problem p;
    struct lm_united got;
    if (carry(t, from, to, &got, &p) != LM_OK)
        fail_msg("%s", p.what);
    if (lm_store_verify(to, NULL, NULL) != LM_OK)
        fail_msg("%s", lm_store_problem(to)->what);
}

static int setup(void **state)
{
    struct two *t = calloc(1, sizeof *t);
    char path[160];
    void *h = NULL;
    help_setup(&h);
    t->h = h;
    struct lm_record rec = animal("A1", 1, "0001");
    assert_int_equal(lm_store_put(t->h->s, &rec, T0, "", NULL), LM_OK);
    rec = animal("A2", 2, "0002");
    assert_int_equal(lm_store_put(t->h->s, &rec, T0, "", NULL), LM_OK);
    snprintf(path, sizeof path, "%s/away.db", t->h->dir);
    t->away = must_open(path, LM_STORE_CREATE);
    carry_ok(t, t->h->s, t->away);
    *state = t;
    return 0;
}

static int teardown(void **state)
{
    struct two *t = *state;
    void *h = t->h;
    lm_store_close(t->away);
    help_teardown(&h);
    free(t);
    return 0;
}

static int64_t open_session(struct lm_store *s, const char *id)
{
    static const char *const keys[] = {"A1", "A2"};
    struct lm_open open = {.kind = LM_SALE, .keys = keys, .n_keys = 2};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 5, .open = &open};
    int64_t session = 0;
    snprintf(open.id, sizeof open.id, "%s", id);
    snprintf(open.settings, sizeof open.settings, "rearm_ms=30000");
    assert_int_equal(lm_store_append(s, &session, &ev, NULL, NULL), LM_OK);
    return session;
}

static void append(struct lm_store *s, int64_t session, struct lm_event ev)
{
    ev.t_ms = T0 + 7;
    assert_int_equal(lm_store_append(s, &session, &ev, NULL, NULL), LM_OK);
}

static void fill_session(struct lm_store *s, int64_t session)
{
    struct lm_event ev = {.kind = LM_EVENT_READING, .clock_ms = 9, .eid = code_retag(1, 2)};
    snprintf(ev.lane, sizeof ev.lane, "left");
    append(s, session, ev);
    ev = (struct lm_event){.kind = LM_EVENT_SIGHTING, .clock_ms = LM_TIME_NONE, .eid = code(1)};
    snprintf(ev.text, sizeof ev.text, "0001");
    append(s, session, ev);
    append(s, session, (struct lm_event){.kind = LM_EVENT_HEADS, .heads = 17});
    append(s, session, (struct lm_event){.kind = LM_EVENT_UNDO});
    ev = (struct lm_event){.kind = LM_EVENT_READING, .doubt = LM_DOUBT_DAMAGED};
    snprintf(ev.text, sizeof ev.text, "9.99E+14");
    append(s, session, ev);
}

static void close_session(struct lm_store *s, int64_t session)
{
    append(s, session, (struct lm_event){.kind = LM_EVENT_CLOSE});
}

struct log {
    struct lm_event ev[32];
    char settings[LM_SETTINGS_MAX + 1];
    size_t n, n_keys;
};

static enum lm_err keep_event(const struct lm_event *ev, void *ctx)
{
    struct log *log = ctx;
    assert_true(log->n < 32);
    log->ev[log->n++] = *ev;
    if (ev->kind == LM_EVENT_OPEN) {
        snprintf(log->settings, sizeof log->settings, "%s", ev->open->settings);
        log->n_keys = ev->open->n_keys;
    }
    return LM_OK;
}

static void same_session(struct lm_store *a, int64_t in_a, struct lm_store *b, int64_t in_b)
{
    static struct log x, y;
    memset(&x, 0, sizeof x);
    memset(&y, 0, sizeof y);
    assert_int_equal(lm_store_events(a, in_a, 0, keep_event, &x), LM_OK);
    assert_int_equal(lm_store_events(b, in_b, 0, keep_event, &y), LM_OK);
    assert_int_equal(x.n, y.n);
    assert_int_equal(x.n_keys, y.n_keys);
    text_is(x.settings, y.settings, "settings");
    for (size_t i = 0; i < x.n; i++) {
        const struct lm_event *p = &x.ev[i], *q = &y.ev[i];
        assert_int_equal(p->kind, q->kind);
        assert_int_equal(p->t_ms, q->t_ms);
        assert_int_equal(p->clock_ms, q->clock_ms);
        assert_int_equal(p->eid.bits, q->eid.bits);
        assert_int_equal(p->eid.known, q->eid.known);
        assert_int_equal(p->doubt, q->doubt);
        assert_int_equal(p->heads, q->heads);
        text_is(p->text, q->text, "text");
        text_is(p->lane, q->lane, "lane");
    }
}

static void test_session_comes_back(void **state)
{
    struct two *t = *state;
    int64_t away = open_session(t->away, "yards");
    fill_session(t->away, away);
    close_session(t->away, away);
    carry_ok(t, t->away, t->h->s);
    struct lm_store_session got;
    assert_int_equal(lm_store_session(t->h->s, 0, &got), LM_OK);
    text_is(got.open.id, "yards", "name");
    assert_int_not_equal(got.last_seq, 0);
    same_session(t->away, away, t->h->s, got.id);
    int64_t last = lm_store_last_seq(t->h->s);
    carry_ok(t, t->away, t->h->s);
    carry_ok(t, t->h->s, t->away);
    assert_int_equal(lm_store_last_seq(t->h->s), last);
    assert_int_equal(lm_store_last_seq(t->away), last);
}

/* An open session may be carried over, go on there, and come back with the rest. */
static void test_open_session_goes_on(void **state)
{
    struct two *t = *state;
    int64_t home = open_session(t->h->s, "walk");
    struct lm_store_session got;
    carry_ok(t, t->h->s, t->away);
    assert_int_equal(lm_store_session_open(t->away, &got), LM_OK);
    fill_session(t->away, got.id);
    close_session(t->away, got.id);
    carry_ok(t, t->away, t->h->s);
    same_session(t->h->s, home, t->away, got.id);
    assert_int_equal(lm_store_session_open(t->h->s, &got), LM_ENOTFOUND);
}

/* Ours is open; one that was opened and closed there comes in beside it. */
static void test_closed_session_beside_an_open_one(void **state)
{
    struct two *t = *state;
    struct lm_store_session got;
    int64_t home = open_session(t->h->s, "home"), away = open_session(t->away, "away");
    fill_session(t->away, away);
    close_session(t->away, away);
    carry_ok(t, t->away, t->h->s);
    assert_int_equal(t->asked, 0);
    assert_int_equal(lm_store_session_open(t->h->s, &got), LM_OK);
    assert_int_equal(got.id, home);
    fill_session(t->h->s, home);
    close_session(t->h->s, home);
    carry_ok(t, t->h->s, t->away);
}

static void test_two_open_sessions(void **state)
{
    struct two *t = *state;
    struct lm_store_session got;
    struct lm_united u;
    open_session(t->h->s, "home");
    fill_session(t->away, open_session(t->away, "away"));
    assert_int_equal(carry(t, t->away, t->h->s, &u, NULL), LM_EAMBIGUOUS);
    assert_int_equal(t->asked, 1);
    assert_int_equal(t->kind, LM_CLASH_SESSION);
    assert_int_equal(lm_store_session_open(t->h->s, &got), LM_OK);
    text_is(got.open.id, "home", "nothing was changed");
    assert_int_equal(lm_store_session(t->h->s, 0, &got), LM_OK);
    text_is(got.open.id, "home", "nothing was added");
    t->keep = LM_KEEP_THEIRS;
    carry_ok(t, t->away, t->h->s);
    assert_int_equal(lm_store_session_open(t->h->s, &got), LM_OK);
    text_is(got.open.id, "away", "theirs");
}

static void test_two_open_sessions_ours(void **state)
{
    struct two *t = *state;
    struct lm_store_session got;
    struct lm_problem p;
    int64_t away = open_session(t->away, "away");
    open_session(t->h->s, "home");
    t->keep = LM_KEEP_OURS;
    carry_ok(t, t->away, t->h->s);
    assert_int_equal(lm_store_session_open(t->h->s, &got), LM_OK);
    text_is(got.open.id, "home", "ours");
    assert_int_equal(lm_store_session(t->h->s, 0, &got), LM_OK);
    text_is(got.open.id, "away", "theirs came in");
    assert_int_not_equal(got.last_seq, 0);
    /* It went on there all the same: that cannot be united, and is said. */
    fill_session(t->away, away);
    int64_t last = lm_store_last_seq(t->h->s);
    assert_int_equal(carry(t, t->away, t->h->s, NULL, &p), LM_EINPUT);
    if (strstr(p.what, "went on there after it was closed here") == NULL)
        fail_msg("%s", p.what);
    assert_int_equal(lm_store_last_seq(t->h->s), last);
}

/* A device that goes from one animal to another keeps being the same device in both copies. */
static void test_devices_change_places(void **state)
{
    struct two *t = *state;
    struct lm_record a, b;
    const struct lm_record *both[2] = {&a, &b};
    for (int i = 3; i < 8; i++) { /* the rows of devices differ between the copies from here on */
        struct lm_record more = animal("H0", (uint64_t) i + 100, "");
        more.key[1] = (char) ('0' + i);
        assert_int_equal(lm_store_put(t->h->s, &more, T0, "", NULL), LM_OK);
    }
    struct lm_record wide = animal("W1", 55, "0055");
    assert_int_equal(lm_store_put(t->away, &wide, T0, "", NULL), LM_OK);
    assert_int_equal(lm_store_get(t->away, "A1", &a), LM_OK);
    assert_int_equal(lm_store_get(t->away, "W1", &b), LM_OK);
    struct lm_device swap = a.devices[0];
    struct lm_record known;
    assert_int_equal(lm_store_get(t->h->s, "A1", &known), LM_OK);
    a.devices[0] = b.devices[0];
    b.devices[0] = swap;
    assert_int_equal(lm_store_change(t->away, both, 2, T0, "swapped", NULL), LM_OK);
    carry_ok(t, t->away, t->h->s);
    assert_int_equal(t->asked, 0);
    assert_int_equal(lm_store_get(t->h->s, "A1", &a), LM_OK);
    assert_int_equal(lm_store_get(t->h->s, "W1", &b), LM_OK);
    assert_int_equal(lm_eid_key(a.devices[0].eid), lm_eid_key(code(55)));
    assert_int_equal(lm_eid_key(b.devices[0].eid), lm_eid_key(code(1)));
    assert_int_equal(b.devices[0].id, known.devices[0].id); /* its row here, as ever */
    /* It came over as one change, and is taken back as one. */
    struct lm_store_last last;
    assert_int_equal(lm_store_undo(t->h->s, T0, "", &last), LM_OK);
    assert_int_equal(last.animals, 2);
    text_is(last.why, "swapped", "reason");
    assert_int_equal(lm_store_get(t->h->s, "A1", &a), LM_OK);
    assert_int_equal(lm_eid_key(a.devices[0].eid), lm_eid_key(code(1)));
    carry_ok(t, t->h->s, t->away);
    assert_int_equal(lm_store_get(t->away, "A1", &a), LM_OK);
    assert_int_equal(lm_eid_key(a.devices[0].eid), lm_eid_key(code(1)));
    /* What was taken back there is taken back here too: the next one back is another change. */
    assert_int_equal(lm_store_last_change(t->away, &last, NULL, NULL), LM_OK);
    assert_string_not_equal(last.why, "swapped");
}

/* Both took the same change back: each may be undone once only, and neither is lost. */
static void test_both_take_back(void **state)
{
    struct two *t = *state;
    struct lm_record rec;
    assert_int_equal(lm_store_get(t->h->s, "A1", &rec), LM_OK);
    snprintf(rec.mob, sizeof rec.mob, "wrong");
    assert_int_equal(lm_store_put(t->h->s, &rec, T0, "", NULL), LM_OK);
    carry_ok(t, t->h->s, t->away);
    assert_int_equal(lm_store_undo(t->h->s, T0, "", NULL), LM_OK);
    assert_int_equal(lm_store_undo(t->away, T0, "", NULL), LM_OK);
    carry_ok(t, t->away, t->h->s);
    carry_ok(t, t->h->s, t->away);
    assert_int_equal(t->asked, 0);
    assert_int_equal(lm_store_get(t->away, "A1", &rec), LM_OK);
    text_is(rec.mob, "", "mob");
    assert_int_equal(lm_store_last_seq(t->away), lm_store_last_seq(t->h->s));
}

static void test_three_copies(void **state)
{
    struct two *t = *state;
    char path[160];
    struct lm_record rec;
    snprintf(path, sizeof path, "%s/third.db", t->h->dir);
    struct lm_store *third = must_open(path, LM_STORE_CREATE);
    carry_ok(t, t->away, third); /* a copy of a copy */
    assert_int_equal(lm_store_get(third, "A1", &rec), LM_OK);
    snprintf(rec.mob, sizeof rec.mob, "third");
    assert_int_equal(lm_store_put(third, &rec, T0, "", NULL), LM_OK);
    carry_ok(t, third, t->away);
    carry_ok(t, t->away, t->h->s);
    carry_ok(t, third, t->h->s);
    assert_int_equal(lm_store_get(t->h->s, "A1", &rec), LM_OK);
    text_is(rec.mob, "third", "mob");
    assert_int_equal(lm_store_last_seq(t->h->s), lm_store_last_seq(third));
    lm_store_close(third);
}

/* --- registers of former versions --- */

static void load_sql(const char *path, const char *file)
{
    static char sql[200000];
    sqlite3 *db = NULL;
    FILE *in = fopen(file, "r");
    if (in == NULL)
        fail_msg("%s is not there; run this from the top of the tree", file);
    size_t n = fread(sql, 1, sizeof sql - 1, in);
    fclose(in);
    sql[n] = '\0';
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    char *why = NULL;
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
        fail_msg("%s", why);
    sqlite3_close(db);
}

static void test_former_versions(void **state)
{
    struct two *t = *state;
    static const char *const files[] = {"v1", "v3"};
    for (unsigned i = 0; i < 2; i++) {
        char path[160], file[64], id[64];
        struct lm_record rec;
        snprintf(path, sizeof path, "%s/%s.db", t->h->dir, files[i]);
        snprintf(file, sizeof file, "fixtures/register/%s.sql", files[i]);
        load_sql(path, file);
        struct lm_store *s = must_open(path, LM_STORE_WRITE);
        if (lm_store_verify(s, NULL, NULL) != LM_OK)
            fail_msg("%s: %s", file, lm_store_problem(s)->what);
        assert_int_equal(lm_store_animals(s), 3);
        assert_int_equal(lm_store_get(s, "A1", &rec), LM_OK);
        assert_int_equal(rec.n_devices, 2);
        text_is(rec.mob, "yearlings", "mob");
        text_is(rec.devices[1].why, "lost", "why");
        assert_int_equal(lm_store_setting(s, "id.register", id, sizeof id), LM_OK);
        assert_int_equal(strlen(id), 32);
        struct lm_stock_item it = {.position = 1, .strip = "S", .visual = "0001"};
        assert_int_equal(lm_store_stock_add(s, &it, NULL, 1, NULL), LM_EINPUT); /* A1 wears it */
        snprintf(it.visual, sizeof it.visual, "0099");
        assert_int_equal(lm_store_stock_add(s, &it, NULL, 1, NULL), LM_OK);
        snprintf(path, sizeof path, "%s/%s-copy.db", t->h->dir, files[i]);
        struct lm_store *copy = must_open(path, LM_STORE_CREATE);
        carry_ok(t, s, copy); /* events of old count as made in the first copy */
        assert_int_equal(lm_store_last_seq(copy), lm_store_last_seq(s));
        lm_store_close(copy);
        lm_store_close(s);
    }
}

#define WITH(test) cmocka_unit_test_setup_teardown(test, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_session_comes_back),
        WITH(test_open_session_goes_on),
        WITH(test_closed_session_beside_an_open_one),
        WITH(test_two_open_sessions),
        WITH(test_two_open_sessions_ours),
        WITH(test_devices_change_places),
        WITH(test_both_take_back),
        WITH(test_three_copies),
        WITH(test_former_versions),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
