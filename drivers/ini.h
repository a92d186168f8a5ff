/** @file ini.h
 * Lines of a configuration file: sections, keys, and what is wrong with a line.
 *
 * inih takes a line apart; what it does silently (cutting long lines and names, joining indented
 * lines, losing the number of the line) is kept from it here. What sections and keys mean is the
 * business of those who read: the daemon all of them, `lugmark readers --try` those of decoders.
 */
#ifndef DRIVERS_INI_H
#define DRIVERS_INI_H

#include "lugmark/err.h"

#define LM_INI_LINE_MAX 197u /**< longest line, bytes: inih cuts longer ones silently */

/** Who hears of it. Text is borrowed for the call. */
struct lm_ini {
    void (*section)(void *ctx, long line, const char *text); /**< what stands between the brackets;
        NULL for a section that cannot be read, which was told as a mistake already */
    void (*key)(void *ctx, long line, const char *key, const char *value);
    void (*bad)(void *ctx, long line, const char *mend, const char *what); /**< a mistake */
    void *ctx;
};

/**
 * Read a file.
 * @return LM_OK; LM_ENOTFOUND when it cannot be opened and LM_EIO when it cannot be read on, both
 *         told as a mistake too. Mistakes in lines do not end it.
 */
enum lm_err lm_ini_read(const char *path, const struct lm_ini *to);

/**
 * Find the default configuration: /etc/lugmark/lugmark.conf, then
 * $XDG_CONFIG_HOME/lugmark/lugmark.conf.
 * @return @p out, or NULL when there is none.
 */
const char *lm_ini_default(char *out, size_t size);

#endif
