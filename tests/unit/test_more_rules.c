/* Conditions and needs that no pack of today uses in all their ways, one rule
 * and one animal a row; the rule stands in a pack made for it. */
#include "rules_help.h"

#define HEAD                                                                                       \
    "{\"schema\":\"lugmark.rules/"                                                                 \
    "1\",\"id\":\"t\",\"name\":\"t\",\"jurisdiction\":\"none\","                                   \
    "\"as_of\":\"2024-08-19\",\"authority\":\"a\",\"countries\":{\"US\":840},"                     \
    "\"destinations\":[{\"id\":\"show\",\"text\":\"a show\"}],"                                    \
    "\"cases\":[{\"id\":\"c\",\"text\":\"is it so\",\"ask\":true},{\"id\":\"d\",\"text\":\"or "    \
    "so\",\"ask\":true},{\"id\":\"e\",\"text\":\"or not\"}],"                                      \
    "\"formats\":[{\"id\":\"F\",\"meaning\":\"m\",\"pattern\":\"AB\\\\d{4}\","                     \
    "\"for\":[\"visual\"],\"valid\":[\"AB1234\"]},{\"id\":\"B\",\"meaning\":"                      \
    "\"b\",\"pattern\":\"AB \\\\d{2}\","                                                           \
    "\"blanks\":true,\"for\":[\"visual\"],\"valid\":[\"AB "                                        \
    "12\"]}],\"rules\":[{\"id\":\"R\",\"species\":[\"goat\"],"                                     \
    "\"of\":\"animal\","
#define TAIL                                                                                       \
    ",\"severity\":\"E\",\"evidence\":\"V\",\"citation\":\"c\",\"as_of\":"                         \
    "\"2024-01-01\","                                                                              \
    "\"source_url\":\"https://example.org/\",\"text\":\"t\"}]}"
#define WHEN(w) "\"applies_when\":{" w "},\"requirement\":{\"kind\":\"note\"}"
#define UNLESS(w) "\"unless\":{" w "},\"requirement\":{\"kind\":\"note\"}"
#define NEED(n) "\"requirement\":{" n "}"

static struct lm_rulepack *pack_of(const char *rule)
{
    char text[4096];
    struct lm_problem p = {.err = LM_OK};
    struct lm_rulepack *pack = NULL;
    snprintf(text, sizeof text, "%s%s%s", HEAD, rule, TAIL);
    if (lm_rulepack_parse(text, strlen(text), "t", &pack, &p) != LM_OK)
        fail_msg("%s: %s", rule, p.what);
    return pack;
}

/* A rule that applies is a note, one that does not is none. */
static const struct {
    const char *rule, *animal, *outcome, *words;
} conditions[] = {
    {WHEN("\"sex\":\"male\""), "goat male", "note", ""},
    {WHEN("\"sex\":\"male\""), "goat female", "none", ""},
    {WHEN("\"sex\":\"male\""), "goat", "unknown", "its sex is not known"},
    {WHEN("\"castrated\":true"), "goat wether", "note", ""},
    {WHEN("\"castrated\":true"), "goat male", "none", ""},
    {WHEN("\"castrated\":true"), "goat", "unknown", "its sex is not known"},
    {WHEN("\"castrated\":false"), "goat male", "note", ""},
    {WHEN("\"castrated\":false"), "goat wether", "none", ""},
    {WHEN("\"born_from\":\"2020-01-01\",\"born_before\":\"2021-01-01\""), "goat born=2020-05",
        "note", ""},
    {WHEN("\"born_from\":\"2020-01-01\",\"born_before\":\"2021-01-01\""), "goat born=2021-01-01",
        "none", ""},
    {WHEN("\"born_from\":\"2020-01-01\""), "goat born=2019-12-31", "none", ""},
    {WHEN("\"born_from\":\"2020-06-01\""), "goat born=2020", "unknown", "birth date"},
    {WHEN("\"born_before\":\"2020-06-01\""), "goat born=2020", "unknown", "birth date"},
    {WHEN("\"born_before\":\"2020-06-01\""), "goat", "unknown", "birth date"},
    {WHEN("\"applied_from\":\"2020-01-01\""), "goat", "none", ""},
    {WHEN("\"applied_from\":\"2020-01-01\""), "goat + official visual=1", "unknown", "put on"},
    {WHEN("\"applied_from\":\"2020-01-01\""), "goat + visual=9 + official visual=1 applied=2020-02",
        "note", ""},
    {WHEN("\"applied_from\":\"2020-01-01\""),
        "goat + official visual=1 applied=2019-02 + official visual=2 "
        "applied=2021",
        "note", ""},
    {WHEN("\"number_begins\":[\"AB\"]"), "goat + official visual=ab-12", "note", ""},
    {WHEN("\"number_begins\":[\"AB\"]"), "goat + official visual=XB12", "none", ""},
    {WHEN("\"number_begins\":[\"AB\"]"), "goat + visual=AB12", "none", ""},
    {WHEN("\"move_from\":\"2026-01-01\",\"move_before\":\"2027-01-01\""), "goat date=2026-11-02",
        "note", ""},
    {WHEN("\"move_from\":\"2026-12-01\""), "goat date=2026", "unknown", "day of the sale"},
    {WHEN("\"move_before\":\"2026-01-01\""), "goat date=2026-11-02", "none", ""},
    {WHEN("\"case\":[\"c\"]"), "goat case=c", "note", ""},
    {WHEN("\"case\":[\"c\"]"), "goat not=c", "none", ""},
    {WHEN("\"case\":[\"c\"]"), "goat", "unknown", "is it so"},
    {WHEN("\"case\":[\"d\"]"), "goat", "unknown", "say whether d is so: or so"},
    {WHEN("\"case\":[\"e\"]"), "goat", "none", ""},
    {WHEN("\"case\":[\"e\",\"d\"]"), "goat case=d", "note", ""},
    {WHEN("\"not_case\":[\"c\"]"), "goat case=c", "none", ""},
    {WHEN("\"not_case\":[\"c\"]"), "goat not=c", "note", ""},
    {WHEN("\"at_race\":true"), "goat race=on", "note", ""},
    {WHEN("\"at_race\":true"), "goat", "none", ""},
    {WHEN("\"wears\":[\"bolus\"]"), "goat + official form=bolus", "note", ""},
    {WHEN("\"wears\":[\"bolus\"]"), "goat + official form=button_tag", "none", ""},
    {WHEN("\"wears\":[\"bolus\"]"), "goat + official visual=1", "unknown",
        "the form of an official device is not known"},
    {UNLESS("\"sex\":\"female\""), "goat female", "none", ""},
    {UNLESS("\"sex\":\"female\""), "goat male", "note", ""},
    {WHEN("\"age_months_max\":6"), "goat born=2026-05-02", "none", ""},
    {WHEN("\"age_months_max\":6"), "goat born=2026-05-03", "note", ""},
    {WHEN("\"age_months_max\":6"), "goat born=2026-05", "unknown", "it is 6 months old"},
    {WHEN("\"age_months_min\":1"), "goat born=2026-10-02", "note", ""},
    {WHEN("\"age_months_min\":1"), "goat born=2026-10-03", "none", ""},
    {WHEN("\"age_months_min\":1"), "goat born=2026-10", "unknown", "it is 1 months old"},
    {WHEN("\"born_here\":true"), "goat here=no", "none", ""},
    {WHEN("\"born_here\":true"), "goat here=yes", "note", ""},
    {WHEN("\"at_race\":false"), "goat", "note", ""},
    {WHEN("\"at_race\":false"), "goat race=on", "none", ""},
    {WHEN("\"colour\":[\"red\"]"), "goat + colour=red + official colour=red", "note", ""},
    {WHEN("\"colour\":[\"red\"]"), "goat + colour=red + official colour=blue", "none", ""},
    {WHEN("\"colour\":[\"red\"]"), "goat + official visual=1 + official colour=red", "note", ""},
    {WHEN("\"colour\":[\"red\"]"), "goat + official visual=1", "unknown",
        "the colour of an official device"},
    {WHEN("\"colour\":[\"red\"]"), "goat", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"12-31\"]"), "goat date=2026-11-19", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"12-31\"]"), "goat date=2026-11-20", "note", ""},
    {WHEN("\"season\":[\"11-20\",\"12-31\"]"), "goat date=2026-12-31", "note", ""},
    {WHEN("\"season\":[\"11-20\",\"12-31\"]"), "goat date=2027-01-01", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"12-31\"]"), "goat date=2026-12", "unknown", "day of the sale"},
    {WHEN("\"season\":[\"11-20\",\"11-20\"]"), "goat date=2026-11-20", "note", ""},
    {WHEN("\"season\":[\"11-20\",\"11-20\"]"), "goat date=2026-11-21", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"11-20\"]"), "goat date=2026-11-19", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"02-10\"]"), "goat date=2026-11-19", "none", ""},
    {WHEN("\"season\":[\"11-20\",\"02-10\"]"), "goat date=2026-11-20", "note", ""},
    {WHEN("\"season\":[\"11-20\",\"02-10\"]"), "goat date=2026-02-10", "note", ""},
    {WHEN("\"season\":[\"11-20\",\"02-10\"]"), "goat date=2026-02-11", "none", ""},
    {WHEN("\"identified_by\":[\"bolus\"]"), "goat + form=button_tag", "none", ""},
    {WHEN("\"identified_by\":[\"bolus\"]"), "goat + official form=bolus", "note", ""},
    {WHEN("\"identified_by\":[\"bolus\"]"), "goat + official form=bolus + official form=button_tag",
        "none", ""},
    {WHEN("\"identified_by\":[\"bolus\"]"), "goat + official form=bolus + official visual=1",
        "unknown", "the form of an official device"},
    {WHEN("\"applied_before\":\"2020-01-01\""), "goat + official visual=1 applied=2019-12-31",
        "note", ""},
    {WHEN("\"applied_before\":\"2020-01-01\""), "goat + official visual=1 applied=2020-01-01",
        "none", ""},
    {WHEN("\"not_destination\":[\"show\"]"), "goat", "unknown", "the destination is not said"},
    {WHEN("\"not_destination\":[\"show\"]"), "goat to=show", "none", ""},
    {WHEN("\"not_destination\":[\"show\"]"), "goat to=sale", "note", ""},
    {WHEN("\"destination\":[\"show\"]"), "goat", "unknown", "the destination is not said"},
    {WHEN("\"destination\":[\"show\"]"), "goat to=sale", "none", ""},
    {WHEN("\"single_device\":true"), "goat + visual=1 + official visual=2", "note", ""},
    {WHEN("\"single_device\":true"), "goat + official visual=1 + official visual=2", "none", ""},
    {WHEN("\"single_device\":false"), "goat + official visual=1 + official visual=2", "note", ""},
    {WHEN("\"single_device\":false"), "goat + official visual=1", "none", ""},
};

static const struct {
    const char *rule, *animal, *outcome, *words;
} needs[] = {
    {NEED("\"kind\":\"applied-at-birth-holding\""), "goat here=yes", "pass", ""},
    {NEED("\"kind\":\"applied-at-birth-holding\""), "goat here=no", "fail", "another holding"},
    {NEED("\"kind\":\"applied-at-birth-holding\""), "goat", "unknown", "not known"},
    {NEED("\"kind\":\"electronic-device\",\"forms\":[\"bolus\"]"),
        "goat + visual=1 + official form=bolus eid=840000000000001", "pass", ""},
    {NEED("\"kind\":\"electronic-device\",\"forms\":[\"bolus\"]"),
        "goat + official form=button_tag eid=840000000000001", "fail", "of the forms"},
    {NEED("\"kind\":\"electronic-device\",\"forms\":[\"bolus\"]"),
        "goat + official eid=840000000000001", "unknown", "form"},
    {NEED("\"kind\":\"electronic-device\""), "goat + official", "unknown",
        "neither number nor code"},
    {NEED("\"kind\":\"electronic-device\""), "goat + official visual=1", "fail",
        "no official electronic"},
    {NEED("\"kind\":\"two-matching-devices\""), "goat + official visual=1 + official gone visual=1",
        "fail", "one official device"},
    {NEED("\"kind\":\"two-matching-devices\""), "goat + visual=1", "fail", "no official device"},
    {NEED("\"kind\":\"two-matching-devices\""), "goat + official visual=A-7 + official visual=a7",
        "pass", ""},
    {NEED("\"kind\":\"two-matching-devices\",\"electronic\":true"),
        "goat + official visual=A-7 + official visual=a7", "fail", "neither"},
    {NEED("\"kind\":\"two-matching-devices\",\"electronic\":true"),
        "goat + official visual=7 + official visual=7 eid=840000000000007", "pass", ""},
    {NEED("\"kind\":\"two-matching-devices\",\"electronic\":true"),
        "goat + official visual=7 eid=840000000000007 + official visual=7", "pass", ""},
    {NEED("\"kind\":\"two-matching-devices\""),
        "goat + official visual=7 + official visual=8 + official visual=9", "unknown", "compared"},
    {NEED("\"kind\":\"forms-not\",\"forms\":[\"bolus\"]"),
        "goat + gone official form=bolus + official form=button_tag", "pass", ""},
    {NEED("\"kind\":\"forms-not\",\"forms\":[\"bolus\"]"), "goat + official form=bolus", "fail",
        "bolus"},
    {NEED("\"kind\":\"forms-not\",\"chip_forms\":[\"button tag\"]"),
        "goat + official form=button_tag", "pass", ""},
    {NEED("\"kind\":\"forms-not\",\"chip_forms\":[\"button tag\"]"),
        "goat + official form=button_tag eid=840000000000007", "fail", "button"},
    {NEED("\"kind\":\"forms-not\",\"forms\":[\"bolus\"]"),
        "goat + official visual=1 + official form=button_tag", "unknown", ""},
    {NEED("\"kind\":\"electronic-place\",\"places\":[\"left ear\"]"),
        "goat + official visual=1 place=tail + official gone eid=840000000000007 place=tail + "
        "official eid=840000000000008 place=left_ear",
        "pass", ""},
    {NEED("\"kind\":\"electronic-place\",\"places\":[\"left ear\"]"),
        "goat + official eid=840000000000008 place=right_ear", "fail", "right ear"},
    {NEED("\"kind\":\"electronic-place\",\"places\":[\"left ear\"]"),
        "goat + official eid=840000000000008", "unknown", "where"},
    {NEED("\"kind\":\"management-tags\",\"text\":\"X\""),
        "goat + gone visual=X1 + official visual=X2 + form=tattoo visual=X3 + form=bolus visual=X4 "
        "+ visual=9 colour=blue",
        "pass", ""},
    {NEED("\"kind\":\"management-tags\",\"text\":\"X\""), "goat + visual=a-x1 colour=blue", "fail",
        "bears X"},
    {NEED("\"kind\":\"management-tags\",\"colours\":[\"red\"]"),
        "goat + visual=a-x1 colour=blue + visual=7 colour=red", "fail", "is red"},
    {NEED("\"kind\":\"management-tags\",\"colours\":[\"red\"]"), "goat + visual=a-x1", "unknown",
        "colour"},
    {NEED("\"kind\":\"birth-year-colour\",\"colours\":[\"red\",\"blue\"],\"year\":2020"),
        "goat + official visual=1 colour=red", "unknown", "birth year"},
    {NEED("\"kind\":\"birth-year-colour\",\"colours\":[\"red\",\"blue\"],\"year\":2020"),
        "goat born=2021 + gone official colour=red + official colour=blue", "pass", ""},
    {NEED("\"kind\":\"birth-year-colour\",\"colours\":[\"red\",\"blue\"],\"year\":2020"),
        "goat born=2017 + official visual=1 + official colour=blue", "pass", ""},
    {NEED("\"kind\":\"birth-year-colour\",\"colours\":[\"red\",\"blue\"],\"year\":2020"),
        "goat born=2020 + official colour=blue", "fail", ""},
    {NEED("\"kind\":\"applied-before\",\"date\":\"2020-01-01\""),
        "goat + gone official applied=2021 + official visual=1 applied=2019-05", "pass", ""},
    {NEED("\"kind\":\"applied-before\",\"date\":\"2020-01-01\""),
        "goat + official visual=1 applied=2020", "fail", "2020-01-01"},
    {NEED("\"kind\":\"applied-before\",\"date\":\"2020-06-01\""),
        "goat + official visual=1 applied=2020", "unknown", ""},
    {NEED("\"kind\":\"applied-before\",\"date\":\"2020-06-01\""), "goat + official visual=1",
        "unknown", ""},
    {NEED("\"kind\":\"applied-before\",\"date\":\"2020-06-01\""), "goat + visual=1 applied=2019",
        "unknown", ""},
    {NEED("\"kind\":\"was-seen\""), "goat race=over seen=yes", "pass", ""},
    {NEED("\"kind\":\"was-seen\""), "goat race=over seen=no", "fail", ""},
    {NEED("\"kind\":\"was-seen\""), "goat race=on seen=no", "unknown", ""},
    {NEED("\"kind\":\"was-seen\""), "goat race=over", "unknown", ""},
    {NEED("\"kind\":\"was-read\""), "goat race=over read=yes + official eid=840000000000008",
        "pass", ""},
    {NEED("\"kind\":\"was-read\""),
        "goat race=over read=no + gone eid=840000000000007 + official eid=840000000000008", "fail",
        ""},
    {NEED("\"kind\":\"was-read\""), "goat race=over + official eid=840000000000008", "unknown", ""},
    {NEED("\"kind\":\"was-read\""), "goat race=on read=no + official eid=840000000000008",
        "unknown", ""},
    {NEED("\"kind\":\"dates-in-order\""), "goat born=2020 + official visual=1 applied=2020-05",
        "pass", ""},
    {NEED("\"kind\":\"dates-in-order\""), "goat born=2020-06 + official visual=1 applied=2020-05",
        "fail", ""},
    {NEED("\"kind\":\"on-farm\""), "goat", "pass", ""},
    {NEED("\"kind\":\"on-farm\""), "goat sold", "fail", "says it is sold"},
    {NEED("\"kind\":\"forms-not\",\"chip_forms\":[\"bolus\"]"),
        "goat + official form=button_tag eid=840000000000007", "pass", ""},
    {NEED("\"kind\":\"on-farm\""), "goat struck", "fail", "taken back"},
    {NEED("\"kind\":\"flock-of-origin\""), "goat here=yes + official visual=AB17", "unknown",
        "the numbers of this holding are not said"},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=AB1 + official visual=AB17", "unknown",
        "whether it was born"},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=AB1 here=yes + official visual=ab-17", "pass",
        ""},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=AB1 here=no + official visual=AB17", "fail",
        "was born elsewhere"},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=AB1 here=no + official visual=AB2", "pass",
        ""},
    {NEED("\"kind\":\"flock-of-origin\""),
        "goat own=AB1 here=yes + visual=AB17 + official visual=AB2", "fail",
        "the number of another holding"},
    {NEED("\"kind\":\"flock-of-origin\""),
        "goat own=AB1 here=yes + official visual=AB17 + official visual=AB2", "pass", ""},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=- own=AB1 here=yes + official visual=AB2",
        "fail", "another holding"},
    {NEED("\"kind\":\"flock-of-origin\""), "goat own=- own=AB1 here=yes + official visual=AB1",
        "pass", ""},
    {NEED("\"kind\":\"number-format\",\"formats\":[\"F\"]"),
        "goat + visual=77 + official visual=AB1234", "pass", ""},
    {NEED("\"kind\":\"number-format\",\"formats\":[\"F\"]"),
        "goat + official visual=AB1234 + official visual=77", "fail", "77 has the form of no"},
    {NEED("\"kind\":\"number-format\",\"formats\":[\"F\"]"),
        "goat + official visual=AB_12 + official visual=AB1234", "fail", "AB 12 is a B (b)"},
    {NEED("\"kind\":\"number-format\",\"formats\":[\"F\"]"), "goat + official visual=77 + official",
        "fail", "77 has"},
    {NEED("\"kind\":\"number-format\",\"formats\":[\"F\"]"), "goat + official + official visual=77",
        "fail", "77 has"},
    {NEED("\"kind\":\"not-removed\""), "goat + gone visual=1", "pass", ""},
    {NEED("\"kind\":\"not-removed\""), "goat + official visual=1", "pass", ""},
    {NEED("\"kind\":\"not-removed\""), "goat + official gone visual=1", "fail", "1 was removed"},
    {NEED("\"kind\":\"not-removed\""), "goat + official gone visual=1 why=torn", "pass", ""},
    {NEED("\"kind\":\"not-removed\""), "goat + official gone visual=1 why=x", "pass", ""},
    {NEED("\"kind\":\"not-removed\""),
        "goat + official gone visual=1 + official gone visual=2 + official visual=1", "fail",
        "2 was removed"},
    {NEED("\"kind\":\"not-removed\""),
        "goat + official gone visual=1 why=torn + official gone visual=2", "fail", "2 was removed"},
    {NEED("\"kind\":\"not-removed\""), "goat + official gone visual=1 + official form=bolus",
        "unknown", "1 was removed"},
    {NEED("\"kind\":\"not-removed\""),
        "goat + official gone visual=1 + official visual=2 replaces=1", "pass", ""},
    {NEED("\"kind\":\"linked-replacement\""),
        "goat + gone visual=9 + official gone visual=1 + official visual=2", "fail",
        "which device followed 1"},
    {NEED("\"kind\":\"linked-replacement\""),
        "goat + official gone visual=1 + official form=bolus + official visual=1", "pass", ""},
    {NEED("\"kind\":\"linked-replacement\""),
        "goat + official gone visual=1 + visual=1 + official form=bolus", "unknown",
        "the number of a removed device"},
    {NEED("\"kind\":\"replaced-within\",\"days\":28"),
        "goat + gone visual=9 removed=2020 + official gone visual=1 removed=2026-10-05", "pass",
        ""},
    {NEED("\"kind\":\"replaced-within\",\"days\":28"),
        "goat + official gone visual=1 removed=2026-10-04", "fail", "more than 28 days"},
    {NEED("\"kind\":\"replaced-within\",\"days\":28"),
        "goat + official gone visual=1 removed=2020 + official visual=1", "pass", ""},
    {NEED("\"kind\":\"replaced-within\",\"days\":28"),
        "goat date=2026-11 + official gone visual=1 removed=2026-11-05", "pass", ""},
    {NEED("\"kind\":\"replacement-colour\",\"colours\":[\"red\"]"),
        "goat + official gone visual=1 + visual=2 colour=blue replaces=1", "pass", ""},
    {NEED("\"kind\":\"replacement-colour\",\"colours\":[\"red\"]"),
        "goat + official gone visual=1 + official visual=2 colour=blue replaces=3", "pass", ""},
    {NEED("\"kind\":\"replacement-colour\",\"colours\":[\"red\"]"),
        "goat + official gone form=bolus + official visual=2 colour=blue replaces=1", "unknown",
        "colour or number"},
    {NEED("\"kind\":\"replacement-colour\",\"colours\":[\"red\"]"),
        "goat + official gone visual=1 + official visual=2 colour=blue replaces=1", "fail",
        "2 is blue"},
    {NEED("\"kind\":\"visible-match\",\"colours\":[\"black\"]"),
        "goat + visual=7 colour=black form=bolus + official form=bolus visual=7 + visual=7 "
        "colour=black + official form=injectable visual=7 colour=black",
        "fail", "no black device"},
    {NEED("\"kind\":\"visible-match\",\"colours\":[\"black\"]"),
        "goat + official visual=7 colour=black + official form=bolus visual=7", "pass", ""},
    {NEED("\"kind\":\"official-device\""), "goat + official form=bolus + official visual=7", "pass",
        ""},
    {NEED("\"kind\":\"official-device\""), "goat + official form=bolus + visual=7", "unknown",
        "neither number nor code"},
    {NEED("\"kind\":\"was-read\""),
        "goat race=over read=no + visual=1 + eid=840000000000007 + visual=2", "fail",
        "gave no reading"},
    {NEED("\"kind\":\"age-known\",\"months\":6"), "goat born=2026-05", "unknown", "it is 6 months"},
    {NEED("\"kind\":\"age-known\",\"months\":6"), "goat born=2026-05-03", "pass", ""},
    {NEED("\"kind\":\"age-known\",\"months\":6"), "goat born=2026-05-02", "pass", ""},
    {NEED("\"kind\":\"devices-agree\""),
        "goat + gone visual=840000000000001 eid=840000000000002 + visual=840000000000003", "pass",
        ""},
    {NEED("\"kind\":\"devices-agree\""),
        "goat + visual=US1 eid=840000000000001 + visual=US2 eid=840000000000003", "fail",
        "printed US2 has the code 840000000000003"},
};

static void plays(const char *rule, const char *animal, const char *outcome, const char *words)
{
    struct example e;
    struct lm_rule_result r;
    struct lm_rulepack *pack = pack_of(rule);
    const struct lm_rule_pack *p = lm_rulepack_rules(pack);
    example_read(&e, animal, false);
    lm_rule_check(p, &p->rules[0], &e.animal, &e.ctx, &r);
    char said[LM_RULE_WORDS]; /* that nobody listens changes no answer */
    enum lm_answer heard = lm_when_holds(p, &p->rules[0].when, &e.animal, &e.ctx, said);
    assert_int_equal(lm_when_holds(p, &p->rules[0].when, &e.animal, &e.ctx, NULL), heard);
    assert_int_equal(said[0] != '\0', heard == LM_ANSWER_UNKNOWN);
    if (strcmp(lm_outcome_name(r.outcome), outcome) != 0 || strstr(r.words, words) == NULL)
        fail_msg("%s and \"%s\": %s, \"%s\"", rule, animal, lm_outcome_name(r.outcome), r.words);
    lm_rulepack_free(pack);
}

static void each_condition_decides(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof conditions / sizeof *conditions; i++)
        plays(conditions[i].rule, conditions[i].animal, conditions[i].outcome, conditions[i].words);
}

static void each_need_decides(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof needs / sizeof *needs; i++)
        plays(needs[i].rule, needs[i].animal, needs[i].outcome, needs[i].words);
}

static void evidence_is_said_in_words(void **state)
{
    static const char *const part[] = {"read in", "secondary", "not verified", "no law"};
    (void) state;
    for (unsigned i = 0; i < 4; i++) {
        const char *words = lm_evidence_say((enum lm_evidence) i);
        if (strstr(words, part[i]) == NULL)
            fail_msg("%s does not say %s", words, part[i]);
        enum lm_evidence back;
        assert_int_equal(lm_evidence_parse(lm_evidence_name((enum lm_evidence) i), &back), LM_OK);
        assert_int_equal(back, i);
    }
}

static void a_number_ends_with_no_blank(void **state)
{
    struct lm_rulepack *pack = pack_of(NEED("\"kind\":\"note\""));
    const struct lm_rule_pack *p = lm_rulepack_rules(pack);
    const struct lm_number_format *f = lm_format_named(p, "B");
    (void) state;
    assert_int_equal(lm_format_match(f, "ab  12 -"), LM_ANSWER_YES);
    assert_int_equal(lm_format_match(f, " ab-12"), LM_ANSWER_YES);
    assert_int_equal(lm_format_match(f, "ab12"), LM_ANSWER_NO);
    assert_int_equal(lm_format_match(f, "ab 1 2"), LM_ANSWER_NO);
    assert_int_equal(lm_format_match(lm_format_named(p, "F"), "ab 12-34"), LM_ANSWER_YES);
    char longer[2 * LM_VISUAL_MAX]; /* what is too long is cut, not written past the end */
    memset(longer, 'A', sizeof longer - 1);
    longer[sizeof longer - 1] = '\0';
    assert_int_equal(lm_format_match(f, longer), LM_ANSWER_NO);
    assert_int_equal(lm_format_match(lm_format_named(p, "F"), longer), LM_ANSWER_NO);
    assert_null(lm_format_named(p, "C"));
    lm_rulepack_free(pack);
}

static void patterns_that_are_none(void **state)
{
    static const struct {
        const char *pattern;
        size_t at;
    } rows[] = {{"A(B|)", 0}, {"A(B|c)", 5}, {"(A", 3}, {"A)", 2}, {"[A", 1}, {"A{", 2},
        {"((A))", 2}, {"A(|B)?", 0}};
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        size_t at = lm_pattern_bad(rows[i].pattern);
        if ((at != 0) != (rows[i].at != 0))
            fail_msg("\"%s\": %zu", rows[i].pattern, at);
        assert_true(at <= strlen(rows[i].pattern) + 1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_condition_decides),
        cmocka_unit_test(each_need_decides),
        cmocka_unit_test(evidence_is_said_in_words),
        cmocka_unit_test(a_number_ends_with_no_blank),
        cmocka_unit_test(patterns_that_are_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
