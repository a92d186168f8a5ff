/* Loading rule packs: what is refused, where and why; and what a good one becomes. */
#include "rules_help.h"

#define HEAD                                                                                       \
    "{\"schema\":\"lugmark.rules/1\",\n\"id\":\"x\",\n\"name\":\"X\",\n\"jurisdiction\":\"X\",\n"  \
    "\"as_of\":\"2026-01-10\",\n\"authority\":\"X\",\n"
#define FORMAT "{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":\"A\",\"valid\":[\"A\"]}"
#define WEIGHT                                                                                     \
    "\"severity\":\"E\",\"evidence\":\"V\",\"citation\":\"c\",\"as_of\":\"2026\",\"text\":\"t\""
#define RULE(more) "\"rules\":[\n{\"id\":\"R\"," more "}]}"
#define NOTE_RULE "\"requirement\":{\"kind\":\"note\"}," WEIGHT
#define NEED(more) HEAD RULE("\"requirement\":{" more "}," WEIGHT)
#define WHEN(more) HEAD RULE("\"applies_when\":{" more "}," NOTE_RULE)

static const struct {
    const char *text;
    long line;
    const char *says;
} broken[] = {
    {"", 1, "expected"},
    {"[]", 1, "one object"},
    {"{\n\n\"schema\":", 3, ""},
    {"{\"id\":\"x\"}", 1, "schema is not there"},
    {"{\n\"schema\":\"lugmark.rules/2\"}", 2, "not lugmark.rules/1"},
    {HEAD "\"id\":\"y\"}", 7, "duplicate"},
    {HEAD "\"nonsense\":1}", 7, "no key \"nonsense\""},
    {HEAD "\"rules\":[]}", 7, "no rule"},
    {HEAD "\"rules\":{}}", 7, "no list"},
    {HEAD "\"rules\":[\n1]}", 8, "no object"},
    {HEAD RULE("\"requirement\":{\"kind\":\"note\"}"), 8, "severity is not there"},
    {HEAD RULE(WEIGHT), 8, "requirement is not there"},
    {HEAD RULE("\"id2\":1," NOTE_RULE), 8, "no key \"id2\""},
    {HEAD RULE("\"requirement\":1," WEIGHT), 8, "a requirement is an object"},
    {NEED("\"kind\":\"magic\""), 8, "no requirement \"magic\""},
    {NEED("\"kind\":\"note\",\n\"kinds\":1"), 9, "no key \"kinds\""},
    {NEED("\"kind\":\"paper\""), 8, "wants the key paper"},
    {NEED("\"kind\":\"only-when\""), 8, "wants the key when"},
    {NEED("\"kind\":\"only-when\",\"when\":{\"sexx\":1}"), 8, "no key \"sexx\""},
    {NEED("\"kind\":\"number-format\",\n\"formats\":\"NOPE\""), 9, "no format \"NOPE\""},
    {NEED("\"kind\":\"applied-before\",\n\"date\":\"2015-13-01\""), 9, "no date"},
    {NEED("\"kind\":\"applied-before\""), 8, "wants the key date"},
    {NEED("\"kind\":\"replaced-within\",\"days\":0"), 8, "whole number"},
    {NEED("\"kind\":\"electronic-place\""), 8, "wants the key places"},
    {NEED("\"kind\":\"electronic-place\",\"places\":\"nose\""), 8, "no place"},
    {NEED("\"kind\":\"forms-not\",\"forms\":\"brand\""), 8, "no form of a device"},
    {NEED("\"kind\":\"age-known\""), 8, "wants the key months"},
    {NEED("\"kind\":\"visible-match\""), 8, "wants the key colours"},
    {NEED("\"kind\":\"heads-agree\""), 8, "add \"of\":\"lot\""},
    {HEAD RULE("\"of\":\"lot\",\"requirement\":{\"kind\":\"on-farm\"}," WEIGHT), 8, "not of a lot"},
    {HEAD RULE("\"of\":\"lot\",\n\"applies_when\":{\"sex\":\"female\"}," NOTE_RULE), 8,
        "cannot ask about one animal"},
    {HEAD RULE("\"of\":\"mob\"," NOTE_RULE), 8, "animal or lot"},
    {WHEN("\"age_months_min\":\"18\""), 8, "whole number"},
    {WHEN("\"age_months_min\":1.5"), 8, "whole number"},
    {WHEN("\n\n\"sex\":\"wether\""), 10, "female or male"},
    {WHEN("\"castrated\":\"no\""), 8, "neither true nor false"},
    {WHEN("\"purpose\":\"fun\""), 8, "no purpose \"fun\""},
    {WHEN("\"destination\":\"moon\""), 8, "not among the pack's destinations"},
    {WHEN("\"case\":\"odd\""), 8, "not among the pack's cases"},
    {WHEN("\"tag_type\":\"NOPE\""), 8, "no format \"NOPE\""},
    {WHEN("\"season\":[\"02-30\",\"03-01\"]"), 8, "season"},
    {WHEN("\"born_from\":\"soon\""), 8, "no date"},
    {WHEN("\"purpose\":[]"), 8, "no list of 1"},
    {WHEN("\"tag\":1"), 8, "applies_when: there is no key \"tag\""},
    {HEAD RULE("\"unless\":{\"a\":1}," NOTE_RULE), 8, "unless: there is no key \"a\""},
    {HEAD RULE("\"requirement\":{\"kind\":\"note\"},\"severity\":\"X\",\"evidence\":\"V\""), 8,
        "E, W or I"},
    {HEAD RULE("\"requirement\":{\"kind\":\"note\"},\"severity\":\"E\",\"evidence\":\"V9\""), 8,
        "V, V2, M or own"},
    {HEAD RULE("\"requirement\":{\"kind\":\"note\"},\"severity\":\"E\",\"evidence\":\"own\""), 8,
        "no jurisdiction"},
    {HEAD "\"rules\":[\n{\"id\":\"R\"," NOTE_RULE "},\n{\"id\":\"r\"," NOTE_RULE "}]}", 9,
        "there twice"},
    {HEAD "\"rules\":[\n{\"id\":\"R 1\"," NOTE_RULE "}]}", 8, "letters, digits"},
    {HEAD "\"formats\":[{\"id\":\"F\",\n\"meaning\":\"m\"}]}", 7, "pattern is not there"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\n\"pattern\":\"A*\"}]}", 8,
        "from character 2"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":\"A\",\n\"valid\":[\"B\"]}]}",
        8, "\"B\" does not have this form"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":\"A\",\"valid\":\"A\",\n"
          "\"invalid\":[\"a\"]}]}",
        8, "has this form all the same"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":\"A\"}]}", 7,
        "valid is not there"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":null,\"for\":\"nose\"}]}", 7,
        "visual, electronic"},
    {HEAD "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":null,\"check\":\"luhn\"}]}", 7,
        "no check \"luhn\""},
    {HEAD "\"formats\":[" FORMAT ",\n" FORMAT "]}", 8, "there twice"},
    {HEAD "\"countries\":{\"UK\":\"826\"}}", 7, "no country"},
    {HEAD "\"countries\":{\"UK\":826,\n\"U1\":1}}", 8, "\"U1\" is no country"},
    {HEAD "\"cases\":[{\"id\":\"c\",\"text\":\"a\\u001b[31m\"}]}", 7, "control characters"},
    {HEAD "\"cases\":[{\"id\":\"c\",\"text\":\"a\\u0000b\"}]}", 7, ""},
    {HEAD "\"cases\":[{\"id\":\"c\",\"text\":\"\"}]}", 7, "empty"},
    {"{\"schema\":\"lugmark.rules/1\",\"id\":\"x\",\"name\":\"X\",\"jurisdiction\":\"X\",\n"
     "\"as_of\":\"yesterday\",\"authority\":\"X\"}",
        2, "no date"},
    {"{\"schema\":\"lugmark.rules/1\",\"id\":\"../x\"}", 1, "letters, digits"},
    {"{\"name\":\"\xff\"}", 1, "unable to decode"},
};

static void broken_packs_are_refused(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
        struct lm_problem p;
        struct lm_rulepack *pack = NULL;
        const char *text = broken[i].text;
        enum lm_err err = lm_rulepack_parse(text, strlen(text), "bad.json", &pack, &p);
        if (err != LM_EINPUT || pack != NULL)
            fail_msg("number %zu was taken: %s", i, text);
        assert_string_equal(p.file, "bad.json");
        if (p.line != broken[i].line || strstr(p.what, broken[i].says) == NULL)
            fail_msg("number %zu: line %ld, \"%s\"; not line %ld, \"%s\"", i, p.line, p.what,
                broken[i].line, broken[i].says);
        assert_true(p.what[0] != '\0' && p.column > 0);
    }
}

/* Every cut of a good pack is refused, and none of them breaks anything. */
static void cut_packs_are_refused(void **state)
{
    const char *text = HEAD "\"formats\":[" FORMAT "]," RULE(NOTE_RULE);
    (void) state;
    for (size_t n = 0; n <= strlen(text); n++) {
        struct lm_problem p;
        struct lm_rulepack *pack = NULL;
        char *copy = malloc(n > 0 ? n : 1); /* so that reading past its end is seen */
        memcpy(copy, text, n);
        enum lm_err err = lm_rulepack_parse(copy, n, "cut", &pack, &p);
        assert_int_equal(err, n == strlen(text) ? LM_OK : LM_EINPUT);
        lm_rulepack_free(pack);
        free(copy);
    }
}

static void unverified_rules_are_lowered(void **state)
{
    static const struct {
        const char *evidence;
        bool lowered;
        enum lm_severity severity;
    } cases[] = {{"V", false, LM_SEVERITY_STOP}, {"V2", true, LM_SEVERITY_LOOK},
        {"M", true, LM_SEVERITY_LOOK}};
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[900];
        struct lm_problem p;
        struct lm_rulepack *pack = NULL;
        snprintf(text, sizeof text,
            HEAD "\"rules\":[{\"id\":\"R\",\"requirement\":{\"kind\":\"official-device\"},"
                 "\"severity\":\"E\",\"evidence\":\"%s\",\"citation\":\"c\",\"as_of\":\"2026\","
                 "\"text\":\"t\"}]}",
            cases[i].evidence);
        assert_int_equal(lm_rulepack_parse(text, strlen(text), "x", &pack, &p), LM_OK);
        const struct lm_rule_pack *rules = lm_rulepack_rules(pack);
        struct lm_record rec = {.key = "A1"};
        struct lm_rule_animal animal = {.rec = &rec};
        struct lm_rule_context ctx = {0};
        struct lm_rule_result got;
        assert_int_equal(rules->rules[0].severity, cases[i].severity);
        assert_int_equal(rules->rules[0].lowered, cases[i].lowered);
        lm_rule_check(rules, &rules->rules[0], &animal, &ctx, &got);
        assert_int_equal(got.outcome, LM_OUTCOME_FAIL);
        assert_int_equal(got.attention, cases[i].lowered ? LM_LOOK : LM_HOLD);
        lm_rulepack_free(pack);
    }
}

static void files(void **state)
{
    struct lm_problem p;
    struct lm_rulepack *pack = NULL;
    (void) state;
    assert_int_equal(lm_rulepack_read("/nowhere/x.json", &pack, &p), LM_ENOTFOUND);
    assert_string_equal(p.file, "/nowhere/x.json");
    assert_int_equal(lm_rulepack_read("/", &pack, &p), LM_EIO);
    assert_int_equal(lm_rulepack_read("/dev/zero", &pack, &p), LM_EINPUT);
    assert_null(pack);
    lm_rulepack_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(broken_packs_are_refused),
        cmocka_unit_test(cut_packs_are_refused),
        cmocka_unit_test(unverified_rules_are_lowered),
        cmocka_unit_test(files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
