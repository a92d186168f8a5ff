/* Parts of the command line that no command shows in a moment: the bar, and what a rehearsal found
 * that nobody planted. */
#include "pty.h"

#include "src/cli/progress.h"
#include "src/cli/rehearse_check.h"
#include "src/daemon/life.h"

/* What is written to standard error while it is a terminal. */
struct screen {
    struct pty pty;
    int kept;
    char said[400];
};

static void to_terminal(struct screen *s)
{
    s->pty = pty_open();
    int fd = open(s->pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    struct termios t;
    assert_int_equal(tcgetattr(fd, &t), 0);
    cfmakeraw(&t);
    assert_int_equal(tcsetattr(fd, TCSANOW, &t), 0);
    fflush(stderr);
    s->kept = dup(STDERR_FILENO);
    assert_int_equal(dup2(fd, STDERR_FILENO), STDERR_FILENO);
    close(fd);
}

static void back(struct screen *s)
{
    fflush(stderr);
    struct pollfd p = {.fd = s->pty.master, .events = POLLIN};
    size_t used = 0; /* a terminal passes on what was written in as many pieces as it likes */
    while (used + 1 < sizeof s->said && poll(&p, 1, 200) > 0) {
        ssize_t n = read(s->pty.master, s->said + used, sizeof s->said - 1 - used);
        if (n <= 0)
            break;
        used += (size_t) n;
    }
    s->said[used] = '\0';
    dup2(s->kept, STDERR_FILENO);
    close(s->kept);
    pty_unplug(&s->pty);
}

static void the_bar(void **state)
{
    (void) state;
    static const struct {
        int64_t begun, shown; /* ms ago */
        long long done, total;
        const char *said;
    } rows[] = {
        {500, 500, 1, 4, ""}, /* within the first second */
        {2000, 50, 1, 4, ""}, /* just now */
        {2000, 2000, 1, 4,
            "\rit goes [##########..............................] 25%\033[K\r\033[K"},
        {2000, 2000, 0, 4, "\rit goes [........................................] 0%\033[K\r\033[K"},
        {2000, 2000, 9, 4,
            "\rit goes [########################################] 100%\033[K\r\033[K"},
        {2000, 2000, 77, 0, "\rit goes 77\033[K\r\033[K"}, /* how much there is is not known */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct screen s;
        struct lm_progress p;
        to_terminal(&s);
        lm_progress_begin(&p);
        bool terminal = p.terminal;
        p.begun_ms -= rows[i].begun;
        p.shown_ms -= rows[i].shown;
        lm_progress_show(&p, "it goes", rows[i].done, rows[i].total);
        lm_progress_end(&p);
        back(&s);
        assert_true(terminal);
        if (strcmp(s.said, rows[i].said) != 0)
            fail_msg("row %zu: %s", i, s.said);
    }
}

static void no_bar_in_a_file(void **state)
{
    (void) state;
    int kept = dup(STDERR_FILENO);
    FILE *file = tmpfile();
    assert_non_null(file);
    fflush(stderr);
    dup2(fileno(file), STDERR_FILENO);
    struct lm_progress p;
    lm_progress_begin(&p);
    p.begun_ms -= 5000;
    p.shown_ms -= 5000;
    lm_progress_show(&p, "it goes", 1, 2);
    lm_progress_end(&p);
    fflush(stderr);
    long size = (long) lseek(fileno(file), 0, SEEK_END);
    dup2(kept, STDERR_FILENO);
    close(kept);
    fclose(file);
    assert_false(p.terminal);
    assert_int_equal(size, 0);
}

static unsigned checked(const struct lm_plan *plan, const char *findings, char **text)
{
    json_t *found = json_loads(findings, 0, NULL);
    size_t size;
    FILE *out = open_memstream(text, &size);
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = {.key = "A1"};
    assert_non_null(found);
    assert_int_equal(lm_roll_put(roll, &rec, NULL), LM_OK);
    unsigned wrong = lm_rehearse_check(out, plan, roll, found);
    fclose(out);
    json_decref(found);
    lm_roll_free(roll);
    return wrong;
}

static void planted_and_found(void **state)
{
    (void) state;
    struct lm_planted planted[] = {{.reason = LM_NOT_SEEN, .animal = 0},
        {.reason = LM_NOT_IN_REGISTER, .animal = LM_NO_ANIMAL}};
    const struct lm_plan plan = {.planted = planted, .n_planted = 2};
    assert_int_equal(lm_eid_make(999, 7, &planted[1].eid), LM_OK);
    static const struct {
        const char *findings;
        unsigned wrong;
        const char *says;
    } rows[] = {
        {"{\"findings\":[{\"reason\":\"not-seen\",\"animal\":\"A1\"},{\"reason\":"
         "\"not-in-register\",\"eid\":[\"999000000000007\"]}]}",
            0, "2 of 2 planted faults found, 0 findings that nobody planted"},
        {"{\"findings\":[{\"reason\":\"not-seen\",\"animal\":\"A2\"},{\"reason\":"
         "\"not-in-register\",\"eid\":[5,\"999000000000007\"]}]}",
            2, "NOT PLANTED  not-seen                 A2"},
        {"{\"findings\":[{\"reason\":\"not-in-register\",\"eid\":[\"999000000000008\"]}]}", 3,
            "NOT PLANTED  not-in-register          999000000000008"},
        {"{\"findings\":[{}]}", 3, "NOT PLANTED  ?                        ?"},
        {"{}", 2, "NOT FOUND    not-seen                 A1"},
        {"{\"findings\":[{\"reason\":\"not-in-register\",\"animal\":\"A1\",\"eid\":"
         "[\"999000000000007\"]}]}",
            3, "0 of 2 planted faults found, 1 findings"}, /* of an animal: no stranger */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char *text = NULL;
        unsigned wrong = checked(&plan, rows[i].findings, &text);
        if (wrong != rows[i].wrong || strstr(text, rows[i].says) == NULL)
            fail_msg("row %zu: %u, %s", i, wrong, text);
        free(text);
    }
}

static void what_a_reader_is(void **state)
{
    (void) state;
    static const char *const names[] = {"absent", "opening", "live", "silent", "backing-off"};
    for (int i = 0; i < LIFE_STATES; i++)
        assert_string_equal(life_name((enum life) i), names[i]);
    assert_string_equal(life_name(LIFE_STATES), "absent"); /* nothing that is not so */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_bar),
        cmocka_unit_test(no_bar_in_a_file),
        cmocka_unit_test(planted_and_found),
        cmocka_unit_test(what_a_reader_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
