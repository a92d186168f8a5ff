/** @file rules.h
 * The rules of a sale: what an animal must carry before it leaves, as a rule pack says it.
 *
 * Rule packs are data (rulepack.h loads them); what is here judges one animal, or one lot, by one
 * rule. Three answers are kept apart: yes, no, and not known. Law changes: nothing here says more
 * than "no problem found", and a rule that was not read in its source can only ask for a look.
 * Pure. Everything is borrowed from the pack, the record and the context. Thread: any.
 */
#ifndef LUGMARK_RULES_H
#define LUGMARK_RULES_H

#include "lugmark/record.h"
#include "lugmark/session.h"

/** Yes, no, or not known. */
enum lm_answer { LM_ANSWER_UNKNOWN, LM_ANSWER_NO, LM_ANSWER_YES };

/** How well a rule was verified; only the first and the last may hold an animal. */
enum lm_evidence {
    LM_EVIDENCE_READ,   /**< V: read in a copy of the law, of a government page or a standard */
    LM_EVIDENCE_SECOND, /**< V2: read only in a secondary source */
    LM_EVIDENCE_MEMORY, /**< M: from memory, not verified */
    LM_EVIDENCE_OWN     /**< own: no law at all, a check of the register against itself */
};

enum lm_severity { LM_SEVERITY_NOTE, LM_SEVERITY_LOOK, LM_SEVERITY_STOP };

/** What the animals leave for. */
enum lm_purpose {
    LM_PURPOSE_UNKNOWN,
    LM_PURPOSE_BREEDING,
    LM_PURPOSE_FATTENING,
    LM_PURPOSE_SLAUGHTER,
    LM_PURPOSE_SHOW,
    LM_PURPOSES
};

/** What a rule requires. The words of files are in lm_need_name(). */
enum lm_need_kind {
    LM_NEED_NOTE,               /**< nothing: it says something when it applies */
    LM_NEED_OFFICIAL_DEVICE,    /**< an official device with a number or a code is worn */
    LM_NEED_ELECTRONIC_DEVICE,  /**< an official device with an ISO code; of `forms`, if any */
    LM_NEED_TWO_MATCHING,       /**< two official devices, one code; `electronic`: one has a chip */
    LM_NEED_NUMBER_FORMAT,      /**< the official numbers are of `formats`, each of one only */
    LM_NEED_APPLIED_BEFORE,     /**< every worn official device was put on before `date` */
    LM_NEED_AT_BIRTH_HOLDING,   /**< applied-at-birth-holding: it leaves where it was born */
    LM_NEED_NOT_REMOVED,        /**< no official device was removed without successor or reason */
    LM_NEED_LINKED_REPLACEMENT, /**< a changed code says which device it stands for */
    LM_NEED_REPLACED_WITHIN,    /**< a lost official device was replaced within `days` */
    LM_NEED_NOT_DUPLICATE,      /**< nobody else alive has its official number or code */
    LM_NEED_FORMS_NOT,          /**< none of `forms`; none of `chip_forms` with a chip */
    LM_NEED_VISIBLE_MATCH,      /**< beside the bolus a visible device of `colours`, same code */
    LM_NEED_PLACE,              /**< electronic-place: chips sit in `places` */
    LM_NEED_REPLACEMENT_COLOUR, /**< a new number given away from birth's holding is of `colours` */
    LM_NEED_MANAGEMENT_TAGS,    /**< management tags are not of `colours` and do not bear `text` */
    LM_NEED_BIRTH_YEAR_COLOUR,  /**< `colours` in turn by birth year from year `n`; `except` not */
    LM_NEED_FLOCK_OF_ORIGIN,    /**< its tag bears a number of the holding it was born on */
    LM_NEED_AGE_KNOWN,          /**< the birth date says on which side of `n` months it is */
    LM_NEED_PAPER,              /**< the person says that `text` is there */
    LM_NEED_ONLY_WHEN,          /**< the condition `only` holds */
    LM_NEED_ON_FARM,            /**< its status */
    LM_NEED_DEVICES_AGREE,      /**< no device has a number and a code that contradict each other */
    LM_NEED_DATES_IN_ORDER,     /**< no device was applied before birth or removed before that */
    LM_NEED_WAS_SEEN,           /**< at the race, read or called */
    LM_NEED_WAS_READ,           /**< at the race, by a reader, if it wears a chip */
    LM_NEED_HEADS_AGREE,        /**< lot: head count = animals of the lot */
    LM_NEED_COUNTED_WITHIN,     /**< lot: a count of the holding within `days` */
    LM_NEEDS
};

/** Check on a number beyond its pattern. */
enum lm_number_check {
    LM_CHECK_NONE,
    LM_CHECK_MOD37_36,  /**< ISO 7064 MOD 37,36, the last character */
    LM_CHECK_UK_CATTLE, /**< UK, 6 of the herd, check digit 1-7, 5 of the animal */
    LM_CHECK_CHIP       /**< 15 digits whose last 12 fit in a chip */
};

/** Some texts; borrowed. */
struct lm_words {
    const char *const *at;
    size_t n;
};

/** How an official number is written. */
struct lm_number_format {
    const char *id, *meaning;
    const char *pattern; /**< lm_pattern_match(); NULL: this pack does not know its form */
    struct lm_words prefixes, species; /**< begins so, else doubted; of these. None: any */
    bool blanks;                       /**< the pattern knows of blanks: "OHEX0000 0017" */
    bool visual, electronic; /**< of printed numbers, of codes; neither: no number of an animal */
    uint8_t check;           /**< enum lm_number_check */
    bool doubt;              /**< a wrong check character only makes it doubted */
    struct lm_words valid, invalid; /**< examples */
};

/** When a rule applies. What is not set says nothing. */
struct lm_when {
    int age_min, age_max; /**< months: at least, and below; 0 for none */
    uint8_t sex;          /**< enum lm_sex */
    uint8_t castrated;    /**< enum lm_answer; NO means able to breed: females too */
    uint8_t born_here;    /**< enum lm_answer */
    uint8_t at_race;      /**< enum lm_answer: whether a session at the race is joined */
    uint8_t single;       /**< enum lm_answer: whether it wears just one official device */
    unsigned purposes;    /**< bit set of enum lm_purpose */
    struct lm_words destinations, not_destinations;
    struct lm_words cases, not_cases; /**< any of these was said; none of these was */
    struct lm_date born_from, born_before, move_from, move_before;
    struct lm_date applied_from, applied_before; /**< of the official device put on last */
    unsigned wears;         /**< bit set of enum lm_device_form: one official device is of these */
    unsigned identified_by; /**< and here all of them are */
    struct lm_words tag_types;     /**< an official number is of one of these formats */
    struct lm_words colours;       /**< an official device is of one of these colours */
    struct lm_words number_begins; /**< an official number begins so */
    int season_from, season_to;    /**< month * 100 + day, both within; 0 for none */
};

struct lm_need {
    uint8_t kind; /**< enum lm_need_kind */
    bool electronic;
    int n;                      /**< months or a year */
    int days;                   /**< within how many, or 0 */
    unsigned forms, chip_forms; /**< bit sets of enum lm_device_form */
    unsigned places;            /**< bit set of enum lm_place */
    struct lm_date date;
    struct lm_words formats, colours, except;
    const char *text;
    const struct lm_when *only;
};

struct lm_rule {
    const char *id;
    struct lm_words species; /**< none: any */
    struct lm_when when;
    const struct lm_when *unless; /**< it does not apply when this holds; or NULL */
    struct lm_need need;
    uint8_t severity;                          /**< enum lm_severity */
    uint8_t evidence;                          /**< enum lm_evidence */
    bool lowered;                              /**< the pack said more than its evidence bears */
    bool of_lot;                               /**< asked once for the lot, not for each animal */
    const char *text;                          /**< the rule in plain words */
    const char *todo;                          /**< what to do before loading, or "" */
    const char *citation, *as_of, *source_url; /**< source_url may be "" */
};

/** A circumstance that only the person knows. */
struct lm_case {
    const char *id, *text;
    bool ask; /**< unless it was said, it is not known; else it is not so */
};

/** One country, such as UK and 826. */
struct lm_country_pair {
    const char *letters;
    unsigned number;
};

/** A rule pack. rulepack.h loads one. */
struct lm_rule_pack {
    const char *id, *name, *jurisdiction, *as_of, *authority;
    const struct lm_number_format *formats;
    size_t n_formats;
    const struct lm_rule *rules;
    size_t n_rules;
    const struct lm_case *cases, *destinations;
    size_t n_cases, n_destinations;
    const struct lm_country_pair *countries;
    size_t n_countries;
};

/** "These numbers are of that format", as the person says. */
struct lm_tag_type {
    const char *number; /**< the number, or its beginning and a star */
    const char *format; /**< id of a format */
};

/** What is the same for every animal of the lot. Zero-initialised: nothing is known. */
struct lm_rule_context {
    struct lm_date date;     /**< the day they leave */
    uint8_t purpose;         /**< enum lm_purpose */
    const char *destination; /**< id, or NULL */
    struct lm_words own;     /**< numbers of this holding */
    struct lm_words cases, not_cases;
    struct lm_words papers, no_papers; /**< there; known not to be there */
    const struct lm_tag_type *types;
    size_t n_types;
    bool at_race;   /**< a session is joined */
    bool race_over; /**< it is closed */
    bool has_heads;
    uint32_t heads;                 /**< at the race */
    uint32_t animals;               /**< of the lot */
    struct lm_date counted;         /**< last count of the holding, or no date */
    const struct lm_speech *speech; /**< tongue of the words; NULL: English */
};

/** One animal; with @p rec NULL it is the lot that is asked about. */
struct lm_rule_animal {
    const struct lm_record *rec;
    uint8_t born_here;  /**< enum lm_answer, and so on */
    uint8_t seen, read; /**< at the race: read or called; read */
    uint8_t shared;     /**< whether another living animal has its official number or code */
};

enum lm_outcome {
    LM_OUTCOME_NONE, /**< the rule does not apply */
    LM_OUTCOME_PASS,
    LM_OUTCOME_NOTE, /**< it applies and requires nothing */
    LM_OUTCOME_UNKNOWN,
    LM_OUTCOME_FAIL
};

#define LM_RULE_WORDS 360u
struct lm_rule_result {
    enum lm_outcome outcome;
    enum lm_attention attention;
    char words[LM_RULE_WORDS]; /**< why, for the person; "" for pass and none */
};

/** Judge an animal, or the lot, by one rule. @return The outcome, also in @p out. */
enum lm_outcome lm_rule_check(const struct lm_rule_pack *pack, const struct lm_rule *rule,
    const struct lm_rule_animal *animal, const struct lm_rule_context *ctx,
    struct lm_rule_result *out);

/** Whether a condition holds. @p words gets what is not known; may be NULL. */
enum lm_answer lm_when_holds(const struct lm_rule_pack *pack, const struct lm_when *when,
    const struct lm_rule_animal *animal, const struct lm_rule_context *ctx,
    char words[LM_RULE_WORDS]);

/** What an outcome asks for. An unverified rule never holds, and neither does what is not known. */
enum lm_attention lm_rule_attention(
    enum lm_outcome outcome, enum lm_severity severity, enum lm_evidence evidence);

/**
 * Whether a pattern is one. Atoms: a character of 0-9 A-Z and blank, `\d`, a class `[A-HJ-N0-9]`,
 * each with `?`, `{N}` or `{N,M}` behind it; a group `(AB|C\d)`, which may have `?` and holds no
 * group. All of the text must match.
 * @return 0, or the place of what is wrong, from 1.
 */
size_t lm_pattern_bad(const char *pattern);

/** Whether all of @p text matches. A pattern that is none matches nothing. */
bool lm_pattern_match(const char *pattern, const char *text);

/** ISO 7064 MOD 37,36: the check character of @p text, or 0 when it holds another than 0-9 A-Z. */
char lm_mod37_36(const char *text);

/** Whether UK + 12 digits have the right check digit: (herd * 100000 + animal) mod 7 + 1. */
bool lm_uk_cattle_check(const char *text);

/** Whether a number is of a format: yes, no, or doubted (LM_ANSWER_UNKNOWN). */
enum lm_answer lm_format_match(const struct lm_number_format *format, const char *number);

/** The format of that id, or NULL. */
const struct lm_number_format *lm_format_named(const struct lm_rule_pack *pack, const char *id);

#define LM_CANDIDATES_MAX 16u

/** Which formats a number may be of. */
struct lm_candidates {
    const struct lm_number_format *at[LM_CANDIDATES_MAX];
    size_t n;
    bool said, doubt; /**< the person said it: there is one; all of them are doubted */
};

/**
 * Which formats of the pack a number may be of: the one that was said, else all that match.
 * @param[in] species     Of the animal, "" for any.
 * @param[in] electronic  It is the code of a chip, as 15 digits.
 */
void lm_format_candidates(const struct lm_rule_pack *pack, const struct lm_rule_context *ctx,
    const char *number, const char *species, bool electronic, struct lm_candidates *out);

/**
 * The code that a printed number stands for, as 15 digits: letters of a country become its digits
 * and zeros are filled in. @return Whether it has such a form.
 */
bool lm_number_code(const struct lm_rule_pack *pack, const char *number, char out[16]);

/** Age in whole months at a date, from the birth date's first and last possible day. */
struct lm_age {
    bool known;
    int least, most; /**< whole months */
};
struct lm_age lm_age_at(struct lm_date born, struct lm_date at);

/** "under 6 months", "6 to 12 months", "12 to 18 months", "18 months or more", or "not known". */
const char *lm_age_class(struct lm_date born, struct lm_date at);

const char *lm_need_name(enum lm_need_kind kind);     /**< "official-device", ... */
const char *lm_purpose_name(enum lm_purpose purpose); /**< "breeding", ...; "" when not known */
const char *lm_outcome_name(
    enum lm_outcome outcome); /**< "pass", "note", "unknown", "fail", "none" */
const char *lm_evidence_name(enum lm_evidence evidence); /**< "V", "V2", "M", "own" */
const char *lm_evidence_say(enum lm_evidence evidence);  /**< the same in words */

/** Parse such a word. @return LM_OK or LM_EFRAME. */
enum lm_err lm_need_parse(const char *word, enum lm_need_kind *kind);
enum lm_err lm_purpose_parse(const char *word, enum lm_purpose *purpose);
enum lm_err lm_evidence_parse(const char *word, enum lm_evidence *evidence);

#endif
