/* The rules of a sale: every rule of every pack, on animals that it passes, flags, and cannot
 * judge; and what no rule may do. */
#include "rules_help.h"

#include "rules_cases.h"

static const char *const packs[] = {
    "none", "us", "eu", "england", "ireland", "australia", "canada"};

#define PACKS (sizeof packs / sizeof *packs)

static struct lm_rulepack *loaded[PACKS];

static int load_all(void **state)
{
    (void) state;
    for (size_t i = 0; i < PACKS; i++)
        loaded[i] = must_load(packs[i]);
    return 0;
}

static int free_all(void **state)
{
    (void) state;
    for (size_t i = 0; i < PACKS; i++)
        lm_rulepack_free(loaded[i]);
    return 0;
}

static const struct lm_rule_pack *pack_of(const char *id)
{
    for (size_t i = 0; i < PACKS; i++)
        if (strcmp(packs[i], id) == 0)
            return lm_rulepack_rules(loaded[i]);
    fail_msg("no pack %s", id);
    return NULL;
}

static enum lm_outcome outcome_of(int want)
{
    switch (want) {
    case PASS:
        return LM_OUTCOME_PASS;
    case FAIL:
        return LM_OUTCOME_FAIL;
    case UNKNOWN:
        return LM_OUTCOME_UNKNOWN;
    case NOTE:
        return LM_OUTCOME_NOTE;
    default:
        return LM_OUTCOME_NONE;
    }
}

static void check_case(const struct rule_case *c)
{
    struct example e;
    struct lm_rule_result got;
    const struct lm_rule_pack *pack = pack_of(c->pack);
    const struct lm_rule *rule = rule_of(pack, c->rule);
    bool as_animal = strcmp(c->example, "-animal") == 0;
    example_read(&e, as_animal ? "" : c->example, rule->of_lot && !as_animal);
    lm_rule_check(pack, rule, &e.animal, &e.ctx, &got);
    if (c->want == NEVER) {
        assert_int_not_equal(got.outcome, LM_OUTCOME_UNKNOWN);
        return;
    }
    if (got.outcome != outcome_of(c->want))
        fail_msg("%s of \"%s\": %s, not %s (%s)", c->rule, c->example, lm_outcome_name(got.outcome),
            lm_outcome_name(outcome_of(c->want)), got.words);
    if (c->says != NULL && strstr(got.words, c->says) == NULL)
        fail_msg("%s of \"%s\" says \"%s\", not \"%s\"", c->rule, c->example, got.words, c->says);
    bool quiet = got.outcome == LM_OUTCOME_PASS || got.outcome == LM_OUTCOME_NONE;
    assert_int_equal(got.words[0] == '\0', quiet);
    if (quiet)
        assert_int_equal(got.attention, LM_GO);
}

static void every_case(void **state)
{
    (void) state;
    for (size_t i = 0; i < RULE_CASES; i++)
        check_case(&rule_cases[i]);
}

/* Which outcomes the table has for a rule, as bits. */
static unsigned covered(const char *pack, const char *rule)
{
    unsigned bits = 0;
    for (size_t i = 0; i < RULE_CASES; i++)
        if (strcmp(rule_cases[i].pack, pack) == 0 && strcmp(rule_cases[i].rule, rule) == 0)
            bits |= 1u << rule_cases[i].want;
    return bits;
}

static void every_rule_has_its_cases(void **state)
{
    size_t rules = 0;
    (void) state;
    for (size_t i = 0; i < PACKS; i++) {
        const struct lm_rule_pack *pack = lm_rulepack_rules(loaded[i]);
        assert_string_equal(pack->id, packs[i]);
        for (size_t k = 0; k < pack->n_rules; k++, rules++) {
            bool note = pack->rules[k].need.kind == LM_NEED_NOTE;
            unsigned got = covered(packs[i], pack->rules[k].id);
            bool good = (got & (note ? 1u << NONE : 1u << PASS)) != 0 &&
                        (got & (note ? 1u << NOTE : 1u << FAIL)) != 0 &&
                        (got & (1u << UNKNOWN | 1u << NEVER)) != 0;
            if (!good)
                fail_msg("%s: the table lacks a case that passes, one that fails or one that is "
                         "not known",
                    pack->rules[k].id);
        }
    }
    assert_true(rules > 70);
}

/* What is not marked V (or own) asks for a look at most, and so does what is not known. */
static void only_verified_rules_hold(void **state)
{
    size_t held = 0, lowered = 0;
    (void) state;
    for (size_t i = 0; i < RULE_CASES; i++) {
        struct example e;
        struct lm_rule_result got;
        const struct lm_rule_pack *pack = pack_of(rule_cases[i].pack);
        const struct lm_rule *rule = rule_of(pack, rule_cases[i].rule);
        bool verified = rule->evidence == LM_EVIDENCE_READ || rule->evidence == LM_EVIDENCE_OWN;
        if (rule_cases[i].want == NEVER || rule_cases[i].example[0] == '-')
            continue;
        example_read(&e, rule_cases[i].example, rule->of_lot);
        lm_rule_check(pack, rule, &e.animal, &e.ctx, &got);
        if (got.attention == LM_HOLD) {
            assert_true(verified);
            assert_int_equal(got.outcome, LM_OUTCOME_FAIL);
            held++;
        }
        lowered += rule->lowered;
    }
    assert_true(held > 20);
    assert_true(lowered > 10);
    for (int s = LM_SEVERITY_NOTE; s <= LM_SEVERITY_STOP; s++)
        for (int o = LM_OUTCOME_NONE; o <= LM_OUTCOME_FAIL; o++) {
            enum lm_severity sev = (enum lm_severity) s;
            enum lm_outcome out = (enum lm_outcome) o;
            assert_int_not_equal(lm_rule_attention(out, sev, LM_EVIDENCE_SECOND), LM_HOLD);
            assert_int_not_equal(lm_rule_attention(out, sev, LM_EVIDENCE_MEMORY), LM_HOLD);
        }
    assert_int_equal(
        lm_rule_attention(LM_OUTCOME_FAIL, LM_SEVERITY_STOP, LM_EVIDENCE_READ), LM_HOLD);
    assert_int_equal(
        lm_rule_attention(LM_OUTCOME_UNKNOWN, LM_SEVERITY_STOP, LM_EVIDENCE_READ), LM_LOOK);
    assert_int_equal(lm_rule_attention(LM_OUTCOME_FAIL, LM_SEVERITY_NOTE, LM_EVIDENCE_READ), LM_GO);
}

/* The marks of the facts: a pack that says more than was read would slip through the bound. */
static void marks_are_those_of_the_sources(void **state)
{
    static const char *const weak[] = {"us:US-09:M", "us:US-10:V2", "us:US-14:V2", "eu:EU-03:M",
        "eu:EU-06:M", "eu:EU-09:M", "eu:EU-09B:M", "england:GB-10:M", "england:GB-12:V2",
        "england:GB-15:V2", "ireland:IE-02:V2", "ireland:IE-02B:V2", "ireland:IE-03:V2",
        "ireland:IE-04:V2", "australia:AU-05:V2", "australia:AU-06:M", "canada:CA-03:M",
        "canada:CA-04:M"};
    size_t found = 0;
    (void) state;
    for (size_t i = 0; i < PACKS; i++) {
        const struct lm_rule_pack *pack = lm_rulepack_rules(loaded[i]);
        for (size_t k = 0; k < pack->n_rules; k++) {
            char text[80];
            enum lm_evidence ev = (enum lm_evidence) pack->rules[k].evidence;
            snprintf(
                text, sizeof text, "%s:%s:%s", packs[i], pack->rules[k].id, lm_evidence_name(ev));
            for (size_t w = 0; w < sizeof weak / sizeof *weak; w++)
                found += strcmp(text, weak[w]) == 0;
            assert_int_equal(ev == LM_EVIDENCE_OWN, strcmp(packs[i], "none") == 0);
        }
    }
    assert_int_equal(found, sizeof weak / sizeof *weak);
}

static void ages(void **state)
{
    static const struct {
        const char *born, *at;
        int known, least, most;
        const char *class;
    } cases[] = {
        {"2025-05-02", "2026-11-02", 1, 18, 18, "18 months or more"},
        {"2025-05-03", "2026-11-02", 1, 17, 17, "12 to 18 months"},
        {"2025-05", "2026-11-02", 1, 17, 18, "not known"},
        {"2025", "2026-11-02", 1, 10, 22, "not known"},
        {"2026-05-03", "2026-11-02", 1, 5, 5, "under 6 months"},
        {"2026-02", "2026-11-02", 1, 8, 9, "6 to 12 months"},
        {"2024-02-29", "2025-02-28", 1, 11, 11, "6 to 12 months"},
        {"2024-02-29", "2025-03-01", 1, 12, 12, "12 to 18 months"},
        {"", "2026-11-02", 0, 0, 0, "not known"},
        {"2025-05-02", "2026-11", 0, 0, 0, "not known"},
    };
    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct lm_date born = day(cases[i].born), at = day(cases[i].at);
        struct lm_age age = lm_age_at(born, at);
        assert_int_equal(age.known, cases[i].known);
        assert_int_equal(age.least, cases[i].least);
        assert_int_equal(age.most, cases[i].most);
        assert_string_equal(lm_age_class(born, at), cases[i].class);
    }
}

static void words_round_trip(void **state)
{
    (void) state;
    for (unsigned i = 0; i < LM_NEEDS; i++) {
        enum lm_need_kind kind;
        assert_true(lm_need_name((enum lm_need_kind) i)[0] != '\0');
        assert_int_equal(lm_need_parse(lm_need_name((enum lm_need_kind) i), &kind), LM_OK);
        assert_int_equal(kind, i);
    }
    for (unsigned i = 1; i < LM_PURPOSES; i++) {
        enum lm_purpose purpose;
        assert_int_equal(lm_purpose_parse(lm_purpose_name((enum lm_purpose) i), &purpose), LM_OK);
        assert_int_equal(purpose, i);
    }
    enum lm_purpose purpose;
    enum lm_need_kind kind;
    enum lm_evidence ev;
    assert_int_equal(lm_purpose_parse("", &purpose), LM_EFRAME);
    assert_int_equal(lm_need_parse("no-such", &kind), LM_EFRAME);
    assert_int_equal(lm_evidence_parse("V3", &ev), LM_EFRAME);
    assert_int_equal(lm_evidence_parse("v2", &ev), LM_OK);
    assert_int_equal(ev, LM_EVIDENCE_SECOND);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_case),
        cmocka_unit_test(every_rule_has_its_cases),
        cmocka_unit_test(only_verified_rules_hold),
        cmocka_unit_test(marks_are_those_of_the_sources),
        cmocka_unit_test(ages),
        cmocka_unit_test(words_round_trip),
    };
    return cmocka_run_group_tests(tests, load_all, free_all);
}
