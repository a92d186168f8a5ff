/* lugmark mark-plan: the holding's own convention of colours, ears and numbers. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "drivers/ini.h"
#include "life.h"
#include "lugmark/markplan.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define YEARS_SHOWN 8

static void year_words(const struct lm_markplan *plan, int year)
{
    struct lm_mark_for whom = {.born = {(int16_t) year, 0, 0}};
    struct lm_mark mark = lm_markplan_for(plan, &whom);
    if (mark.colour[0] == '\0' && mark.letter == 0)
        return;
    printf("    %d  %s", year, mark.colour);
    if (mark.letter != 0)
        printf(_("  letter %c"), mark.letter);
    putchar('\n');
}

static json_t *plan_json(const struct lm_markplan *plan)
{
    json_t *out = json_object();
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        if (plan->values[i][0] != '\0')
            json_object_set_new(
                out, lm_plan_key_name((enum lm_plan_key) i), json_string(plan->values[i]));
    return out;
}

static int show(const struct lm_args *args, const struct lm_markplan *plan)
{
    int year = lm_life_today().year;
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, plan_json(plan));
        return LM_EXIT_OK;
    }
    if (lm_markplan_empty(plan)) {
        puts(
            _("No marking plan is set. One key at a time: lugmark mark-plan set ear-female \"right "
              "ear\""));
        return LM_EXIT_OK;
    }
    puts(_("The marking plan of this holding, its own convention and no rule:"));
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        if (plan->values[i][0] != '\0')
            printf("  %-17s %s\n", lm_plan_key_name((enum lm_plan_key) i), plan->values[i]);
    puts(_("  by year of birth:"));
    for (int y = year - YEARS_SHOWN + 2; y <= year + 1; y++)
        year_words(plan, y);
    return LM_EXIT_OK;
}

static int unknown_key(const char *word)
{
    const char *names[LM_PLAN_KEYS];
    char clean[64], mend[256];
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        names[i] = lm_plan_key_name((enum lm_plan_key) i);
    const char *near = lm_nearest(word, names, LM_PLAN_KEYS);
    if (near != NULL)
        snprintf(mend, sizeof mend, "did you mean %s?", near);
    else
        snprintf(mend, sizeof mend, "lugmark mark-plan --help lists the keys");
    return lm_fail(LM_EXIT_INPUT, mend, "a marking plan has no key \"%s\"",
        lm_clean(clean, sizeof clean, word));
}

static int set(
    struct lm_store *store, struct lm_markplan *plan, const char *name, const char *value)
{
    enum lm_plan_key key;
    struct lm_problem p = {0};
    if (!lm_plan_key_parse(name, &key))
        return unknown_key(name);
    if (lm_markplan_set(plan, key, value, &p) != LM_OK)
        return lm_problem_fail(&p);
    return lm_markplan_keep(store, plan, key) == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
}

/* One file of keys; every bad line is told, and nothing is kept when one is bad. */
struct file {
    const char *name;
    struct lm_markplan plan;
    struct lm_problems problems;
};

static void bad_line(void *ctx, long line, const char *mend, const char *what)
{
    struct file *f = ctx;
    struct lm_problem p = {.line = line};
    snprintf(p.file, sizeof p.file, "%s", f->name);
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    lm_problems_add(&p, &f->problems);
}

static void take_section(void *ctx, long line, const char *text)
{
    if (text != NULL && !lm_word_is(text, "mark-plan"))
        bad_line(ctx, line, "the section is [mark-plan]", "no such section");
}

static void take_key(void *ctx, long line, const char *name, const char *value)
{
    struct file *f = ctx;
    enum lm_plan_key key;
    struct lm_problem p = {0};
    if (!lm_plan_key_parse(name, &key))
        bad_line(ctx, line, "lugmark mark-plan --help lists the keys", "no key of a marking plan");
    else if (lm_markplan_set(&f->plan, key, value, &p) != LM_OK)
        bad_line(ctx, line, p.mend, p.what);
}

static int take_file(struct lm_store *store, struct lm_markplan *plan, const char *name)
{
    struct file f = {.name = name};
    struct lm_ini to = {.section = take_section, .key = take_key, .bad = bad_line, .ctx = &f};
    enum lm_err err = lm_ini_read(name, &to);
    if (f.problems.count > 0 || err != LM_OK)
        return lm_problems_end(&f.problems);
    for (int i = 0; i < LM_PLAN_KEYS; i++)
        if (lm_markplan_keep(store, &f.plan, (enum lm_plan_key) i) != LM_OK)
            return lm_db_fail(store);
    *plan = f.plan;
    return LM_EXIT_OK;
}

struct checking {
    const struct lm_markplan *plan;
    json_t *list; /* with --json */
    unsigned long looked_at, differ;
};

static enum lm_err check_one(const struct lm_record *rec, long line, void *ctx)
{
    struct checking *c = ctx;
    char should[LM_PLAN_TEXT_MAX], words[2 * LM_PLAN_TEXT_MAX];
    (void) line;
    if (rec->status != LM_ON_FARM)
        return LM_OK;
    c->looked_at++;
    if (!lm_markplan_record(c->plan, rec, should))
        return LM_OK;
    c->differ++;
    if (c->list != NULL)
        json_array_append_new(
            c->list, json_pack("{s:s, s:s}", "animal", rec->key, "should", should));
    else
        printf(_("%-12s should wear: %s\n"), rec->key, lm_tongue_list(should, words, sizeof words));
    return LM_OK;
}

static int check(const struct lm_args *args, struct lm_store *store, const struct lm_markplan *plan)
{
    struct checking c = {.plan = plan};
    if (lm_arg_given(args, "json"))
        c.list = json_array();
    if (lm_store_each(store, check_one, &c) != LM_OK) {
        json_decref(c.list);
        return lm_db_fail(store);
    }
    if (c.list != NULL)
        lm_json_line(stdout, c.list);
    else
        printf(_("%lu of %lu animals on the farm wear other marks than the plan says; that is a "
                 "note, no fault\n"),
            c.differ, c.looked_at);
    return LM_EXIT_OK;
}

static int for_whom(const struct lm_args *args, const struct lm_markplan *plan)
{
    struct lm_mark_for whom = {.breed = lm_arg(args, "breed")};
    const char *sex = lm_arg(args, "sex"), *born = lm_arg(args, "born");
    char words[LM_PLAN_TEXT_MAX];
    if (born != NULL && lm_date_parse(born, strlen(born), &whom.born) != LM_OK)
        return lm_fail(
            LM_EXIT_INPUT, "write 2026, 2026-03 or 2026-03-28", "--born cannot be \"%s\"", born);
    if (sex != NULL && lm_sex_parse(sex, &whom.sex, NULL) != LM_OK)
        return lm_fail(LM_EXIT_INPUT, "female or male", "--sex cannot be \"%s\"", sex);
    struct lm_mark mark = lm_markplan_for(plan, &whom);
    lm_mark_words(&mark, words);
    if (!lm_arg_given(args, "json")) {
        puts(words[0] != '\0' ? words : _("the plan says nothing of it"));
        return LM_EXIT_OK;
    }
    char letter[2] = {mark.letter, '\0'};
    lm_json_line(stdout, json_pack("{s:s, s:s, s:s, s:s, s:s, s:s}", "colour", mark.colour, "form",
                             lm_device_form_name((enum lm_device_form) mark.form), "place",
                             lm_place_name((enum lm_place) mark.place), "number", mark.number,
                             "letter", letter, "words", words));
    return LM_EXIT_OK;
}

static int act(const struct lm_args *args, struct lm_store *store, struct lm_markplan *plan)
{
    const char *verb = args->n_rest > 0 ? args->rest[0] : "show";
    bool set_verb = strcmp(verb, "set") == 0, import_verb = strcmp(verb, "import") == 0;
    if (args->n_rest != (set_verb ? 3 : import_verb ? 2 : args->n_rest > 0 ? 1 : 0))
        return lm_usage(args, "set takes KEY VALUE, import takes FILE, check and for take options");
    if (strcmp(verb, "check") == 0)
        return check(args, store, plan);
    if (strcmp(verb, "for") == 0)
        return for_whom(args, plan);
    int exit = LM_EXIT_OK;
    if (set_verb)
        exit = set(store, plan, args->rest[1], args->rest[2]);
    else if (import_verb)
        exit = take_file(store, plan, args->rest[1]);
    else if (strcmp(verb, "show") != 0)
        exit = lm_usage(args, "it is set, import, check or for, not %s", verb);
    if (exit == LM_EXIT_OK && (set_verb || import_verb) && lm_store_commit(store) != LM_OK)
        exit = lm_db_fail(store);
    return exit == LM_EXIT_OK ? show(args, plan) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    bool writes = args->n_rest > 1;
    int exit = lm_db_open(args, writes ? LM_STORE_WRITE : LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_markplan *plan = calloc(1, sizeof *plan);
    if (plan == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else if (lm_store_begin(store) != LM_OK || lm_markplan_load(store, plan) != LM_OK)
        exit = lm_db_fail(store);
    else
        exit = act(args, store, plan);
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    free(plan);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"born", 0, "DATE", "for: year of birth, or more of the date"},
    {"sex", 0, "WORD", "for: female or male"},
    {"breed", 0, "TEXT", "for: its breed"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_mark_plan = {
    .name = "mark-plan",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Show or set which colour, ear and number an animal should wear"),
    .arguments = "[set KEY VALUE | import FILE | check | for]",
    .details =
        "The holding's own convention, kept in the register; what does not fit is a note.\n"
        "colours 2026 orange, 2027 green    colour-cycle 2024 black, white, orange\n"
        "ear-female, ear-male right ear     form flag tag\n"
        "number Y### (Y, YY the birth year's last digits, L its letter, # a digit, @ a letter)\n"
        "year-letter 2019 L                 letters-skip IOQU\n"
        "small-ears breeds with hardly any ear, tattooed in small-ears-place (tail web)\n"
        "check lists the animals that wear something else. A file has lines KEY = VALUE.",
    .example = "lugmark mark-plan set ear-female \"right ear\"\n"
               "lugmark mark-plan for --born 2026-03 --sex female",
    .options = options,
    .max_rest = 3,
    .run = run,
};
