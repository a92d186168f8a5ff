/* Event lines: what is written comes back the same, and what is no event is refused by name. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "lugmark/eventline.h"
#include "random_record.h"

static enum lm_err parse(
    struct lm_eventline *store, const char *line, struct lm_event *ev, struct lm_problem *p)
{
    return lm_eventline_parse(store, line, strlen(line), ev, p);
}

static const char *open_difference(const struct lm_open *a, const struct lm_open *b)
{
    if (a->kind != b->kind || strcmp(a->id, b->id) || strcmp(a->mob, b->mob))
        return "kind, id or mob";
    if (strcmp(a->lot, b->lot) || strcmp(a->count, b->count) || strcmp(a->who, b->who))
        return "lot, count or who";
    if (strcmp(a->settings, b->settings))
        return "settings";
    if (a->n_keys != b->n_keys)
        return "n_keys";
    for (size_t i = 0; i < a->n_keys; i++)
        if (strcmp(a->keys[i], b->keys[i]))
            return "keys";
    return NULL;
}

static const char *event_difference(const struct lm_event *a, const struct lm_event *b)
{
    if (a->kind != b->kind || a->seq != b->seq)
        return "kind or seq";
    if (a->t_ms != b->t_ms || a->clock_ms != b->clock_ms)
        return "t or clock_ms";
    if (strcmp(a->lane, b->lane) || strcmp(a->reader, b->reader))
        return "lane or reader";
    if (a->eid.bits != b->eid.bits || a->eid.known != b->eid.known)
        return "eid";
    if (a->doubt != b->doubt || strcmp(a->text, b->text) || a->cut != b->cut)
        return "doubt, text or cut";
    if (a->heads != b->heads)
        return "heads";
    if (a->kind == LM_EVENT_OPEN)
        return open_difference(a->open, b->open);
    return a->kind == LM_EVENT_REGISTER ? record_difference(a->record, b->record) : NULL;
}

struct scene {
    struct lm_open open;
    struct lm_record record;
    char names[20][LM_NAME_MAX + 1];
    const char *keys[20];
};

static void random_open(struct dice *d, struct scene *s)
{
    memset(&s->open, 0, sizeof s->open);
    s->open.kind = (enum lm_session_kind) roll(d, LM_SALE + 1);
    random_text(d, s->open.id, LM_NAME_MAX);
    random_text(d, s->open.mob, LM_NAME_MAX);
    random_text(d, s->open.lot, LM_NAME_MAX);
    random_text(d, s->open.count, LM_NAME_MAX);
    random_text(d, s->open.who, LM_NAME_MAX);
    random_text(d, s->open.settings, LM_SETTINGS_MAX);
    s->open.n_keys = roll(d, 20);
    for (size_t i = 0; i < s->open.n_keys; i++) {
        snprintf(s->names[i], sizeof s->names[i], "%u\"", roll(d, 1000));
        s->keys[i] = s->names[i];
    }
    s->open.keys = s->keys;
}

static void random_text_event(struct dice *d, struct lm_event *ev)
{
    random_text(d, ev->text, LM_VISUAL_MAX);
    if (!ev->text[0])
        snprintf(ev->text, sizeof ev->text, "0417");
    ev->cut = roll(d, 5) == 0;
}

static void random_event(struct dice *d, struct scene *s, unsigned number, struct lm_event *ev)
{
    memset(ev, 0, sizeof *ev);
    ev->kind = (enum lm_event_kind) roll(d, LM_EVENT_REGISTER + 1);
    ev->seq = roll(d, 3) ? (int64_t) (roll64(d) >> 1) : 0;
    ev->t_ms = roll(d, 4) ? (int64_t) (roll64(d) % 253402300800000) : LM_TIME_NONE;
    ev->clock_ms = roll(d, 3) ? ev->t_ms : roll(d, 2) ? (int64_t) (roll64(d) >> 2) : LM_TIME_NONE;
    random_text(d, ev->lane, LM_NAME_MAX);
    random_text(d, ev->reader, LM_NAME_MAX);
    if (ev->kind == LM_EVENT_READING) {
        do
            ev->eid = random_eid(d);
        while (!ev->eid.known);
        if (roll(d, 3) == 0) {
            ev->eid = (struct lm_eid){0};
            ev->doubt = (enum lm_doubt)(1 + roll(d, LM_DOUBT_DAMAGED));
            random_text_event(d, ev);
        }
    } else if (ev->kind == LM_EVENT_SIGHTING) {
        ev->eid = random_eid(d);
        random_text_event(d, ev);
    } else if (ev->kind == LM_EVENT_HEADS) {
        ev->heads = roll(d, 10000001);
    } else if (ev->kind == LM_EVENT_OPEN) {
        random_open(d, s);
        ev->open = &s->open;
    } else if (ev->kind == LM_EVENT_REGISTER) {
        random_record(d, number, &s->record);
        ev->record = &s->record;
    }
}

static void comes_back_the_same(void **state)
{
    struct dice dice = {0x243f6a8885a308d3};
    struct lm_eventline *store = lm_eventline_new();
    static struct scene scene;
    unsigned kinds[LM_EVENT_REGISTER + 1] = {0};

    (void) state;
    for (unsigned i = 0; i < 6000; i++) {
        struct lm_event before, after;
        struct lm_problem p = {0};
        const char *field;
        char *text;

        random_event(&dice, &scene, i, &before);
        kinds[before.kind]++;
        text = lm_eventline_text(&before);
        assert_non_null(text);
        assert_null(strchr(text, '\n'));
        memset(&after, 0xAA, sizeof after);
        if (parse(store, text, &after, &p))
            fail_msg("refused: %s: %s", p.what, text);
        field = event_difference(&before, &after);
        if (field)
            fail_msg("%s came back changed: %s", field, text);
        free(text);
    }
    for (unsigned k = 0; k <= LM_EVENT_REGISTER; k++)
        assert_true(kinds[k] > 100);
    lm_eventline_free(store);
}

static void takes_the_documented_lines(void **state)
{
    struct lm_eventline *store = lm_eventline_new();
    struct lm_event ev;

    (void) state;
    assert_int_equal(parse(store,
                         "\xEF\xBB\xBF{\"t\":\"2026-11-02T08:00:01.250Z\",\"lane\":\"1\","
                         "\"reading\":\"999000000012345\",\"weight\":41.5}\r\n",
                         &ev, NULL),
        LM_OK);
    assert_int_equal(ev.kind, LM_EVENT_READING);
    assert_true(ev.t_ms == INT64_C(1793606401250) && ev.clock_ms == ev.t_ms);
    assert_string_equal(ev.lane, "1");
    assert_int_equal(lm_eid_national(ev.eid), 12345);
    assert_int_equal(
        parse(store, "{\"sighting\":\" 0417 \",\"with\":\"999-000000012345\"}", &ev, NULL), LM_OK);
    assert_string_equal(ev.text, "0417");
    assert_false(ev.cut);
    assert_int_equal(lm_eid_country(ev.eid), 999);
    assert_true(ev.t_ms == LM_TIME_NONE && ev.clock_ms == LM_TIME_NONE);
    assert_int_equal(parse(store, "{\"sighting\":\"0417\",\"with\":\"\"}", &ev, NULL), LM_OK);
    assert_int_equal(ev.eid.known, LM_EID_NONE);
    assert_int_equal(parse(store, "{\"heads\":0}", &ev, NULL), LM_OK);
    assert_int_equal(parse(store, "{\"heads\":10000000}", &ev, NULL), LM_OK);
    assert_int_equal(ev.heads, 10000000);
    assert_int_equal(parse(store, "{\"heads\":null,\"undo\":true}", &ev, NULL), LM_OK);
    assert_int_equal(ev.kind, LM_EVENT_UNDO);
    lm_eventline_free(store);
}

static const struct {
    const char *line;
    enum lm_doubt doubt;
    const char *text;
} doubtful[] = {
    {"{\"reading\":\"999999999999999\"}", LM_DOUBT_OUT_OF_RANGE, "999999999999999"},
    {"{\"reading\":\"9.99E+14\"}", LM_DOUBT_DAMAGED, "9.99E+14"},
    {"{\"reading\":\"\"}", LM_DOUBT_DAMAGED, ""},
    {"{\"reading\":\"999000000012345\",\"doubt\":\"bad-check\"}", LM_DOUBT_BAD_CHECK,
        "999000000012345"},
};

static void doubtful_readings_are_events(void **state)
{
    struct lm_eventline *store = lm_eventline_new();
    struct lm_event ev;

    (void) state;
    for (unsigned i = 0; i < sizeof doubtful / sizeof doubtful[0]; i++) {
        assert_int_equal(parse(store, doubtful[i].line, &ev, NULL), LM_OK);
        assert_int_equal(ev.doubt, doubtful[i].doubt);
        assert_int_equal(ev.eid.known, LM_EID_NONE);
        assert_string_equal(ev.text, doubtful[i].text);
    }
    lm_eventline_free(store);
}

static void a_long_sighting_is_cut(void **state)
{
    struct lm_eventline *store = lm_eventline_new();
    struct lm_event ev;
    char line[300];

    (void) state;
    snprintf(line, sizeof line, "{\"sighting\":\"%0200d\"}", 7);
    assert_int_equal(parse(store, line, &ev, NULL), LM_OK);
    assert_true(ev.cut);
    assert_int_equal(strlen(ev.text), LM_VISUAL_MAX);
    assert_int_equal(parse(store, "{\"sighting\":\"04\\u000717\"}", &ev, NULL), LM_OK);
    assert_true(ev.cut);
    assert_string_equal(ev.text, "04?17");
    lm_eventline_free(store);
}

static const struct {
    const char *line, *what, *mend;
    long column;
} refused[] = {
    {"", "nothing is there", "empty line", 0},
    {" \r\n", "nothing is there", "", 0},
    {"999000000012345", "not JSON", "reading", 0},
    {"[]", "not a JSON object", "", 0},
    {"{\"lane\":\"1\"}", "nothing that happened", "reading", 0},
    {"{\"reading\":\"1\"} x", "not JSON", "", 0},
    {"{\"reading\":\"\xFF\"}", "not JSON", "", 0},
    {"{\"heads\":1,\"undo\":true}", "undo: stands beside \"heads\"", "two lines", 12},
    {"{\"reading\":\"1\",\"reading\":\"2\"}", "duplicate", "", 0},
    {"{\"reading\":999000000012345}", "reading: must be text", "quotes: codes", 2},
    {"{\"sighting\":417}", "sighting: must be text", "quotes", 2},
    {"{\"sighting\":\"  \"}", "sighting: no number", "", 2},
    {"{\"sighting\":\"0417\",\"with\":\"abc\"}", "with: ", "", 20},
    {"{\"sighting\":\"0417\",\"with\":12}", "with: must be text", "", 20},
    {"{\"heads\":\"213\"}", "heads: not a whole number", "without quotes", 2},
    {"{\"heads\":2.0}", "heads: not a whole number", "", 2},
    {"{\"heads\":-1}", "heads: must be from 0 to 10000000", "", 2},
    {"{\"heads\":10000001}", "heads: must be from 0 to 10000000", "", 2},
    {"{\"heads\":99999999999999999999}", "not JSON", "", 0},
    {"{\"undo\":false}", "undo: must be true", "", 2},
    {"{\"undo\":1}", "undo: not true or false", "", 2},
    {"{\"close\":\"yes\"}", "close: not true or false", "", 2},
    {"{\"heads\":1,\"t\":\"yesterday\"}", "t: not a time: yesterday", "2026-11-02T", 12},
    {"{\"heads\":1,\"t\":1793606401}", "t: must be text", "", 12},
    {"{\"heads\":1,\"clock_ms\":\"1\"}", "clock_ms: not a whole", "", 12},
    {"{\"heads\":1,\"seq\":-1}", "seq: must be from 0", "", 12},
    {"{\"lane\":\"seq\",\"seq\":-1,\"heads\":1}", "seq: must be from 0", "", 15},
    {"{\"heads\":1,\"lane\":1}", "lane: must be text", "", 12},
    {"{\"open\":\"walk\"}", "open: not a JSON object", "kind", 2},
    {"{\"open\":{}}", "kind: not a kind of session", "walk, count or sale", 0},
    {"{\"open\":{\"kind\":\"walk\",\"animals\":\"A\"}}", "animals: not a list", "", 24},
    {"{\"open\":{\"kind\":\"sale\",\"animals\":[\"A\",7]}}", "animals: entry 2", "", 24},
    {"{\"open\":{\"kind\":\"sale\",\"animals\":[\"\"]}}", "animals: entry 1", "", 24},
    {"{\"reading\":\"x\",\"doubt\":\"so-so\"}", "doubt: not a known word", "bad-check", 16},
    {"{\"register\":[]}", "register: not a JSON object", "", 2},
    {"{\"register\":{}}", "no name", "", 0},
};

static void refuses_by_name(void **state)
{
    struct lm_eventline *store = lm_eventline_new();

    (void) state;
    for (unsigned i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        struct lm_problem p = {0};
        struct lm_event ev;
        const char *line = refused[i].line;

        if (parse(store, line, &ev, &p) != LM_EINPUT)
            fail_msg("taken: %s", line);
        if (!strstr(p.what, refused[i].what) || !strstr(p.mend, refused[i].mend))
            fail_msg("%s: said \"%s\", to mend \"%s\"", line, p.what, p.mend);
        if (refused[i].column && p.column != refused[i].column)
            fail_msg("%s: column %ld", line, p.column);
        assert_int_equal(parse(store, line, &ev, NULL), LM_EINPUT);
    }
    lm_eventline_free(store);
}

/* A lot of 20,000 animals fits in a line; one byte above the cap does not. */
static void takes_lines_up_to_the_cap(void **state)
{
    struct lm_eventline *store = lm_eventline_new();
    char *line = malloc(LM_EVENTLINE_MAX + 2);
    size_t n = (size_t) sprintf(line, "{\"open\":{\"kind\":\"sale\",\"animals\":[\"A0\"");
    struct lm_problem p = {0};
    struct lm_event ev;

    (void) state;
    for (unsigned i = 1; i < 20000; i++)
        n += (size_t) snprintf(line + n, 32, ",\"A%u\"", i);
    n += (size_t) snprintf(line + n, 32, "]}}");
    memset(line + n, ' ', LM_EVENTLINE_MAX + 1 - n);
    assert_int_equal(lm_eventline_parse(store, line, LM_EVENTLINE_MAX, &ev, &p), LM_OK);
    assert_int_equal(ev.open->n_keys, 20000);
    assert_string_equal(ev.open->keys[19999], "A19999");
    assert_int_equal(lm_eventline_parse(store, line, LM_EVENTLINE_MAX + 1, &ev, &p), LM_EINPUT);
    assert_non_null(strstr(p.what, "longer than 1048576 bytes"));
    free(line);
    lm_eventline_free(store);
}

/* Cut anywhere, no line may crash or read past its end (the copy has exactly its length). */
static void takes_any_cut(void **state)
{
    static const char line[] = "{\"t\":\"2026-11-02T08:00:01Z\",\"register\":{\"animal\":\"A\","
                               "\"devices\":[{\"eid\":\"9000F9C000003039\"}]}}";
    struct lm_eventline *store = lm_eventline_new();

    (void) state;
    for (size_t n = 0; n < sizeof line - 1; n++) {
        struct lm_event ev;
        char *copy = malloc(n ? n : 1);

        memcpy(copy, line, n);
        assert_int_equal(lm_eventline_parse(store, copy, n, &ev, NULL), LM_EINPUT);
        free(copy);
    }
    lm_eventline_free(store);
}

static void writes_a_line_end(void **state)
{
    struct lm_event ev = {.kind = LM_EVENT_HEADS, .heads = 213, .t_ms = 0};
    char text[100] = "";
    FILE *out = tmpfile();

    (void) state;
    assert_int_equal(lm_eventline_write(out, &ev), LM_OK);
    rewind(out);
    assert_non_null(fgets(text, sizeof text, out));
    assert_string_equal(text, "{\"t\":\"1970-01-01T00:00:00.000Z\",\"heads\":213}\n");
    fclose(out);
    out = fopen("/dev/full", "w");
    if (out) {
        setbuf(out, NULL);
        assert_int_equal(lm_eventline_write(out, &ev), LM_EIO);
        fclose(out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(comes_back_the_same),
        cmocka_unit_test(takes_the_documented_lines),
        cmocka_unit_test(doubtful_readings_are_events),
        cmocka_unit_test(a_long_sighting_is_cut),
        cmocka_unit_test(refuses_by_name),
        cmocka_unit_test(takes_lines_up_to_the_cap),
        cmocka_unit_test(takes_any_cut),
        cmocka_unit_test(writes_a_line_end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
