/** @file should.h
 * What an animal should wear by the holding's marking plan, beside what the daemon says of it.
 */
#ifndef LUGMARK_DAEMON_SHOULD_H
#define LUGMARK_DAEMON_SHOULD_H

#include "fold.h"
#include <jansson.h>

/**
 * Where the plan says something else than the animal wears, else "".
 * @param[in] key  Of the animal; NULL for none.
 */
const char *should_text(const struct fold *f, const char *key, char text[LM_PLAN_TEXT_MAX]);

/**
 * Add the key "should" to an object with an "animal": text where the plan says something else than
 * the animal wears, else "". @return @p out, also when it is NULL or names no animal.
 */
json_t *should_add(json_t *out, const struct fold *f);

#endif
