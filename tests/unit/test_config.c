/* The configuration file: what is taken, and how each mistake is named. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/config.h"

#define PROBLEMS 16

struct heard {
    unsigned n;
    struct lm_problem p[PROBLEMS];
};

static void hear(const struct lm_problem *p, void *ctx)
{
    struct heard *h = ctx;
    if (h->n < PROBLEMS) {
        h->p[h->n] = *p;
    }
    h->n++;
}

static enum lm_err read_bytes(
    const char *text, size_t len, struct config **cfg, struct heard *heard)
{
    char path[] = "/tmp/lugmark-config-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, text, len), (ssize_t) len);
    close(fd);
    memset(heard, 0, sizeof *heard);
    *cfg = config_new();
    assert_non_null(*cfg);
    enum lm_err err = config_read(*cfg, path, hear, heard);
    for (unsigned i = 0; i < heard->n && i < PROBLEMS; i++) {
        assert_string_equal(heard->p[i].file, path);
        assert_int_equal(heard->p[i].err, LM_EINPUT);
        assert_true(heard->p[i].mend[0] != '\0');
    }
    unlink(path);
    return err;
}

static void takes_everything(void **state)
{
    (void) state;
    static const char text[] = "\xEF\xBB\xBF; a remark\n"
                               "# another\n"
                               "\n"
                               "[holding]\n"
                               "name = Example holding ; of nobody\n"
                               "number = 999000\r\n"
                               "[lane 1]\n"
                               "\trearm_s = 2.5\n"
                               "[lane 2]\n"
                               "  crossing_s = 4\n"
                               "[reader front]\n"
                               "lane = 1\n"
                               "driver = serial\n"
                               "port = /nowhere/a:b=c\n"
                               "line = 9600 8N1\n"
                               "decoder = text\n"
                               "silent_s = 7\n"
                               "[reader back]\n"
                               "lane = 3\n"
                               "port = /nowhere/d\n"
                               "[page]\n"
                               "listen = 127.0.0.1:8480\n"
                               "[attention]\n"
                               "same-animal-again = hold\n"
                               "test-code=go";
    struct config *cfg;
    struct heard heard;
    enum lm_err err = read_bytes(text, sizeof text - 1, &cfg, &heard);
    if (heard.n > 0) {
        print_message("%ld: %s\n", heard.p[0].line, heard.p[0].what);
    }
    assert_int_equal(err, LM_OK);
    assert_string_equal(cfg->holding_name, "Example holding");
    assert_string_equal(cfg->holding_number, "999000");
    assert_int_equal(cfg->n_lanes, 2);
    assert_int_equal(cfg->lanes[0].rearm_ms, 2500);
    assert_true(cfg->lanes[1].rearm_ms == LM_TIME_NONE);
    assert_int_equal(cfg->options.crossing_ms, 4000);
    assert_int_equal(cfg->n_readers, 2);
    assert_string_equal(cfg->readers[0].block.name, "front");
    assert_string_equal(cfg->readers[0].ops->name, "serial");
    assert_int_equal(cfg->readers[0].silent_ms, 7000);
    assert_string_equal(
        lm_setting_get(cfg->readers[0].list, cfg->readers[0].n_list, "port"), "/nowhere/a:b=c");
    assert_null(lm_setting_get(cfg->readers[0].list, cfg->readers[0].n_list, "silent_s"));
    assert_string_equal(cfg->readers[1].ops->name, "serial");
    assert_int_equal(cfg->readers[1].silent_ms, 60000);
    assert_string_equal(cfg->page_listen, "127.0.0.1:8480");
    assert_int_equal(cfg->options.attention[LM_SAME_ANIMAL_AGAIN], LM_HOLD);
    assert_int_equal(cfg->options.attention[LM_TEST_CODE], LM_GO);
    const char *lanes[CONFIG_LANES + CONFIG_READERS];
    assert_int_equal(config_lane_names(cfg, lanes), 3);
    assert_string_equal(lanes[2], "3");
    free(cfg);
}

static void an_empty_file_is_the_defaults(void **state)
{
    (void) state;
    struct config *cfg;
    struct heard heard;
    struct lm_session_options options;
    const char *lanes[CONFIG_LANES + CONFIG_READERS];
    lm_session_defaults(&options);
    assert_int_equal(read_bytes("", 0, &cfg, &heard), LM_OK);
    assert_int_equal(cfg->n_readers, 0);
    assert_int_equal(cfg->options.rearm_ms, options.rearm_ms);
    assert_memory_equal(cfg->options.attention, options.attention, sizeof options.attention);
    assert_int_equal(config_lane_names(cfg, lanes), 1);
    assert_string_equal(lanes[0], "1");
    free(cfg);
}

static void a_reader_without_a_lane_is_in_lane_1(void **state)
{
    (void) state;
    static const char text[] = "[reader a]\nport=/nowhere\n";
    struct config *cfg;
    struct heard heard;
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_OK);
    assert_string_equal(cfg->readers[0].lane, "1");
    free(cfg);
}

/* A frame is described once, after or before the readers that name it. */
static void a_reader_takes_the_keys_of_its_frame(void **state)
{
    (void) state;
    static const char text[] = "[reader a]\nport = /nowhere\ndecoder = frame mine\n"
                               "[frame mine]\nstart = 02\nfields = block:8\nend = 03\n"
                               "[reader b]\nport = /nowhere/b\ndecoder = frame  mine\n"
                               "[reader c]\nport = /nowhere/c\n";
    struct config *cfg;
    struct heard heard;
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_OK);
    for (size_t i = 0; i < 2; i++) {
        const struct config_reader *r = &cfg->readers[i];
        assert_string_equal(lm_setting_get(r->list, r->n_list, "decoder"), "frame");
        assert_string_equal(lm_setting_get(r->list, r->n_list, "fields"), "block:8");
        assert_string_equal(r->frame->name, "mine");
        assert_int_equal(r->frame->line, 4);
    }
    assert_null(cfg->readers[2].frame);
    assert_null(lm_setting_get(cfg->readers[2].list, cfg->readers[2].n_list, "fields"));
    free(cfg);
}

#define R "[reader a]\nport = /nowhere\n"
#define TEN "0123456789"
#define LINE_190 TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN

static const struct {
    const char *text;
    long line;
    const char *what; /* part of it */
    const char *mend; /* part of it */
} mistakes[] = {
    {"name = x\n", 1, "before the first section", "[holding]"},
    {"[holdign]\n", 1, "no section is called [holdign]", "did you mean holding?"},
    {"[zzzzzzzz]\n", 1, "no section", "choose from holding lane reader"},
    {"[holding]\nnmae = x\n", 2, "[holding] has no key nmae", "did you mean name?"},
    {"[holding]\nname = x\nname = y\n", 3, "stands twice", "take one"},
    {"[holding]\n[page]\n[holding]\n", 3, "[holding] stands twice", "one heading"},
    {"[holding yard]\n", 1, "no name of its own", "take the name out"},
    {"[lane]\n", 1, "[lane] without a name", "[lane NAME]"},
    {"[lane 1]\n\n[lane 1]\n", 3, "stands twice, first in line 1", "one heading"},
    {"[lane 1]\nrearm = 3\n", 2, "no key rearm", "did you mean rearm_s?"},
    {"[lane 1]\nrearm_s = soon\n", 2, "rearm_s = soon", "2.5"},
    {"[lane 1]\nrearm_s = -1\n", 2, "no time", "2.5"},
    {"[lane 1]\nrearm_s = 3601\n", 2, "no time", "2.5"},
    {"[lane 1]\nrearm_s =\n", 2, "no time", "2.5"},
    {"[lane 1]\nrearm_s = 1.2.3\n", 2, "no time", "2.5"},
    {"[attention]\nsame-animal-agian = hold\n", 2, "no finding has the reason",
        "did you mean same-animal-again?"},
    {"[control]\ngroup = read\n", 2, "none of these", "work, look or nobody"},
    {"[control]\ngruop = look\n", 2, "no key gruop", "group"},
    {"[attention]\ntest-code = stop\n", 2, "no attention", "go, look or hold"},
    {"[page]\nlisten = 8480\n", 2, "no address and port", "127.0.0.1:8480"},
    {"[page]\nlisten = 127.0.0.1:99999\n", 2, "no address and port", "127.0.0.1:8480"},
    {R "drvier = serial\n", 3, "[reader a] has no key drvier", "did you mean driver?"},
    {R "driver = seriel\n", 3, "no driver is called seriel", "did you mean serial?"},
    {R "decoder = txet\n", 3, "no decoder is called txet", "did you mean text?"},
    {R "decoder = frame mine\n", 3, "no section [frame mine]", "section [frame NAME]"},
    {R "decoder = frame mine\n[frame mne]\nstart = 02\n", 3, "no section [frame mine]",
        "did you mean mne?"},
    {"[frame a]\nfeilds = block:8\n", 2, "[frame a] has no key feilds", "did you mean fields?"},
    {R "poll_sm = 500\n", 3, "[reader a] has no key poll_sm", "did you mean poll_ms?"},
    {R "lane =\n", 3, "no name of a lane", "such as 1"},
    {R "silent_s = 1.5\n", 3, "silent_s = 1.5", "whole number"},
    {R "[reader a]\n", 3, "[reader a] stands twice, first in line 1", "one heading"},
    {"[reader a\n", 1, "without its closing ]", "[reader front]"},
    {"[holding]\njust words\n", 2, "neither a section nor key = value", "key = value"},
    {"[holding]\nname = \xff\xfe\n", 2, "not UTF-8", "UTF-8"},
    {"[holding]\nname = a\033[31m\n", 2, "control characters", "UTF-8"},
    {"[page]\n; " LINE_190 "12345"
     "6\n",
        2, "this line has 198 bytes; 197", "shorten"},
};

static void each_mistake_is_named(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof mistakes / sizeof mistakes[0]; i++) {
        struct config *cfg;
        struct heard heard;
        enum lm_err err = read_bytes(mistakes[i].text, strlen(mistakes[i].text), &cfg, &heard);
        if (err != LM_EINPUT || heard.n != 1 || heard.p[0].line != mistakes[i].line ||
            strstr(heard.p[0].what, mistakes[i].what) == NULL ||
            strstr(heard.p[0].mend, mistakes[i].mend) == NULL) {
            print_message("row %zu: %u problems; line %ld: %s; to mend: %s\n", i, heard.n,
                heard.p[0].line, heard.p[0].what, heard.p[0].mend);
        }
        assert_int_equal(err, LM_EINPUT);
        assert_int_equal(heard.n, 1);
        assert_int_equal(heard.p[0].line, mistakes[i].line);
        assert_non_null(strstr(heard.p[0].what, mistakes[i].what));
        assert_non_null(strstr(heard.p[0].mend, mistakes[i].mend));
        free(cfg);
    }
}

/* 197 bytes are taken whole: inih would have cut the 198th off without a word. */
static void the_longest_line_is_taken(void **state)
{
    (void) state;
    static const char text[] = "[reader a]\nport = " LINE_190 "\n";
    struct config *cfg;
    struct heard heard;
    assert_int_equal(strlen("port = " LINE_190), CONFIG_LINE_MAX);
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_OK);
    assert_int_equal(
        strlen(lm_setting_get(cfg->readers[0].list, cfg->readers[0].n_list, "port")), 190);
    free(cfg);
}

static void all_mistakes_are_named(void **state)
{
    (void) state;
    static const char text[] = "[lane 1]\nrearm_s = x\n[what]\nkey = passed over\n[holding]\n"
                               "nam = y\n[reader a]\nport = /nowhere\nbaud = 9600\n";
    static const long lines[] = {2, 3, 6, 9};
    struct config *cfg;
    struct heard heard;
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_EINPUT);
    assert_int_equal(heard.n, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(heard.p[i].line, lines[i]);
    }
    free(cfg);
}

static void a_nul_byte_is_named(void **state)
{
    (void) state;
    static const char text[] = "[holding]\nna\0me = x\n";
    struct config *cfg;
    struct heard heard;
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_EINPUT);
    assert_int_equal(heard.p[0].line, 2);
    assert_non_null(strstr(heard.p[0].what, "NUL"));
    free(cfg);
}

/* inih takes an indented line for more of the value above; here it is a key like any other. */
static void an_indented_line_is_a_line(void **state)
{
    (void) state;
    static const char text[] = "[holding]\nname = x\n   number = 12\n";
    struct config *cfg;
    struct heard heard;
    assert_int_equal(read_bytes(text, sizeof text - 1, &cfg, &heard), LM_OK);
    assert_string_equal(cfg->holding_name, "x");
    assert_string_equal(cfg->holding_number, "12");
    free(cfg);
}

static void bounds_hold(void **state)
{
    (void) state;
    char text[16384];
    size_t at = 0;
    struct config *cfg;
    struct heard heard;
    for (unsigned i = 0; i < CONFIG_READERS + 3; i++) {
        at += (size_t) snprintf(text + at, sizeof text - at, "[reader r%u]\nport=/nowhere\n", i);
    }
    assert_int_equal(read_bytes(text, at, &cfg, &heard), LM_EINPUT);
    assert_int_equal(cfg->n_readers, CONFIG_READERS);
    assert_int_equal(heard.n, 3);
    assert_non_null(strstr(heard.p[0].what, "more than 32 [reader] sections"));
    free(cfg);
    at = (size_t) snprintf(text, sizeof text, "[reader a]\n");
    for (unsigned i = 0; i < CONFIG_SETTINGS + 2; i++) {
        at += (size_t) snprintf(text + at, sizeof text - at, "k%u=x\n", i);
    }
    assert_int_equal(read_bytes(text, at, &cfg, &heard), LM_EINPUT);
    assert_int_equal(cfg->readers[0].block.n, CONFIG_SETTINGS);
    free(cfg);
}

static void a_file_that_is_not_there(void **state)
{
    (void) state;
    struct heard heard = {0};
    struct config *cfg = config_new();
    assert_int_equal(config_read(cfg, "/nowhere/at/all.conf", hear, &heard), LM_ENOTFOUND);
    assert_int_equal(heard.n, 1);
    assert_non_null(strstr(heard.p[0].what, "No such file"));
    assert_int_equal(config_read(cfg, "/tmp", hear, &heard), LM_EINPUT);
    free(cfg);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_everything),
        cmocka_unit_test(an_empty_file_is_the_defaults),
        cmocka_unit_test(a_reader_without_a_lane_is_in_lane_1),
        cmocka_unit_test(a_reader_takes_the_keys_of_its_frame),
        cmocka_unit_test(each_mistake_is_named),
        cmocka_unit_test(the_longest_line_is_taken),
        cmocka_unit_test(all_mistakes_are_named),
        cmocka_unit_test(a_nul_byte_is_named),
        cmocka_unit_test(an_indented_line_is_a_line),
        cmocka_unit_test(bounds_hold),
        cmocka_unit_test(a_file_that_is_not_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
