/* Whether the parentage in the register can be, after a change and before it is kept. */
#ifndef LUGMARK_CLI_KIN_H
#define LUGMARK_CLI_KIN_H

#include "lugmark/family.h"
#include "lugmark/store.h"

/** What is wrong, in words. @return Whether it is refused; otherwise it is only noted. */
bool lm_kin_words(const struct lm_family_problem *problem, struct lm_problem *p);

/**
 * Check the animal @p key against the whole register as it stands in the open transaction.
 * @return LM_EXIT_OK (notes were written to standard error), or LM_EXIT_INPUT after saying why.
 */
int lm_kin_check(struct lm_store *store, const char *key);

#endif
