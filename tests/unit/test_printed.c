/* The printed report: its figures are those of the findings, its pictures those of the readings. */
#include "store_help.h"

#include "lugmark/report.h"
#include "report/sheet_data.h"

#define N_OF(a) (sizeof(a) / sizeof((a)[0]))

/** A session being written into the register, and what a report makes of it. */
struct bench {
    struct help *h;
    int64_t session;
    struct lm_store_session row;
    struct lm_replay replay;
    struct lm_explain *x;
    struct lm_printed *p;
    char *text;
    size_t size;
};

static void append(struct bench *b, struct lm_event ev)
{
    if (lm_store_append(b->h->s, &b->session, &ev, NULL, &(int64_t){0}) != LM_OK)
        fail_msg("append: %s", lm_store_problem(b->h->s)->what);
}

static void open_session(struct bench *b, const char *mob)
{
    struct lm_open open = {.kind = LM_WALK};
    snprintf(open.mob, sizeof open.mob, "%s", mob);
    assert_int_equal(lm_store_begin(b->h->s), LM_OK);
    append(b, (struct lm_event){.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 0, .open = &open});
}

static void read_code(struct bench *b, uint64_t national, int64_t t, int64_t clock)
{
    append(b, (struct lm_event){.kind = LM_EVENT_READING,
                  .t_ms = t,
                  .clock_ms = clock,
                  .lane = "1",
                  .eid = code(national)});
}

static void call(struct bench *b, const char *number, int64_t t)
{
    struct lm_event ev = {.kind = LM_EVENT_SIGHTING, .t_ms = t, .clock_ms = t - T0, .lane = "1"};
    snprintf(ev.text, sizeof ev.text, "%s", number);
    append(b, ev);
}

static void end_session(struct bench *b, bool closed)
{
    if (closed)
        append(
            b, (struct lm_event){.kind = LM_EVENT_CLOSE, .t_ms = T0 + 900000, .clock_ms = 900000});
    assert_int_equal(lm_store_commit(b->h->s), LM_OK);
    assert_int_equal(lm_store_session(b->h->s, b->session, &b->row), LM_OK);
    assert_int_equal(lm_replay_session(b->h->s, &b->row, NULL, &b->replay), LM_OK);
    assert_int_equal(lm_explain(b->replay.session, NULL, &b->x), LM_OK);
    struct lm_printed_source from = {.store = b->h->s,
        .row = &b->row,
        .session = b->replay.session,
        .explain = b->x,
        .made_ms = T0 + 1000000,
        .devices = true};
    assert_int_equal(lm_printed_make(&from, &b->p), LM_OK);
}

typedef enum lm_err writer(FILE *out, const struct lm_printed *p);

static const char *written(struct bench *b, writer *write)
{
    free(b->text);
    FILE *out = open_memstream(&b->text, &b->size);
    assert_non_null(out);
    assert_int_equal(write(out, b->p), LM_OK);
    fclose(out);
    return b->text;
}

static void done(struct bench *b)
{
    lm_printed_free(b->p);
    lm_explain_free(b->x);
    lm_replay_free(&b->replay);
    free(b->text);
}

static void has(const char *text, const char *part)
{
    if (strstr(text, part) == NULL)
        fail_msg("\"%s\" is not in: %.1500s", part, text);
}

static void has_not(const char *text, const char *part)
{
    if (strstr(text, part) != NULL)
        fail_msg("\"%s\" is in it", part);
}

/** What adds up whatever the session: readings, passes, stretches. */
static void adds_up(const struct lm_printed *p)
{
    const struct lm_race *r = &p->race;
    uint32_t bins = 0, passes = 0;
    assert_int_equal(r->passes, p->sum.passes);
    assert_int_equal(r->past, r->passes + r->called);
    assert_true(r->n_bins <= LM_BINS_MAX);
    for (size_t i = 0; i < r->n_bins; i++)
        bins +=
            r->bins[i].by_attention[0] + r->bins[i].by_attention[1] + r->bins[i].by_attention[2];
    for (unsigned k = 1; k <= LM_PER_PASS_MAX; k++)
        passes += r->per_pass[k];
    assert_int_equal(bins, r->past);
    assert_int_equal(passes, r->passes);
}

/* --- sessions --- */

static void an_empty_session(void **state)
{
    struct bench b = {.h = *state};
    open_session(&b, "");
    end_session(&b, true);
    adds_up(b.p);
    const char *html = written(&b, lm_printed_html);
    has(html, "Nobody was read or called in this session.");
    has(html, "No code was read in this session");
    has(html, "nothing can be said of them");
    has(html, "No device in the register has dates");
    has(html, "In the book, expected here: 0. Heads counted: not counted.");
    has(html, "Nobody was on the roll");
    has_not(html, "viewBox=\"0 0 720");
    has(written(&b, lm_printed_text), "Nobody was on the roll");
    has(written(&b, lm_printed_json), "\"bins\":[]");
    written(&b, lm_printed_csv);
    assert_int_equal(strcspn(b.text, "\r"), b.size - 2); /* only the header */
    done(&b);
}

static void a_session_still_open(void **state)
{
    struct bench b = {.h = *state};
    fill(b.h->s, 0, 5);
    open_session(&b, "");
    read_code(&b, 1, T0 + 1000, 1000);
    end_session(&b, false);
    adds_up(b.p);
    const char *html = written(&b, lm_printed_html);
    has(html, "still open when this was made");
    has(html, "4 of the roll are not yet seen, and nobody is missing yet");
    has(html, "Not found: 0");
    done(&b);
}

static void one_reading(void **state)
{
    struct bench b = {.h = *state};
    fill(b.h->s, 0, 1);
    open_session(&b, "");
    read_code(&b, 1, T0 + 1000, 1000);
    end_session(&b, true);
    adds_up(b.p);
    assert_int_equal(b.p->race.n_bins, 1);
    assert_int_equal(b.p->race.per_pass[1], 1);
    const char *html = written(&b, lm_printed_html);
    has(html, "Nobody on the roll is without a reading or a call.");
    has(html, "100.0 per cent (20.7 to 100.0), 1 of 1");
    has_not(html, "nan");
    has_not(html, "inf");
    done(&b);
}

/* Readings of three clocks: a right one, none, and one that is years out. */
static void clocks(void **state)
{
    static const struct {
        const char *legend;
        int64_t step;
        bool timed, by_time;
        size_t bins;
    } rows[] = {
        {"a minute apart", 60000, true, true, 50},
        {"no clock at all", 0, false, false, 50},
        {"a year apart", INT64_C(31536000000), true, false, 50},
        {"all at once", 0, true, true, 1},
    };
    struct help *h = *state;
    fill(h->s, 0, 50);
    for (size_t i = 0; i < N_OF(rows); i++) {
        struct bench b = {.h = h};
        open_session(&b, "");
        for (int64_t k = 0; k < 50; k++) {
            int64_t t = rows[i].timed ? T0 + k * rows[i].step : LM_TIME_NONE;
            read_code(&b, (uint64_t) k + 1, t, rows[i].timed ? k * 1000 : LM_TIME_NONE);
        }
        end_session(&b, true);
        adds_up(b.p);
        if (b.p->race.by_time != rows[i].by_time || b.p->race.n_bins != rows[i].bins)
            fail_msg(
                "%s: by time %d, %zu columns", rows[i].legend, b.p->race.by_time, b.p->race.n_bins);
        has(written(&b, lm_printed_html),
            rows[i].by_time ? "time of day, UTC" : "no clock tells when");
        done(&b);
    }
}

/* Five readings of one animal, one of the next; a third called, a fourth called and taken back. */
static void passes_and_calls(void **state)
{
    struct bench b = {.h = *state};
    fill(b.h->s, 0, 6);
    open_session(&b, "");
    for (int64_t k = 0; k < 5; k++)
        read_code(&b, 1, T0 + 1000 + k * 100, 1000 + k * 100);
    read_code(&b, 2, T0 + 5000, 5000);
    call(&b, "no 0002", T0 + 9000);
    call(&b, "no 0003", T0 + 9500);
    append(&b, (struct lm_event){.kind = LM_EVENT_UNDO, .t_ms = T0 + 9600, .clock_ms = 9600});
    read_code(&b, 1, T0 + 99000, 99000); /* again */
    end_session(&b, true);
    adds_up(b.p);
    const struct lm_race *r = &b.p->race;
    assert_int_equal(r->passes, 3);
    assert_int_equal(r->past, 4);
    assert_int_equal(r->called, 1);
    assert_int_equal(r->per_pass[5], 1);
    assert_int_equal(r->per_pass[1], 2);
    assert_int_equal(r->in_passes, 7);
    assert_int_equal(r->by_attention[LM_LOOK], 2); /* the call without a reading, and again */
    has(written(&b, lm_printed_html), "Columns, passes by their number of readings. 1: 2. 5: 1.");
    done(&b);
}

static void a_large_session_opens(void **state)
{
    enum { ALL = 6000, SEEN = 2000 };
    struct bench b = {.h = *state};
    assert_int_equal(lm_store_begin_bulk(b.h->s), LM_OK);
    fill(b.h->s, 0, ALL);
    assert_int_equal(lm_store_commit(b.h->s), LM_OK);
    open_session(&b, "");
    for (int64_t k = 0; k < SEEN; k++)
        read_code(&b, (uint64_t) k + 1, T0 + k * 2000, k * 2000);
    for (int64_t k = 0; k < 500; k++)
        read_code(&b, 900000 + (uint64_t) k, T0 + k * 2000, SEEN * 2000 + k * 2000);
    end_session(&b, true);
    adds_up(b.p);
    const char *html = written(&b, lm_printed_html);
    has(html, "Not found: 4000");
    has(html, "\xe2\x80\xa6 and 3800 more; lugmark findings 1 --json lists them.");
    has(html, "\xe2\x80\xa6 and 300 more;");
    assert_true(b.size < 250000);
    const char *csv = written(&b, lm_printed_csv);
    size_t rows = 0;
    for (const char *at = csv; (at = strstr(at, "\r\n")) != NULL; at += 2)
        rows++;
    assert_int_equal(rows, 1 + b.p->n); /* all of them */
    done(&b);
}

/* What the figures leave open, said for every case there is. */
static void bounds_in_words(void **state)
{
    static const struct {
        struct lm_summary sum;
        const char *says;
    } rows[] = {
        {{.expected = 0}, "Nobody was on the roll"},
        {{.expected = 9, .present = 9}, "Nobody on the roll is without"},
        {{.expected = 9, .absent_min = 0, .absent_max = 1}, "whether it is away cannot be told"},
        {{.expected = 9, .has_heads = true, .heads = 8, .absent_min = 1, .absent_max = 1},
            "1 on the roll was not seen. By the heads counted, it is truly away."},
        {{.expected = 9, .has_heads = true, .heads = 7, .absent_min = 2, .absent_max = 2},
            "2 on the roll were not seen. By the heads counted, all of them are truly away."},
        {{.expected = 9, .has_heads = true, .heads = 8, .absent_min = 1, .absent_max = 3},
            "between 1 and 3 are truly away: heads that nobody could name"},
        {{.expected = 9, .absent_min = 0, .absent_max = 3},
            "between 0 and 3 are truly away: heads were not counted"},
        {{.expected = 9, .identified = 8, .has_heads = true, .heads = 7, .heads_short = true},
            "LOOK: fewer heads were counted (7) than animals identified (8)"},
    };
    struct bench b = {.h = *state};
    char text[512];
    open_session(&b, "");
    end_session(&b, true);
    for (size_t i = 0; i < N_OF(rows); i++) {
        b.p->sum = rows[i].sum;
        has(lm_sheet_bounds(b.p, text, sizeof text), rows[i].says);
    }
    char sure[16];
    assert_string_equal(lm_sheet_sure(0.994, sure), "99 %");
    assert_string_equal(lm_sheet_sure(0.999, sure), ">99 %");
    assert_string_equal(lm_sheet_sure(0.204, sure), "20 %");
    done(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_empty_session, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(a_session_still_open, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(one_reading, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(clocks, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(passes_and_calls, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(a_large_session_opens, help_setup, help_teardown),
        cmocka_unit_test_setup_teardown(bounds_in_words, help_setup, help_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
