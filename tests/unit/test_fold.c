/* The session as the daemon holds it: where memory runs out in the midst of an event it is folded
 * again from the journal, and nothing of it is lost or there twice. */
#include "flock.h"

#define tell tell_problem /* both helps have one */
#include "store_help.h"
#undef tell

#include "daemon/fold.h"
#include "nth.h"

#define ANIMALS 60
#define EVENTS 700

/** The events of a race day: known animals, strangers, calls right and wrong, some taken back. */
static struct lm_event event_at(unsigned i)
{
    char number[16];
    struct lm_event ev;
    switch (i % 7) {
    case 2:
        snprintf(number, sizeof number, "%u", i % 3 ? 9000 + i : i % ANIMALS);
        return call_at(1000L * i, number, (struct lm_eid){0});
    case 4:
        ev = reading_at(1000L * i, i % 2 ? "2" : "1", eid_of(700000 + i));
        return ev;
    case 5:
        return i % 35 == 5 ? plain(LM_EVENT_UNDO) : heads_of(1 + i % 3);
    default:
        return reading_at(1000L * i, i % 3 ? "1" : "2", eid_of(1 + i * 13 % (ANIMALS + 9)));
    }
}

static void journal(struct lm_store *s, int64_t *session, struct lm_event *ev)
{
    assert_int_equal(lm_store_append(s, session, ev, NULL, &ev->seq), LM_OK);
}

static void open_both(struct lm_store *s, int64_t *session, struct fold *f, struct fold *g)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = plain(LM_EVENT_OPEN);
    struct lm_verdict v;
    ev.open = &open;
    ev.t_ms = T0;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(fold_begin(i ? g : f, s, NULL), LM_OK);
        assert_int_equal(fold_prepare_open(i ? g : f), LM_OK);
    }
    journal(s, session, &ev);
    assert_int_equal(fold_apply(f, &ev, &v), LM_OK);
    assert_int_equal(fold_apply(g, &ev, &v), LM_OK);
}

static void same(const struct fold *f, const struct fold *g)
{
    struct lm_summary a, b;
    static struct story story[2];
    story[0] = story_of(f->session);
    story[1] = story_of(g->session);
    assert_string_equal(story[0].text, story[1].text);
    lm_session_tally(f->session, &a);
    lm_session_tally(g->session, &b);
    assert_int_equal(a.readings, b.readings);
    assert_int_equal(a.present, b.present);
    assert_int_equal(a.heads, b.heads);
    assert_int_equal(f->n_acts, g->n_acts);
    for (size_t i = 0; i < f->n_acts; i++)
        assert_int_equal(f->acts[i].seq, g->acts[i].seq);
}

/* Call number @p nth of those that may fail does so in each event in turn. */
static void runs_out(struct help *h, unsigned long nth)
{
    struct fold f, g;
    int64_t session = 0;
    unsigned failed = 0;
    open_both(h->s, &session, &f, &g);
    for (unsigned i = 0; i < EVENTS; i++) {
        struct lm_event ev = event_at(i);
        struct lm_verdict v, w;
        const struct lm_session *before = f.session;
        ev.t_ms = T0 + 1000L * i;
        if (ev.kind == LM_EVENT_UNDO && g.n_acts == 0)
            continue;
        journal(h->s, &session, &ev);
        nth_arm(NTH_MEMORY, nth);
        enum lm_err err = fold_apply(&f, &ev, &v);
        nth_disarm();
        failed += f.session != before || f.behind;
        assert_int_equal(fold_apply(&g, &ev, &w), LM_OK);
        if (err == LM_OK) {
            assert_int_equal(v.animal, w.animal);
            assert_int_equal(v.reasons, w.reasons);
        }
    }
    f.behind = true; /* as it is left where there was no memory for folding again, either */
    struct lm_event ev = reading_at(1000L * EVENTS, "1", eid_of(1));
    struct lm_verdict v;
    journal(h->s, &session, &ev);
    assert_int_equal(fold_apply(&f, &ev, &v), LM_OK);
    assert_false(f.behind);
    assert_int_equal(fold_apply(&g, &ev, &v), LM_OK);
    same(&f, &g);
    assert_true(nth > 1 || failed > 5);
    ev = plain(LM_EVENT_CLOSE);
    ev.t_ms = T0 + 1000L * EVENTS + 1000;
    journal(h->s, &session, &ev);
    assert_int_equal(fold_apply(&f, &ev, &v), LM_OK);
    assert_int_equal(f.row.closed_ms, ev.t_ms);
    fold_end(&f);
    fold_end(&g);
}

static void memory_runs_out(void **state)
{
    struct help *h = *state;
    for (unsigned i = 1; i <= ANIMALS; i++) {
        char key[16], number[16];
        snprintf(key, sizeof key, "A%u", i);
        snprintf(number, sizeof number, "%u", i);
        struct lm_record rec = animal_of(key, i, number);
        put_ok(h->s, &rec);
    }
    for (unsigned long nth = 1; nth <= 3; nth++)
        runs_out(h, nth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(memory_runs_out, help_setup, help_teardown),
    };
    nth_install();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
