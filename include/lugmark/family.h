/** @file family.h
 * Who bore whom: what cannot be in the parentage of a register.
 *
 * Pure: fed with animals, asked once. A parent that is not among the animals is no fault.
 */
#ifndef LUGMARK_FAMILY_H
#define LUGMARK_FAMILY_H

#include "lugmark/record.h"

/**
 * Youngest age at which a dam can have borne a kid, in days: about five months are the carrying
 * time alone (some 150 days in goats and sheep), so a dam younger than that was not yet born when
 * the kid was begotten. Common practice mates none before seven months.
 */
#define LM_DAM_DAYS_MIN 150

struct lm_family;

enum lm_family_fault {
    LM_FAMILY_OWN_PARENT,     /**< its own dam or sire, at once or over other animals */
    LM_FAMILY_YOUNGER_PARENT, /**< a parent was born after it */
    LM_FAMILY_DAM_TOO_YOUNG,  /**< the dam was under LM_DAM_DAYS_MIN days old at its birth */
    LM_FAMILY_DAM_MALE,       /**< the dam is entered as a male */
    LM_FAMILY_SIRE_FEMALE
};

/** One thing that cannot be. Texts are borrowed from the family. */
struct lm_family_problem {
    enum lm_family_fault fault;
    const char *animal;
    const char *parent;
    struct lm_date born, parent_born;
    long line; /**< as given for the animal or, when that has none, for the parent; 0 for none */
};

typedef void lm_family_fn(const struct lm_family_problem *problem, void *ctx);

/** Begin with no animals. NULL when out of memory. Ownership: lm_family_free(). */
struct lm_family *lm_family_new(void);
void lm_family_free(struct lm_family *family); /**< NULL is allowed */

/**
 * Add an animal. Of two with one key the first counts.
 * @param[in] line  Where it stands in a file, or any number that is not 0 for "look at it"; with 0
 *                  it is only told of as the parent or the kid of one that has a line.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_family_add(struct lm_family *family, const struct lm_record *rec, long line);

/**
 * Tell every fault that touches an animal with a line, in the order the animals were added. Dates
 * of any precision: told is only what is sure.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_family_check(struct lm_family *family, lm_family_fn *fn, void *ctx);

#endif
