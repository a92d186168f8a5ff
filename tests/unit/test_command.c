/* The table of commands and the parser that reads it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "src/cli/command.h"

static bool parse(const char *command, const char *line, struct lm_args *args, char *message)
{
    static char words[512];
    static char *argv[32];
    int argc = 0;
    snprintf(words, sizeof words, "%s", line);
    for (char *w = strtok(words, " "); w != NULL; w = strtok(NULL, " "))
        argv[argc++] = strcmp(w, "''") == 0 ? (char *) "" : w;
    const struct lm_command *c = lm_command_named(command);
    assert_non_null(c);
    return lm_args_parse(c, argc, argv, args, message, 256);
}

static void every_command_is_whole(void **state)
{
    size_t n;
    const struct lm_command *const *all = lm_commands(&n);
    (void) state;
    assert_true(n >= 20);
    assert_null(all[n]);
    for (size_t i = 0; i < n; i++) {
        const struct lm_command *c = all[i];
        assert_ptr_equal(lm_command_named(c->name), c); /* also: no name is there twice */
        assert_true(strlen(c->summary) > 10 && strlen(c->summary) < 66);
        assert_true(c->summary[strlen(c->summary) - 1] != '.');
        assert_non_null(c->arguments);
        assert_true(c->group < LM_GROUPS);
        assert_non_null(c->run);
        assert_true(c->max_rest >= c->min_rest);
        assert_true((c->max_rest > 0) == (c->arguments[0] != '\0') || c->max_rest == 0);
        char begin[64];
        snprintf(begin, sizeof begin, "lugmark %s", c->name);
        assert_memory_equal(c->example, begin, strlen(begin));
    }
}

static void every_option_is_whole(void **state)
{
    const struct lm_command *const *all = lm_commands(NULL);
    const struct lm_option *o, *other;
    (void) state;
    for (size_t i = 0; all[i] != NULL; i++) {
        size_t n = 0;
        for (; (o = lm_command_option(all[i], n)) != NULL; n++) {
            assert_true(strlen(o->name) > 1 && o->name[0] != '-');
            assert_true(strlen(o->help) > 3);
            for (size_t k = 0; k < n; k++) {
                other = lm_command_option(all[i], k);
                assert_string_not_equal(o->name, other->name);
                assert_true(o->letter == 0 || o->letter != other->letter);
            }
        }
        assert_true(n >= 4 && n <= LM_OPTIONS_MAX);
        assert_string_equal(lm_command_option(all[i], n - 1)->name, "help");
    }
}

static void help_comes_from_the_table(void **state)
{
    const struct lm_command *const *all = lm_commands(NULL);
    (void) state;
    for (size_t i = 0; all[i] != NULL; i++) {
        char *text = NULL;
        size_t size = 0;
        FILE *out = open_memstream(&text, &size);
        const struct lm_option *o;
        lm_help_command(out, all[i]);
        fclose(out);
        assert_non_null(strstr(text, all[i]->summary));
        assert_non_null(strstr(text, "\nexample:\n  lugmark "));
        assert_non_null(strstr(text, "exit status: 0"));
        for (size_t k = 0; (o = lm_command_option(all[i], k)) != NULL; k++)
            assert_non_null(strstr(text, o->help));
        free(text);
    }
}

static void options_in_every_form(void **state)
{
    struct lm_args a;
    char m[256];
    (void) state;
    assert_true(parse("open", "walk --mob does --who=Me -c spring --db x.db", &a, m));
    assert_string_equal(lm_arg(&a, "mob"), "does");
    assert_string_equal(lm_arg(&a, "who"), "Me");
    assert_string_equal(lm_arg(&a, "count"), "spring");
    assert_string_equal(lm_arg(&a, "db"), "x.db");
    assert_null(lm_arg(&a, "lot"));
    assert_null(lm_arg(&a, "no-such-option"));
    assert_int_equal(a.n_rest, 1);
    assert_string_equal(a.rest[0], "walk");
    assert_true(parse("open", "-mdoes walk", &a, m));
    assert_string_equal(lm_arg(&a, "mob"), "does");
    assert_string_equal(a.rest[0], "walk");
    assert_true(parse("import", "-n -", &a, m));
    assert_true(lm_arg_given(&a, "dry-run"));
    assert_string_equal(a.rest[0], "-");
    assert_true(parse("import", "-- -n", &a, m));
    assert_false(lm_arg_given(&a, "dry-run"));
    assert_string_equal(a.rest[0], "-n");
    assert_true(parse("edit", "A1 --mob ''", &a, m));
    assert_string_equal(lm_arg(&a, "mob"), "");
    assert_true(parse("edit", "A1 --mob=", &a, m));
    assert_string_equal(lm_arg(&a, "mob"), "");
    assert_true(parse("import", "--dry-run --dry-run x", &a, m)); /* a switch may be said twice */
    assert_true(parse("find", "--help", &a, m));                  /* needs no argument then */
}

static void wrong_words_are_named(void **state)
{
    static const struct {
        const char *command, *line, *message;
    } cases[] = {
        {"find", "--limt 3 x", "there is no option --limt; did you mean --limit?"},
        {"find", "--zzzzzz x", "there is no option --zzzzzz"},
        {"find", "-z x", "there is no option -z"},
        {"find", "x --limit", "a value must follow --limit"},
        {"find", "x -n", "a value must follow --limit"},
        {"find", "x --limit 1 --limit 2", "given twice: --limit"},
        {"find", "--json=1 x", "no value can follow --json"},
        {"find", "x y", "one argument too many: y"},
        {"find", "", "an argument is missing: TEXT"},
        {"verify", "x", "one argument too many: x"},
        {"find", "--\x1b[31m x", "there is no option --?[31m"},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct lm_args a;
        char m[256] = "";
        assert_false(parse(cases[i].command, cases[i].line, &a, m));
        assert_string_equal(m, cases[i].message);
    }
}

static void numbers_are_whole_and_bounded(void **state)
{
    static const char *const bad[] = {
        "x", "0", "11", "1.5", "1x", "-1", "+1", "99999999999999999999"};
    struct lm_args a;
    char m[256], line[64];
    long n = 7;
    (void) state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        snprintf(line, sizeof line, "x --limit=%s", bad[i]);
        assert_true(parse("find", line, &a, m));
        assert_false(lm_arg_number(&a, "limit", 1, 10, &n));
        assert_int_equal(n, 7);
    }
    assert_true(parse("find", "x", &a, m));
    assert_true(lm_arg_number(&a, "limit", 1, 10, &n));
    assert_int_equal(n, 7);
    assert_true(parse("find", "x --limit 10", &a, m));
    assert_true(lm_arg_number(&a, "limit", 1, 10, &n));
    assert_int_equal(n, 10);
}

static void the_nearest_name(void **state)
{
    static const char *const names[] = {"import", "export", "find", "findings", "head", "open"};
    static const struct {
        const char *word, *near;
    } cases[] = {
        {"imprt", "import"},
        {"exprot", "export"},
        {"fnid", "find"},
        {"finding", "findings"},
        {"haed", "head"},
        {"opne", "open"},
        {"impo", "import"},
        {"zzzz", NULL},
        {"", NULL},
        {"a-word-that-is-much-longer-than-any-slip-of-a-finger", NULL},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *near = lm_nearest(cases[i].word, names, sizeof names / sizeof *names);
        if (cases[i].near == NULL)
            assert_null(near);
        else
            assert_string_equal(near, cases[i].near);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_command_is_whole),
        cmocka_unit_test(every_option_is_whole),
        cmocka_unit_test(help_comes_from_the_table),
        cmocka_unit_test(options_in_every_form),
        cmocka_unit_test(wrong_words_are_named),
        cmocka_unit_test(numbers_are_whole_and_bounded),
        cmocka_unit_test(the_nearest_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
