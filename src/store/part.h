/* Who can be meant by a part of a number: see part.c. */
#ifndef LUGMARK_STORE_PART_H
#define LUGMARK_STORE_PART_H

#include "store/store_priv.h"

/* Make the table, or make it again when many animals are not in it; inside a transaction. */
enum lm_err lm_store_part_renew(struct lm_store *s);

/*
 * Rows of all animals that can hold a text in their key, breed or numbers, as a JSON array.
 * @param[in] fold  The text, folded by lm_visual_fold().
 * @return free() it; NULL: everybody has to be looked at.
 */
char *lm_store_part_rows(struct lm_store *s, const char *fold);

#endif
