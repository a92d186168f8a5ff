/* The journal: what is appended comes back the same, sessions keep in step, history is exact. */
#include "store_help.h"

#define MAX_EVENTS 64

struct log {
    struct lm_event ev[MAX_EVENTS];
    struct lm_record record[MAX_EVENTS];
    struct lm_open open; /* of the last open event, its keys as text in `keys` */
    char keys[512];
    char why[MAX_EVENTS][32];
    unsigned n;
};

static enum lm_err keep(const struct lm_event *ev, void *ctx)
{
    struct log *log = ctx;
    assert_true(log->n < MAX_EVENTS);
    log->ev[log->n] = *ev;
    assert_true((ev->kind == LM_EVENT_OPEN) == (ev->open != NULL));
    assert_true((ev->kind == LM_EVENT_REGISTER) == (ev->record != NULL));
    if (ev->record != NULL)
        log->record[log->n] = *ev->record;
    if (ev->open != NULL)
        log->open = *ev->open;
    for (size_t i = 0; ev->open != NULL && i < ev->open->n_keys; i++)
        snprintf(log->keys + strlen(log->keys), sizeof log->keys - strlen(log->keys), "[%s]",
            ev->open->keys[i]);
    log->n++;
    return LM_OK;
}

static enum lm_err keep_why(const struct lm_event *ev, const char *why, void *ctx)
{
    struct log *log = ctx;
    snprintf(log->why[log->n], sizeof log->why[0], "%s", why);
    return keep(ev, ctx);
}

static struct log *events_of(struct lm_store *s, int64_t session, int64_t after)
{
    struct log *log = calloc(1, sizeof *log);
    if (lm_store_events(s, session, after, keep, log) != LM_OK)
        fail_msg("events: %s", lm_store_problem(s)->what);
    return log;
}

static int64_t append_ok(struct lm_store *s, int64_t *session, const struct lm_event *ev)
{
    int64_t seq = 0;
    if (lm_store_append(s, session, ev, NULL, &seq) != LM_OK)
        fail_msg("append: %s", lm_store_problem(s)->what);
    return seq;
}

static struct lm_event reading(uint64_t national)
{
    struct lm_event ev = {.kind = LM_EVENT_READING, .t_ms = T0, .clock_ms = 5, .lane = "1"};
    ev.eid = code(national);
    return ev;
}

static int64_t open_session(struct lm_store *s, const char *id)
{
    struct lm_open open = {.kind = LM_COUNT, .mob = "does", .count = "2026", .who = "W"};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 1, .open = &open};
    int64_t session = 0;
    snprintf(open.id, sizeof open.id, "%s", id);
    append_ok(s, &session, &ev);
    return session;
}

static void close_session(struct lm_store *s, int64_t session)
{
    struct lm_event ev = {.kind = LM_EVENT_CLOSE, .t_ms = T0 + 9, .clock_ms = 9};
    append_ok(s, &session, &ev);
}

static void event_is(const struct lm_event *got, const struct lm_event *want)
{
    assert_int_equal(got->kind, want->kind);
    assert_int_equal(got->t_ms, want->t_ms);
    assert_int_equal(got->clock_ms, want->clock_ms);
    text_is(got->lane, want->lane, "lane");
    text_is(got->reader, want->reader, "reader");
    assert_int_equal(got->eid.bits, want->eid.bits);
    assert_int_equal(got->eid.known, want->eid.known);
    assert_int_equal(got->doubt, want->doubt);
    text_is(got->text, want->text, "text");
    assert_int_equal(got->cut, want->cut);
    assert_int_equal(got->heads, want->heads);
}

static void test_events_round_trip(void **state)
{
    struct help *h = *state;
    const struct lm_event events[] = {
        {.kind = LM_EVENT_READING,
            .t_ms = T0,
            .clock_ms = 77,
            .lane = "left",
            .reader = "front",
            .eid = code_retag(274877906943, 7)},
        {.kind = LM_EVENT_READING,
            .t_ms = LM_TIME_NONE,
            .clock_ms = LM_TIME_NONE,
            .doubt = LM_DOUBT_DAMAGED,
            .text = "9.99E+14",
            .cut = true},
        {.kind = LM_EVENT_READING, .t_ms = -1, .clock_ms = 0, .doubt = LM_DOUBT_BAD_CHECK},
        {.kind = LM_EVENT_SIGHTING,
            .t_ms = T0 + 1,
            .clock_ms = 78,
            .text = "UK \xc3\xa9 0417",
            .eid = code(3)},
        {.kind = LM_EVENT_HEADS, .t_ms = T0 + 2, .clock_ms = 79, .heads = UINT32_MAX},
        {.kind = LM_EVENT_HEADS, .t_ms = T0 + 2, .clock_ms = 79, .heads = 0},
        {.kind = LM_EVENT_UNDO, .t_ms = T0 + 3, .clock_ms = 80, .lane = "2"},
    };
    int64_t session = open_session(h->s, "");
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++)
        assert_int_equal(append_ok(h->s, &session, &events[i]), i + 2);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    close_session(h->s, session);
    help_reopen(h);
    struct log *log = events_of(h->s, session, 0);
    assert_int_equal(log->n, sizeof events / sizeof events[0] + 2);
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++) {
        event_is(&log->ev[i + 1], &events[i]);
        assert_int_equal(log->ev[i + 1].seq, i + 2);
    }
    assert_int_equal(log->ev[log->n - 1].kind, LM_EVENT_CLOSE);
    free(log);
    log = events_of(h->s, session, 7); /* only those after place 7 */
    assert_int_equal(log->n, 2);
    assert_int_equal(log->ev[0].seq, 8);
    free(log);
}

static void test_open_comes_back(void **state)
{
    struct help *h = *state;
    const char *keys[] = {"A1", "\"q\\", "\xc3\xa9"};
    struct lm_open open = {.kind = LM_SALE, .lot = "L 1", .who = "W", .keys = keys, .n_keys = 3};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 3, .open = &open};
    struct lm_store_session none;
    memset(open.settings, 's', LM_SETTINGS_MAX); /* the longest there may be */
    int64_t session = 0;
    assert_int_equal(append_ok(h->s, &session, &ev), 1);
    assert_int_equal(session, 1);
    struct log *log = events_of(h->s, session, 0);
    text_is(log->keys, "[A1][\"q\\][\xc3\xa9]", "keys");
    assert_int_equal(log->open.kind, LM_SALE);
    text_is(log->open.id, "1", "id");
    text_is(log->open.lot, "L 1", "lot");
    text_is(log->open.mob, "", "mob");
    text_is(log->open.who, "W", "who");
    text_is(log->open.settings, open.settings, "settings");
    free(log);
    const char *bad[] = {"\xff"};
    open.keys = bad;
    open.n_keys = 1;
    close_session(h->s, session);
    session = 0;
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_EARG);
    open.keys = NULL;
    memcpy(open.settings, "\xff", 2);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_EARG);
    assert_int_equal(session, 0);
    assert_int_equal(lm_store_session_open(h->s, &none), LM_ENOTFOUND);
}

static enum lm_err count_session(const struct lm_store_session *s, void *ctx)
{
    int64_t *last = ctx;
    assert_int_equal(s->id, *last + 1);
    *last = s->id;
    return LM_OK;
}

static void test_sessions(void **state)
{
    struct help *h = *state;
    struct lm_store_session s;
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .open = &open};
    int64_t last = 0, other = 0;
    assert_int_equal(lm_store_session_open(h->s, &s), LM_ENOTFOUND);
    assert_int_equal(lm_store_session(h->s, 0, &s), LM_ENOTFOUND);
    int64_t first = open_session(h->s, "spring");
    assert_int_equal(lm_store_append(h->s, &other, &ev, NULL, NULL), LM_EBUSY);
    says(lm_store_problem(h->s), "spring");
    assert_int_equal(other, 0);
    assert_int_equal(lm_store_last_seq(h->s), 1);
    assert_int_equal(lm_store_session_open(h->s, &s), LM_OK);
    assert_int_equal(s.id, first);
    assert_int_equal(s.last_seq, 0);
    assert_int_equal(s.closed_ms, LM_TIME_NONE);
    close_session(h->s, first);
    assert_int_equal(lm_store_session_open(h->s, &s), LM_ENOTFOUND);
    int64_t second = open_session(h->s, "");
    assert_int_equal(lm_store_session(h->s, 0, &s), LM_OK);
    assert_int_equal(s.id, second);
    text_is(s.open.id, "2", "name");
    assert_int_equal(lm_store_session(h->s, first, &s), LM_OK);
    text_is(s.open.id, "spring", "name");
    text_is(s.open.count, "2026", "count");
    assert_int_equal(s.open.kind, LM_COUNT);
    assert_int_equal(s.opened_ms, T0);
    assert_int_equal(s.closed_ms, T0 + 9);
    assert_int_equal(s.first_seq, 1);
    assert_int_equal(s.last_seq, 2);
    assert_int_equal(lm_store_session(h->s, 99, &s), LM_ENOTFOUND);
    assert_int_equal(lm_store_sessions(h->s, count_session, &last), LM_OK);
    assert_int_equal(last, 2);
    sound(h->path);
}

static void test_closed_sessions_take_nothing(void **state)
{
    struct help *h = *state;
    struct lm_event ev = reading(1), end = {.kind = LM_EVENT_CLOSE, .t_ms = T0};
    int64_t session = open_session(h->s, ""), nowhere = 42, none = 0;
    close_session(h->s, session);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_EARG);
    assert_int_equal(lm_store_append(h->s, &session, &end, NULL, NULL), LM_EARG);
    assert_int_equal(lm_store_append(h->s, &nowhere, &ev, NULL, NULL), LM_EARG);
    assert_int_equal(lm_store_append(h->s, &none, &end, NULL, NULL), LM_EARG);
    assert_int_equal(lm_store_last_seq(h->s), 2);
    assert_int_equal(append_ok(h->s, &none, &ev), 3); /* outside of any session it may be */
    /* Closed and used again within one transaction. */
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    session = open_session(h->s, "");
    append_ok(h->s, &session, &ev);
    close_session(h->s, session);
    assert_int_equal(lm_store_append(h->s, &session, &ev, NULL, NULL), LM_EARG);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    sound(h->path);
}

static void test_tokens(void **state)
{
    struct help *h = *state;
    struct lm_event ev = {.kind = LM_EVENT_HEADS, .t_ms = T0, .heads = 213};
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event start = {.kind = LM_EVENT_OPEN, .t_ms = T0, .open = &open};
    int64_t session = 0, again = 0, seq = 0;
    assert_int_equal(lm_store_append(h->s, &session, &start, "t-open", &seq), LM_OK);
    assert_int_equal(lm_store_append(h->s, &session, &ev, "t-1", &seq), LM_OK);
    assert_int_equal(seq, 2);
    assert_int_equal(lm_store_append(h->s, &session, &ev, "t-2", &seq), LM_OK);
    help_reopen(h);
    for (int inside = 0; inside < 2; inside++) {
        if (inside)
            assert_int_equal(lm_store_begin(h->s), LM_OK);
        assert_int_equal(lm_store_append(h->s, &session, &ev, "t-1", &seq), LM_EEXISTS);
        assert_int_equal(seq, 2);
        again = 0;
        assert_int_equal(lm_store_append(h->s, &again, &start, "t-open", &seq), LM_EEXISTS);
        assert_int_equal(seq, 1);
        assert_int_equal(again, session);
    }
    append_ok(h->s, &session, &ev); /* an answered retry does not end the transaction */
    append_ok(h->s, &session, &ev); /* and no token is no token twice */
    assert_int_equal(lm_store_append(h->s, &session, &ev, "", &seq), LM_OK);
    assert_int_equal(lm_store_append(h->s, &session, &ev, "", &seq), LM_OK);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    assert_int_equal(lm_store_last_seq(h->s), 7);
}

static void test_register_changes_in_a_session(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A1", 1, "0001");
    put_ok(h->s, &a);
    int64_t session = open_session(h->s, "");
    struct lm_event ev = reading(1);
    append_ok(h->s, &session, &ev);
    struct lm_store *b = must_open(h->path, LM_STORE_WRITE); /* a command of another program */
    get_ok(b, "A1", &a);
    a.status = LM_DEAD;
    put_ok(b, &a);
    a.status = LM_SOLD;
    put_ok(b, &a);
    lm_store_close(b);
    append_ok(h->s, &session, &ev);
    struct lm_event change = {.kind = LM_EVENT_REGISTER, .t_ms = T0, .clock_ms = 8, .record = &a};
    a.status = LM_LOST;
    append_ok(h->s, &session, &change);
    assert_int_equal(append_ok(h->s, &session, &change), 0); /* no change, no event */
    close_session(h->s, session);
    a.status = LM_ON_FARM;
    put_ok(h->s, &a);
    struct log *log = events_of(h->s, session, 0);
    static const enum lm_event_kind kinds[] = {LM_EVENT_OPEN, LM_EVENT_READING, LM_EVENT_REGISTER,
        LM_EVENT_REGISTER, LM_EVENT_READING, LM_EVENT_REGISTER, LM_EVENT_CLOSE};
    assert_int_equal(log->n, 7);
    for (unsigned i = 0; i < 7; i++) {
        assert_int_equal(log->ev[i].kind, kinds[i]);
        assert_int_equal(log->ev[i].seq, i + 2);
    }
    assert_int_equal(log->record[2].status, LM_DEAD);
    assert_int_equal(log->record[3].status, LM_SOLD);
    assert_int_equal(log->record[5].status, LM_LOST);
    assert_int_equal(log->ev[5].clock_ms, 8);
    assert_int_equal(log->ev[2].clock_ms, LM_TIME_NONE);
    free(log);
    log = calloc(1, sizeof *log);
    assert_int_equal(lm_store_changes(h->s, 4, keep, log), LM_OK);
    assert_int_equal(log->n, 3);
    assert_int_equal(log->ev[0].seq, 5);
    assert_int_equal(log->record[2].status, LM_ON_FARM);
    free(log);
    sound(h->path);
}

static void test_history_says_why(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A1", 1, "0001"), b = animal("B2", 2, "0002");
    assert_int_equal(lm_store_put(h->s, &a, T0, "bought", NULL), LM_OK);
    put_ok(h->s, &b);
    a.devices[0].gone = true;
    assert_int_equal(lm_store_put(h->s, &a, T0 + 1, "torn out", NULL), LM_OK);
    struct log *log = calloc(1, sizeof *log);
    assert_int_equal(lm_store_history(h->s, "A1", keep_why, log), LM_OK);
    assert_int_equal(log->n, 2);
    text_is(log->why[0], "bought", "why");
    text_is(log->why[1], "torn out", "why");
    assert_false(log->record[0].devices[0].gone);
    assert_true(log->record[1].devices[0].gone);
    assert_int_equal(log->ev[1].t_ms, T0 + 1);
    assert_int_equal(lm_store_history(h->s, "Z", keep_why, log), LM_ENOTFOUND);
    free(log);
}

/* --- history against a model: the register is kept as it stood before every event --- */

#define FLOCK 6
#define CHANGES 60

struct model {
    struct lm_record now[FLOCK];
    bool there[FLOCK];
    struct lm_record past[CHANGES + 2][FLOCK]; /* by seq: as it stood just before */
    bool past_there[CHANGES + 2][FLOCK];
    uint32_t random;
};

static unsigned dice(struct model *m, unsigned n)
{
    m->random = m->random * 1664525u + 1013904223u;
    return (m->random >> 16) % n;
}

static void change(struct model *m, unsigned i, uint64_t fresh)
{
    struct lm_record *rec = &m->now[i];
    if (!m->there[i]) {
        char key[16];
        snprintf(key, sizeof key, "K%u", i);
        *rec = animal(key, fresh, "");
        m->there[i] = true;
        return;
    }
    struct lm_device *d = &rec->devices[dice(m, rec->n_devices)];
    switch (dice(m, 5)) {
    case 0:
        rec->status = (uint8_t) ((rec->status + 1) % 5);
        break;
    case 1:
        snprintf(rec->mob, sizeof rec->mob, "mob %u", dice(m, 9));
        break;
    case 2:
        d->gone = !d->gone;
        break;
    case 3:
        d->eid = code_retag(fresh, (uint8_t) dice(m, 8));
        break;
    default:
        if (rec->n_devices < 8)
            rec->devices[rec->n_devices++] = (struct lm_device){
                .eid = code(fresh), .visual = "0\"1", .applied = {2026, 1, 0}, .form = LM_BOLUS};
    }
}

struct at {
    struct model *m;
    unsigned seq, n;
};

static enum lm_err stood(const struct lm_record *rec, long line, void *ctx)
{
    struct at *at = ctx;
    unsigned i = (unsigned) (rec->key[1] - '0');
    (void) line;
    if (!at->m->past_there[at->seq][i])
        fail_msg("before event %u there was no %s", at->seq, rec->key);
    record_is(rec, &at->m->past[at->seq][i]);
    at->n++;
    return LM_OK;
}

static enum lm_err made(const struct lm_event *ev, void *ctx)
{
    struct model *m = ctx;
    unsigned i = (unsigned) (ev->record->key[1] - '0');
    assert_true(m->past_there[ev->seq + 1][i]);
    record_is(ev->record, &m->past[ev->seq + 1][i]);
    return LM_OK;
}

static void remember(struct model *m, int64_t seq)
{
    memcpy(m->past[seq], m->now, sizeof m->now);
    memcpy(m->past_there[seq], m->there, sizeof m->there);
}

static void test_history_is_exact(void **state)
{
    struct help *h = *state;
    struct model *m = calloc(1, sizeof *m);
    m->random = 4711;
    int64_t seq = 0, last = 0;
    remember(m, 1);
    for (unsigned n = 0; last < CHANGES; n++) {
        assert_true(n < 10 * CHANGES);
        unsigned i = dice(m, FLOCK);
        change(m, i, 1000 + n);
        assert_int_equal(lm_store_put(h->s, &m->now[i], T0, "", &seq), LM_OK);
        get_ok(h->s, m->now[i].key, &m->now[i]); /* with the rows of new devices */
        if (seq == 0)
            continue;
        assert_int_equal(seq, last + 1);
        last = seq;
        remember(m, seq + 1);
    }
    help_reopen(h);
    for (unsigned at_seq = 1; at_seq <= CHANGES + 1; at_seq++) {
        struct at at = {m, at_seq, 0};
        unsigned want = 0;
        assert_int_equal(lm_store_each_at(h->s, at_seq, stood, &at), LM_OK);
        for (unsigned i = 0; i < FLOCK; i++)
            want += m->past_there[at_seq][i];
        assert_int_equal(at.n, want);
    }
    assert_int_equal(lm_store_changes(h->s, 0, made, m), LM_OK);
    free(m);
    sound(h->path);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_events_round_trip),
        WITH(test_open_comes_back),
        WITH(test_sessions),
        WITH(test_closed_sessions_take_nothing),
        WITH(test_tokens),
        WITH(test_register_changes_in_a_session),
        WITH(test_history_says_why),
        WITH(test_history_is_exact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
