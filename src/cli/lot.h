/* A lot: a list of animals in a file, each looked up in the register. */
#ifndef LUGMARK_CLI_LOT_H
#define LUGMARK_CLI_LOT_H

#include "lugmark/roll.h"

/** A lot. Zero-initialise; lm_lot_read() fills it. */
struct lm_lot {
    char name[LM_NAME_MAX + 1]; /**< the file's name without folder and ending */
    const char **keys;          /**< borrowed from the roll until its next put() */
    size_t n, room;
};

/**
 * Read a lot: one key, printed number or code a line, or CSV with a column animal, eid or visual.
 * "-" is standard input. Every line that names no animal, or more than one, is reported.
 * @return LM_EXIT_OK, or another after saying what is wrong. Ownership: lm_lot_free() either way.
 */
int lm_lot_read(const char *path, const struct lm_roll *roll, struct lm_lot *lot);
void lm_lot_free(struct lm_lot *lot);

#endif
