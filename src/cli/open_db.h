/* Finding and opening the register. */
#ifndef LUGMARK_CLI_OPEN_DB_H
#define LUGMARK_CLI_OPEN_DB_H

#include "command.h"
#include "lugmark/store.h"

/**
 * Path of the register: --db, else $LUGMARK_DB, else $XDG_DATA_HOME/lugmark/register.db, which
 * without that variable is ~/.local/share/lugmark/register.db.
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_db_path(const struct lm_args *args, char *out, size_t size);

/** Open the register. @return LM_EXIT_OK, or another after saying what is wrong. */
int lm_db_open(const struct lm_args *args, enum lm_store_mode mode, struct lm_store **store);

/** Say what went wrong in the last call on @p store. @return enum lm_exit, never 0. */
int lm_db_fail(const struct lm_store *store);

/** Milliseconds since 1970 UTC. */
int64_t lm_now_ms(void);

/**
 * Find the one animal that a person means: by key, else by number or code that it wears.
 * @param[out] rec  Filled on success.
 * @return LM_EXIT_OK, or LM_EXIT_INPUT after saying that there is none or which ones there are.
 */
int lm_db_animal(struct lm_store *store, const char *word, struct lm_record *rec);

#endif
