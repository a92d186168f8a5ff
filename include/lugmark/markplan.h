/** @file markplan.h
 * The marking plan: a holding's own convention of colours, ears and numbers, kept as data.
 *
 * There is no universal one: sources differ by country, breed society and holding. So nothing here
 * is a rule, and a device that does not fit is a note, never an error.
 */
#ifndef LUGMARK_MARKPLAN_H
#define LUGMARK_MARKPLAN_H

#include "lugmark/record.h"

#define LM_PLAN_VALUE_MAX 511u /**< longest value of a key, bytes */
#define LM_PLAN_TEXT_MAX 256u

/** The keys, each kept in the register as the setting `mark-plan.NAME`. */
enum lm_plan_key {
    LM_PLAN_COLOURS,      /**< `colours`: 2026 orange, 2027 green (this year wins over the cycle) */
    LM_PLAN_COLOUR_CYCLE, /**< `colour-cycle`: 2024 black, white, orange: again and again */
    LM_PLAN_EAR_FEMALE,   /**< `ear-female`: right ear */
    LM_PLAN_EAR_MALE,     /**< `ear-male`: left ear */
    LM_PLAN_FORM,         /**< `form`: flag tag */
    LM_PLAN_NUMBER,       /**< `number`: Y### (see lm_plan_number_fits()) */
    LM_PLAN_LETTERS,      /**< `year-letter`: 2019 L: the letter of one year; the others follow */
    LM_PLAN_LETTERS_SKIP, /**< `letters-skip`: IOQU when not set */
    LM_PLAN_SMALL_EARS,   /**< `small-ears`: breeds with hardly any ear, which are tattooed */
    LM_PLAN_SMALL_PLACE,  /**< `small-ears-place`: tail web when not set, or an ear */
    LM_PLAN_KEYS
};

/** A plan. Zero-initialised: none, and everything fits. Plain value. */
struct lm_markplan {
    char values[LM_PLAN_KEYS][LM_PLAN_VALUE_MAX + 1]; /**< as written, "" when not set */
};

/** What one animal should wear; "" and 0 where the plan says nothing. */
struct lm_mark {
    char colour[LM_NAME_MAX + 1];
    char number[LM_NAME_MAX + 1]; /**< pattern with the year filled in: # digit, @ letter */
    char letter;                  /**< year letter, or 0 */
    uint8_t form;                 /**< enum lm_device_form */
    uint8_t place;                /**< enum lm_place */
};

/** Whom a mark is for. */
struct lm_mark_for {
    struct lm_date born;
    enum lm_sex sex;
    const char *breed; /**< NULL or "" when not known */
};

const char *lm_plan_key_name(enum lm_plan_key key); /**< "colours", ...; never NULL */

/** The key of that name (case, `-` and `_` and blank are the same). @return false: there is none.
 */
bool lm_plan_key_parse(const char *name, enum lm_plan_key *key);

/**
 * Set one key; an empty value takes it away.
 * @return LM_OK, or LM_EINPUT with @p p filled and the plan unchanged.
 */
enum lm_err lm_markplan_set(
    struct lm_markplan *plan, enum lm_plan_key key, const char *value, struct lm_problem *p);

/** Whether nothing is set. */
bool lm_markplan_empty(const struct lm_markplan *plan);

/** What an animal should wear. */
struct lm_mark lm_markplan_for(const struct lm_markplan *plan, const struct lm_mark_for *whom);

/**
 * Letter of a year. Tattoos skip letters that are read as others once they have grown.
 * @return 'A' to 'Z', or 0 when the plan says nothing of it.
 */
char lm_plan_letter(const struct lm_markplan *plan, int year);

/**
 * Whether a printed number fits a pattern: Y stands for the last digit of the birth year, YY for
 * its last two, L for the year's letter, # for any digit, @ for any letter; all else for itself.
 * Compared as lm_visual_fold() writes it.
 */
bool lm_plan_number_fits(const char *pattern, const char *visual);

/**
 * One line such as "orange flag tag in the right ear, number 6###"; "" when the plan says nothing.
 * @return @p out.
 */
char *lm_mark_words(const struct lm_mark *mark, char out[LM_PLAN_TEXT_MAX]);

/** A device as far as a plan looks at it. */
struct lm_mark_worn {
    const char *visual, *colour; /**< never NULL */
    uint8_t form, place;
    bool official;
};

/**
 * What of the plan the marks an animal wears do not fit, in words such as "orange, right ear"; a
 * trait fits when any mark shows it, and marks that say nothing of it are no fault. Boluses,
 * injectables and leg bands are not looked at, nor are numbers of official devices.
 * @return Whether something differs; @p out is "" when not.
 */
bool lm_markplan_differs(const struct lm_markplan *plan, const struct lm_mark_for *whom,
    const struct lm_mark_worn *worn, size_t n, char out[LM_PLAN_TEXT_MAX]);

/** The same for an animal of the register; one without marks to look at never differs.
 * @return as above. */
bool lm_markplan_record(
    const struct lm_markplan *plan, const struct lm_record *rec, char out[LM_PLAN_TEXT_MAX]);

struct lm_store;

/**
 * The plan of a register. What it holds that is no value is left out.
 * @return LM_OK, or what reading the register gave.
 */
enum lm_err lm_markplan_load(struct lm_store *store, struct lm_markplan *plan);

/** Keep one key in the register. @return LM_OK, or what lm_store_set() gave. */
enum lm_err lm_markplan_keep(
    struct lm_store *store, const struct lm_markplan *plan, enum lm_plan_key key);

#endif
