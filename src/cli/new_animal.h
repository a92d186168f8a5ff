/* Adding one animal with at most one device: add, buy and tag share it. */
#ifndef LUGMARK_CLI_NEW_ANIMAL_H
#define LUGMARK_CLI_NEW_ANIMAL_H

#include "command.h"
#include "lugmark/store.h"

/**
 * Take the animal and its device from the options of LM_ANIMAL_OPTIONS and LM_DEVICE_OPTIONS, and
 * --animal. Without a key of its own it is called by its number, else by its code.
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_new_animal(const struct lm_args *args, struct lm_record *rec);

/** Name it as above, when the rest is there. */
int lm_new_animal_key(const struct lm_args *args, struct lm_record *rec);

/**
 * Put it into the open transaction; an animal of that key, a parentage that cannot be and dates in
 * the future are refused, a number that a living animal wears is noted on standard error.
 */
int lm_new_animal_put(struct lm_store *store, const struct lm_record *rec, const char *why);

#endif
