/* What the command line reads itself: lines, small tables, sightings; and its big letters. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "src/cli/glyph.h"
#include "src/cli/lines.h"
#include "src/cli/readings.h"
#include "src/cli/sightings.h"
#include "src/cli/table.h"

static FILE *file_of(const char *data, size_t len)
{
    FILE *f = tmpfile();
    assert_non_null(f);
    assert_int_equal(write(fileno(f), data, len), len);
    assert_int_equal(lseek(fileno(f), 0, SEEK_SET), 0);
    return f;
}

static FILE *file(const char *text)
{
    return file_of(text, strlen(text));
}

static void lines_with_every_end(void **state)
{
    FILE *in = file("\xEF\xBB\xBF"
                    "one\r\n\ntwo\n three\r");
    static const char *const want[] = {"one", "", "two", " three"};
    struct lm_lines l;
    struct lm_problem p = {0};
    const char *line;
    size_t len;
    (void) state;
    assert_int_equal(lm_lines_open(&l, in, "f", 100), LM_OK);
    for (long i = 0; i < 4; i++) {
        assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_OK);
        assert_int_equal(len, strlen(want[i]));
        assert_memory_equal(line, want[i], len);
        assert_int_equal(l.line, i + 1);
    }
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EAGAIN);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EAGAIN);
    lm_lines_close(&l);
    fclose(in);
}

/* Through a pipe that gives one byte at a time, nothing may change. */
static void lines_cut_anywhere(void **state)
{
    static const char data[] = "\xEF\xBB\xBF"
                               "ab\r\ncd\n";
    int ends[2];
    struct lm_lines l;
    struct lm_problem p = {0};
    const char *line;
    size_t len;
    (void) state;
    assert_int_equal(pipe(ends), 0);
    if (fork() == 0) {
        for (size_t i = 0; i < sizeof data - 1; i++) {
            if (write(ends[1], data + i, 1) != 1)
                _exit(1);
            usleep(3000);
        }
        _exit(0);
    }
    close(ends[1]);
    FILE *in = fdopen(ends[0], "r");
    assert_int_equal(lm_lines_open(&l, in, "f", 100), LM_OK);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_OK);
    assert_int_equal(len, 2);
    assert_memory_equal(line, "ab", 2);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_OK);
    assert_memory_equal(line, "cd", 2);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EAGAIN);
    lm_lines_close(&l);
    fclose(in);
}

static void lines_over_many_blocks(void **state)
{
    enum { N = 200000 };
    char *data = malloc(N * 8 + 1);
    struct lm_lines l;
    struct lm_problem p = {0};
    const char *line;
    size_t len;
    (void) state;
    for (int i = 0; i < N; i++)
        snprintf(data + 8 * i, 9, "%07u\n", (unsigned) i % 1000000u);
    FILE *in = file_of(data, N * 8);
    assert_int_equal(lm_lines_open(&l, in, "f", 100), LM_OK);
    for (int i = 0; i < N; i++) {
        assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_OK);
        assert_int_equal(len, 7);
        assert_memory_equal(line, data + 8 * i, 7);
    }
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EAGAIN);
    lm_lines_close(&l);
    fclose(in);
    free(data);
}

static void lines_that_cannot_be(void **state)
{
    char *big = malloc(400000);
    struct lm_lines l;
    struct lm_problem p = {0};
    const char *line;
    size_t len;
    (void) state;
    memset(big, 'x', 400000);
    FILE *in = file_of(big, 400000);
    assert_int_equal(lm_lines_open(&l, in, "f", 1000), LM_OK);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EINPUT);
    assert_int_equal(p.line, 1);
    assert_non_null(strstr(p.what, "1000"));
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EAGAIN); /* never for ever */
    lm_lines_close(&l);
    fclose(in);
    free(big);
    in = file_of("\xFF\xFE"
                 "a\0",
        4);
    assert_int_equal(lm_lines_open(&l, in, "f", 1000), LM_OK);
    assert_int_equal(lm_lines_next(&l, &line, &len, &p), LM_EINPUT);
    assert_non_null(strstr(p.what, "UTF-16"));
    lm_lines_close(&l);
    fclose(in);
}

static const struct lm_table_plan plan = {
    .columns = {"time", "lane", "eid", NULL}, .enough = 1u << 2, .plain = 2};

static void expect_cell(const struct lm_table *t, int column, const char *want)
{
    struct lm_cell cell = lm_table_cell(t, column);
    assert_int_equal(cell.len, strlen(want));
    assert_memory_equal(cell.text, want, cell.len);
}

static void tables_by_name(void **state)
{
    static const struct {
        const char *text, *time, *lane, *eid;
    } cases[] = {
        {"time,lane,eid\nT,1,E\n", "T", "1", "E"},
        {"EID;x;Time\nE;y;T\n", "T", "", "E"},
        {"lane\teid\n\"1\"\t E \n", "", "1", "E"},
        {"# c\n\n eid \nE,F\n", "", "", NULL},
        {"eid\r\nE\r\n", "", "", "E"},
        {"lane,eid\n\"a, b\",\"say \"\"E\"\"\"\n", "", "a, b", "say \"E\""},
        {"lane,eid\n,\n,,,\nL,E\n", "", "L", "E"},
        {"999 000\n", "", "", "999 000"},
        {"\"lane\",\"eid\"\n \"L\" , E\n", "", "L", "E"},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        FILE *in = file(cases[i].text);
        struct lm_table *t = malloc(sizeof *t);
        struct lm_problem p = {0};
        assert_int_equal(lm_table_begin(t, in, "f", &plan, &p), LM_OK);
        enum lm_err err = lm_table_next(t, &p);
        assert_int_equal(err, cases[i].eid == NULL ? LM_EINPUT : LM_OK);
        if (err == LM_OK) {
            expect_cell(t, 0, cases[i].time);
            expect_cell(t, 1, cases[i].lane);
            expect_cell(t, 2, cases[i].eid);
        }
        lm_table_end(t);
        free(t);
        fclose(in);
    }
}

static void tables_that_are_none(void **state)
{
    static const struct {
        const char *text, *what;
        long line;
    } cases[] = {
        {"time,lane\n1,2\n", "no column that is needed", 1},
        {"2026-11-02T08:00:00Z,1,999000000000001\n", "no column that is needed", 1},
        {"Tag ID,Date\n999000000000001,1\n", "no column that is needed", 1},
        {"Tier-Nr;Datum\n", "no column that is needed", 1},
        {"999000000000001\r999000000000002\r", "carriage return", 1},
        {"\rlane,eid\r\r\nL,E\rL,E\n", "carriage return", 2},
        {"eid,eid\n", "twice", 1},
        {"lane,eid\nL\n", "1 cells", 2},
        {"lane,eid\nL,E,x\n", "3 cells", 2},
        {"lane,eid\n\n\"L,E\n", "not closed", 3},
        {"lane,eid\n\"L\"x,E\n", "behind a closing quote", 2},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        FILE *in = file(cases[i].text);
        struct lm_table *t = malloc(sizeof *t);
        struct lm_problem p = {0};
        enum lm_err err = lm_table_begin(t, in, "f", &plan, &p);
        if (err == LM_OK)
            err = lm_table_next(t, &p);
        assert_int_equal(err, LM_EINPUT);
        assert_non_null(strstr(p.what, cases[i].what));
        assert_int_equal(p.line, cases[i].line);
        lm_table_end(t);
        free(t);
        fclose(in);
    }
}

static void readings_of_both_kinds(void **state)
{
    FILE *in = file("lane;eid;time\n1;999000000000001;2026-11-02T08:00:00Z\n"
                    "1;999 000000000002;\n2;rubbish;2026-11-02 08:00:01\n2;;2026-11-02 08:00:01\n"
                    "2;999000000000003;yesterday\n1;999000000000004;\n");
    struct lm_readings *r = malloc(sizeof *r);
    struct lm_event ev = {0};
    struct lm_problem p = {0};
    (void) state;
    assert_int_equal(lm_readings_begin(r, in, "f", &p), LM_OK);
    assert_true(r->timed);
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_OK);
    assert_int_equal(lm_eid_national(ev.eid), 1);
    assert_string_equal(ev.lane, "1");
    assert_int_equal(ev.t_ms, INT64_C(1793606400000));
    assert_int_equal(ev.clock_ms, ev.t_ms);
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_OK);
    assert_int_equal(lm_eid_national(ev.eid), 2);
    assert_true(ev.t_ms == LM_TIME_NONE);
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_OK);
    assert_int_equal(ev.doubt, LM_DOUBT_DAMAGED);
    assert_string_equal(ev.text, "rubbish");
    assert_string_equal(ev.lane, "2");
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_EINPUT);
    assert_int_equal(p.line, 5);
    assert_int_equal(p.column, 2);
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_EINPUT);
    assert_int_equal(p.line, 6);
    assert_int_equal(p.column, 3);
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_OK);
    assert_int_equal(ev.doubt, LM_DOUBT_NONE); /* nothing is left of the doubtful one */
    assert_string_equal(ev.text, "");
    assert_string_equal(ev.lane, "1");
    assert_int_equal(lm_readings_next(r, &ev, &p), LM_EAGAIN);
    lm_readings_end(r);
    free(r);
    fclose(in);
}

static enum lm_err note(const struct lm_event *ev, const char *name, long line, void *ctx)
{
    char *said = ctx;
    size_t len = strlen(said);
    assert_string_equal(name, "f");
    snprintf(said + len, 512 - len, "%s@%s:%ld ", ev->text, ev->lane, line);
    return LM_OK;
}

static void sightings_wait_for_their_pass(void **state)
{
    FILE *in = file("time,lane,visual,with\n2026-11-02T08:00:01Z,1,a,\n"
                    "2026-11-02T08:00:02Z,2,b,999000000000007\n2026-11-02T08:00:03Z,,c,\n"
                    "2026-11-02T08:00:09Z,1,d,999000000000007\n"
                    "2026-11-02T08:00:02Z,1,e,999000000000008\n");
    struct lm_problems problems = {0};
    struct lm_eid seven, nine;
    char said[512] = "";
    const int64_t base = INT64_C(1793606400000);
    (void) state;
    lm_eid_make(999, 7, &seven);
    lm_eid_make(999, 9, &nine);
    struct lm_sightings *s = lm_sightings_read(in, "f", &problems);
    assert_non_null(s);
    assert_true(lm_sightings_timed(s));
    assert_int_equal(lm_sightings_before(s, base + 1000, note, said), LM_OK);
    assert_string_equal(said, ""); /* on a tie the reading comes first */
    lm_sightings_before(s, base + 4000, note, said);
    assert_string_equal(said, "a@1:2 c@:4 ");
    lm_sightings_after(s, nine, note, said);
    assert_string_equal(said, "a@1:2 c@:4 ");
    lm_sightings_after(s, seven, note, said);
    assert_string_equal(said, "a@1:2 c@:4 b@2:3 ");
    lm_sightings_after(s, seven, note, said);
    lm_sightings_before(s, base + 20000, note, said);
    assert_string_equal(said, "a@1:2 c@:4 b@2:3 d@1:5 ");
    lm_sightings_rest(s, note, said);
    assert_string_equal(said, "a@1:2 c@:4 b@2:3 d@1:5 e@1:6 ");
    lm_sightings_rest(s, note, said);
    assert_string_equal(said, "a@1:2 c@:4 b@2:3 d@1:5 e@1:6 ");
    lm_sightings_free(s);
    fclose(in);
}

static void big_letters(void **state)
{
    size_t across, down;
    (void) state;
    for (int c = '0'; c <= 'Z'; c++) {
        if (c > '9' && c < 'A')
            continue;
        for (int d = c + 1; d <= 'Z'; d++)
            if (!(d > '9' && d < 'A'))
                assert_memory_not_equal(lm_glyph((char) c), lm_glyph((char) d), LM_GLYPH_ROWS);
    }
    assert_ptr_equal(lm_glyph('a'), lm_glyph('A'));
    lm_glyph_scale(4, 80, 10, &across, &down);
    assert_int_equal(down, 2);
    assert_true(lm_glyph_width(4, across) <= 80 && lm_glyph_width(4, across + 1) > 80);
    lm_glyph_scale(4, 80, 4, &across, &down);
    assert_int_equal(across, 0);
    lm_glyph_scale(20, 80, 50, &across, &down);
    assert_int_equal(across, 0);
    lm_glyph_scale(0, 80, 50, &across, &down);
    assert_int_equal(across, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_with_every_end),
        cmocka_unit_test(lines_cut_anywhere),
        cmocka_unit_test(lines_over_many_blocks),
        cmocka_unit_test(lines_that_cannot_be),
        cmocka_unit_test(tables_by_name),
        cmocka_unit_test(tables_that_are_none),
        cmocka_unit_test(readings_of_both_kinds),
        cmocka_unit_test(sightings_wait_for_their_pass),
        cmocka_unit_test(big_letters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
