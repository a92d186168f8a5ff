/* The tongue of the screens: which words a person reads. Machine forms (JSON, CSV, the control
 * socket, names of kinds and reasons) never go through here, and neither does what the register
 * holds. English is the key of every text and what is shown where no catalog has it. */
#ifndef LUGMARK_REPORT_TONGUE_H
#define LUGMARK_REPORT_TONGUE_H

#include "lugmark/text.h"
#include <stdbool.h>
#include <stdio.h>

/** A text to be translated where it is shown: marks it for the catalog, changes nothing. */
#define N_(text) (text)

/** A text in the tongue of the screens. */
#define _(text) lm_tongue(text)

/**
 * @param[in] text  English, not NULL; formats keep their specifiers. "" stays "".
 * @return its translation, UTF-8 whatever the locale says; @p text itself when there is none.
 * Ownership: nobody's; it stays until the tongue changes.
 */
const char *lm_tongue(const char *text) __attribute__((format_arg(1)));

/** The same of a counted thing: the form that goes with @p n of it. */
const char *lm_tongue_n(const char *one, const char *many, unsigned long n)
    __attribute__((format_arg(1), format_arg(2)));

/** Both of them, for what the race says. */
extern const struct lm_speech lm_tongue_speech;

/**
 * A word that machine forms share with people: a place, a sex, a kind of session, a reader's state.
 * @return its translation; @p word itself when it is none of these: data is never translated.
 */
const char *lm_tongue_word(const char *word);

/** lm_tongue_word() of every part of a list such as "orange, right ear", into @p out, cut to fit.
 */
const char *lm_tongue_list(const char *list, char *out, unsigned long size);

/** How many characters of a terminal @p text takes, one a code point. */
int lm_tongue_width(const char *text);

/** Write a text and blanks after it until it takes @p columns of a terminal; a longer one is whole,
 *  with one blank. With 0 columns there is none. */
void lm_tongue_pad(FILE *out, const char *text, int columns);

/** Begin to speak as the environment asks (LANGUAGE, LC_ALL, LC_MESSAGES, LANG). Once, at start. */
void lm_tongue_begin(void);

/** The language of the screens in its two or three letters, such as "de"; "en" without a catalog.
 */
const char *lm_tongue_name(void);

/**
 * Speak another tongue until lm_tongue_give_back(), for a program that answers others. It is then
 * English again: such a program does not begin with lm_tongue_begin().
 * @param[in] name  As lm_tongue_name() gave it.
 * @return false, and nothing changed, when there is no such catalog.
 */
bool lm_tongue_lend(const char *name);

/** The end of it. Harmless when nothing was lent. */
void lm_tongue_give_back(void);

#endif
