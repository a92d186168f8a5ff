/** @file statement.h
 * The movements of a period, by class, with the count beside them.
 *
 * opening + births + bought + moved in + found again + not said - sold - died - killed at home -
 * moved out - lost = book at the end, for each class once animals that grew out of one class into
 * another are carried over; the carrying over adds up to nothing. When each animal came and left is
 * worked out as stay.h says. Book, heads counted and animals identified are three figures; where
 * they differ, the difference is taken apart and never posted.
 */
#ifndef LUGMARK_STATEMENT_H
#define LUGMARK_STATEMENT_H

#include "lugmark/inventory.h"

/** Columns, in the order of the sum. */
enum lm_move {
    LM_MOVE_OPENING,
    LM_MOVE_BORN,
    LM_MOVE_BOUGHT,
    LM_MOVE_IN,
    LM_MOVE_FOUND,
    LM_MOVE_UNSAID, /**< came, how is not said */
    LM_MOVE_SOLD,
    LM_MOVE_DIED,
    LM_MOVE_KILLED,
    LM_MOVE_OUT,
    LM_MOVE_LOST,
    LM_MOVE_AGED, /**< grew into the class, less grew out of it */
    LM_MOVE_BOOK,
    LM_MOVES
};

enum lm_age_class { LM_AGE_KID, LM_AGE_YEARLING, LM_AGE_ADULT, LM_AGE_UNSAID, LM_AGES };
enum lm_sex_class {
    LM_CLASS_FEMALE,
    LM_CLASS_MALE,
    LM_CLASS_CASTRATED,
    LM_CLASS_UNSAID,
    LM_SEX_CLASSES
};

const char *lm_move_name(enum lm_move move);          /**< "opening", "births", ... */
int lm_move_sign(enum lm_move move);                  /**< +1, -1, or 0 for the book itself */
const char *lm_age_class_name(enum lm_age_class age); /**< "kid", ... */
const char *lm_sex_class_name(enum lm_sex_class sex); /**< "female", ... */

/** One class of animals. */
struct lm_statement_class {
    char species[LM_NAME_MAX + 1]; /**< "" where it is not said */
    uint8_t age, sex;              /**< enum lm_age_class, enum lm_sex_class */
    int64_t n[LM_MOVES];           /**< animals, by enum lm_move */
    uint32_t identified;           /**< of its book at the end, seen in the count */
};

/** Identification as an inspector counts it, of the animals in the book at the end. */
enum lm_marks {
    LM_MARKS_WELL,
    LM_MARKS_ONE_LOST,        /**< one or more gone without a replacement, others still worn */
    LM_MARKS_ELECTRONIC_LOST, /**< the electronic one is gone, only others are worn */
    LM_MARKS_ALL_LOST,        /**< it had devices and wears none */
    LM_MARKS_NEVER,           /**< no device was ever written down */
    LM_MARKS_KINDS
};
const char *lm_marks_name(enum lm_marks marks); /**< "one-lost", ... */

/** How an animal is identified at the end of a day: its official devices if it ever had one, else
 *  all of them. A device is replaced by one put on for it, or by one of the same form and place
 *  put on when it came off or later. */
enum lm_marks lm_marks_of(const struct lm_record *rec, int32_t day);

struct lm_statement_limits {
    unsigned kid_months;      /**< a kid, or lamb, is younger; default 12 */
    unsigned yearling_months; /**< a yearling is younger; default 24 */
};

/** What the register leaves open: numbers of animals. */
struct lm_statement_doubts {
    uint32_t in_written;  /**< came in the period, the day is only when it was written down */
    uint32_t out_written; /**< left in the period, the same */
    uint32_t vague;       /**< a date to the month or year may put it on the other side of the
                               first or last day */
    uint32_t age_vague;   /**< the birth date is too rough to tell its class */
    uint32_t late;        /**< in the opening, but first written down after it */
    uint32_t unsaid;      /**< how it came is not said */
};

struct lm_statement {
    struct lm_date from, to; /**< both days belong to it */
    struct lm_statement_limits limits;
    char holding[256];                  /**< its name or number, "" when not set */
    struct lm_statement_class *classes; /**< by species, age, sex; only those with an animal */
    size_t n_classes;
    struct lm_statement_class total;
    uint32_t marks[LM_MARKS_KINDS];
    struct lm_statement_doubts doubts;
    const struct lm_inventory *count; /**< borrowed, NULL for none */
    uint32_t identified_elsewhere;    /**< identified in the count, not in the book at the end */
    const struct lm_speech *notes_in; /**< tongue of the notes in JSON and CSV; NULL: English */
};

/**
 * Make a statement.
 * @param[in] limits  NULL for the defaults.
 * @param[in] count   Borrowed for the life of the statement; NULL for none.
 * @return LM_OK (ownership: lm_statement_free()), LM_EARG when a date is not a day or the first is
 *         after the last, LM_ENOMEM, or what the store gave.
 */
enum lm_err lm_statement_make(struct lm_store *store, struct lm_date from, struct lm_date to,
    const struct lm_statement_limits *limits, const struct lm_inventory *count,
    struct lm_statement *out);
void lm_statement_free(struct lm_statement *s);

/** Whether somebody has to look: a difference, a doubt about who came or left, lost marks. */
bool lm_statement_flagged(const struct lm_statement *s);

/**
 * The open questions as sentences, one a call.
 * @param[in] in  Their tongue; NULL: English.
 * @return How many there are.
 */
size_t lm_statement_notes(const struct lm_statement *s, const struct lm_speech *in,
    void (*fn)(const char *note, void *ctx), void *ctx);

/** Write it. The page is whole in itself and prints. @return LM_OK, LM_EIO. */
enum lm_err lm_statement_text(FILE *out, const struct lm_statement *s);
enum lm_err lm_statement_csv(FILE *out, const struct lm_statement *s);
enum lm_err lm_statement_json(FILE *out, const struct lm_statement *s);
enum lm_err lm_statement_html(FILE *out, const struct lm_statement *s);

#endif
