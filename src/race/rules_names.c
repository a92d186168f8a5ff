/* The words of the rules of a sale, and ages. */
#include "race/rules_priv.h"

static const char *const need_names[LM_NEEDS] = {
    [LM_NEED_NOTE] = "note",
    [LM_NEED_OFFICIAL_DEVICE] = "official-device",
    [LM_NEED_ELECTRONIC_DEVICE] = "electronic-device",
    [LM_NEED_TWO_MATCHING] = "two-matching-devices",
    [LM_NEED_NUMBER_FORMAT] = "number-format",
    [LM_NEED_APPLIED_BEFORE] = "applied-before",
    [LM_NEED_AT_BIRTH_HOLDING] = "applied-at-birth-holding",
    [LM_NEED_NOT_REMOVED] = "not-removed",
    [LM_NEED_LINKED_REPLACEMENT] = "linked-replacement",
    [LM_NEED_REPLACED_WITHIN] = "replaced-within",
    [LM_NEED_NOT_DUPLICATE] = "not-duplicate",
    [LM_NEED_FORMS_NOT] = "forms-not",
    [LM_NEED_VISIBLE_MATCH] = "visible-match",
    [LM_NEED_PLACE] = "electronic-place",
    [LM_NEED_REPLACEMENT_COLOUR] = "replacement-colour",
    [LM_NEED_MANAGEMENT_TAGS] = "management-tags",
    [LM_NEED_BIRTH_YEAR_COLOUR] = "birth-year-colour",
    [LM_NEED_FLOCK_OF_ORIGIN] = "flock-of-origin",
    [LM_NEED_AGE_KNOWN] = "age-known",
    [LM_NEED_PAPER] = "paper",
    [LM_NEED_ONLY_WHEN] = "only-when",
    [LM_NEED_ON_FARM] = "on-farm",
    [LM_NEED_DEVICES_AGREE] = "devices-agree",
    [LM_NEED_DATES_IN_ORDER] = "dates-in-order",
    [LM_NEED_WAS_SEEN] = "was-seen",
    [LM_NEED_WAS_READ] = "was-read",
    [LM_NEED_HEADS_AGREE] = "heads-agree",
    [LM_NEED_COUNTED_WITHIN] = "counted-within",
};

static const char *const purpose_names[LM_PURPOSES] = {
    [LM_PURPOSE_UNKNOWN] = "",
    [LM_PURPOSE_BREEDING] = "breeding",
    [LM_PURPOSE_FATTENING] = "fattening",
    [LM_PURPOSE_SLAUGHTER] = "slaughter",
    [LM_PURPOSE_SHOW] = "show",
};

static const char *const evidence_names[] = {
    [LM_EVIDENCE_READ] = "V",
    [LM_EVIDENCE_SECOND] = "V2",
    [LM_EVIDENCE_MEMORY] = "M",
    [LM_EVIDENCE_OWN] = "own",
};

#define EVIDENCES (sizeof evidence_names / sizeof *evidence_names)

const char *lm_need_name(enum lm_need_kind kind)
{
    return (unsigned) kind < LM_NEEDS ? need_names[kind] : "";
}

enum lm_err lm_need_parse(const char *word, enum lm_need_kind *kind)
{
    for (unsigned i = 0; i < LM_NEEDS; i++)
        if (lm_word_is(word, need_names[i])) {
            *kind = (enum lm_need_kind) i;
            return LM_OK;
        }
    return LM_EFRAME;
}

const char *lm_purpose_name(enum lm_purpose purpose)
{
    return (unsigned) purpose < LM_PURPOSES ? purpose_names[purpose] : "";
}

enum lm_err lm_purpose_parse(const char *word, enum lm_purpose *purpose)
{
    for (unsigned i = LM_PURPOSE_UNKNOWN + 1; i < LM_PURPOSES; i++)
        if (lm_word_is(word, purpose_names[i])) {
            *purpose = (enum lm_purpose) i;
            return LM_OK;
        }
    return LM_EFRAME;
}

const char *lm_evidence_name(enum lm_evidence evidence)
{
    return (unsigned) evidence < EVIDENCES ? evidence_names[evidence] : "";
}

enum lm_err lm_evidence_parse(const char *word, enum lm_evidence *evidence)
{
    for (unsigned i = 0; i < EVIDENCES; i++)
        if (lm_word_is(word, evidence_names[i])) {
            *evidence = (enum lm_evidence) i;
            return LM_OK;
        }
    return LM_EFRAME;
}

const char *lm_evidence_say(enum lm_evidence evidence)
{
    switch (evidence) {
    case LM_EVIDENCE_READ:
        return N_("read in a copy of the law, of an official page or of a standard");
    case LM_EVIDENCE_SECOND:
        return N_("read only in a secondary source: it can ask for a look, never hold an animal");
    case LM_EVIDENCE_MEMORY:
        return N_("not verified: it can ask for a look, never hold an animal");
    case LM_EVIDENCE_OWN:
        break;
    }
    return N_("no law: a check of the register against itself and against what came at the race");
}

const char *lm_outcome_name(enum lm_outcome outcome)
{
    static const char *const names[] = {
        [LM_OUTCOME_NONE] = "none",
        [LM_OUTCOME_PASS] = "pass",
        [LM_OUTCOME_NOTE] = "note",
        [LM_OUTCOME_UNKNOWN] = "unknown",
        [LM_OUTCOME_FAIL] = "fail",
    };
    return (unsigned) outcome <= LM_OUTCOME_FAIL ? names[outcome] : "";
}

enum lm_attention lm_rule_attention(
    enum lm_outcome outcome, enum lm_severity severity, enum lm_evidence evidence)
{
    bool verified = evidence == LM_EVIDENCE_READ || evidence == LM_EVIDENCE_OWN;
    if (outcome == LM_OUTCOME_NONE || outcome == LM_OUTCOME_PASS || severity == LM_SEVERITY_NOTE)
        return LM_GO;
    return severity == LM_SEVERITY_STOP && outcome == LM_OUTCOME_FAIL && verified ? LM_HOLD
                                                                                  : LM_LOOK;
}

/* Whole months between two days that are known. */
static int months(struct lm_date from, struct lm_date to)
{
    int n = (to.year - from.year) * 12 + to.month - from.month;
    return to.day < from.day ? n - 1 : n;
}

struct lm_age lm_age_at(struct lm_date born, struct lm_date at)
{
    struct lm_age age = {0};
    if (born.year == 0 || at.day == 0)
        return age;
    struct lm_date first = lm_date_of((int64_t) lm_date_days(born, 0) * 86400000);
    struct lm_date last = lm_date_of((int64_t) lm_date_days(born, 1) * 86400000);
    age.known = true;
    age.least = months(last, at);
    age.most = months(first, at);
    return age;
}

const char *lm_age_class(struct lm_date born, struct lm_date at)
{
    static const struct {
        int below;
        const char *name;
    } classes[] = {
        {6, N_("under 6 months")},
        {12, N_("6 to 12 months")},
        {18, N_("12 to 18 months")},
        {100000, N_("18 months or more")},
    };
    struct lm_age age = lm_age_at(born, at);
    for (size_t i = 0; age.known && i < sizeof classes / sizeof *classes; i++)
        if (age.most < classes[i].below)
            return age.least >= (i > 0 ? classes[i - 1].below : -100000) ? classes[i].name
                                                                         : N_("not known");
    return N_("not known");
}
