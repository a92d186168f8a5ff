/*
 * A quick way for large files: most animals of a large register go by once, as expected, and
 * nothing is to be said of them. The sieve finds those by looking at the bytes alone, counts them,
 * and leaves the rest, lines and readings as they stand, to the plain way. It says nothing itself:
 * whatever it does not know for sure stays in, and a file that it does not know its way about in
 * is left to the plain way as a whole. So both ways give the same output, byte for byte.
 */
#ifndef LUGMARK_SIEVE_H
#define LUGMARK_SIEVE_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "lugmark/event.h"

struct lm_sieve;

/**
 * Sieve a register and the readings.
 * @param[in] mob  Whose animals are expected; NULL or "" for all.
 * @return NULL when these files are for the plain way (or when out of memory). Ownership:
 *         lm_sieve_free().
 */
struct lm_sieve *lm_sieve_files(
    const char *register_path, const char *readings_path, const char *mob);
void lm_sieve_free(struct lm_sieve *s); /**< NULL is allowed */

/** The lines of the register that stay, under its header line. @return NULL when out of memory.
 * Borrowed: valid while @p s lives; the caller closes it. */
FILE *lm_sieve_register(struct lm_sieve *s);

/** The next reading that stays. @param[in,out] ev  Zero-initialised before the first call. */
bool lm_sieve_next(struct lm_sieve *s, struct lm_event *ev);

/** How many animals fell through: expected, and gone by once. */
uint32_t lm_sieve_through(const struct lm_sieve *s);

#endif
