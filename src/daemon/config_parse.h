/** @file config_parse.h
 * What the halves of the configuration reader share: keys (config_keys.c), readers
 * (config_readers.c), suggestions (config_suggest.c). Lines are taken apart in drivers/ini.c.
 */
#ifndef LUGMARK_DAEMON_CONFIG_PARSE_H
#define LUGMARK_DAEMON_CONFIG_PARSE_H

#include "config.h"
#include <stdio.h>

enum config_section {
    CONFIG_NO_SECTION,  /**< before the first one */
    CONFIG_BAD_SECTION, /**< named as a mistake already; its keys are not looked at */
    CONFIG_HOLDING,
    CONFIG_LANE,
    CONFIG_READER,
    CONFIG_FRAME,
    CONFIG_PAGE,
    CONFIG_ATTENTION,
    CONFIG_CONTROL
};

struct config_parse {
    struct config *cfg;
    long line;
    unsigned problems;
    lm_problem_fn *fn;
    void *ctx;
    enum config_section section;
    unsigned seen;              /**< bit set of the sections that may stand only once */
    struct config_block *block; /**< reader or frame being read */
    struct config_lane *lane;
    char keys[CONFIG_SETTINGS][CONFIG_KEY_MAX]; /**< keys of this section so far */
    size_t n_keys;
};

/** Report a mistake at @p line. */
void config_bad(struct config_parse *c, long line, const char *mend, const char *fmt, ...)
    __attribute__((format(printf, 4, 5)));

/** Begin the section that @p text (between the brackets) names. */
void config_section_begin(struct config_parse *c, const char *text);

/** Take one key of the section. */
void config_key(struct config_parse *c, const char *key, const char *value);

/** After the last line: what can only be judged with all keys of a reader in hand. */
void config_finish_readers(struct config_parse *c);

/** "did you mean NAME", or what there is to choose from. @p names ends with NULL. */
const char *config_suggest(const char *word, const char *const *names, char *out, size_t size);

/** Same as config_suggest() over several lists. */
const char *config_suggest_of(
    const char *word, const char *const *const *lists, size_t n, char *out, size_t size);

/** Whether @p word is in @p names. */
bool config_is_one(const char *word, const char *const *names);

#endif
