/** @file text.h
 * Text from outside: every byte is untrusted until it went through here.
 */
#ifndef LUGMARK_TEXT_H
#define LUGMARK_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#define LM_VISUAL_MAX 127u /**< longest visual number kept, bytes of UTF-8 */
#define LM_NAME_MAX 63u    /**< longest animal key, mob, breed, lane or colour, bytes of UTF-8 */

/** The tongue that texts for people are said in. Whoever takes one takes NULL for English. */
struct lm_speech {
    /** @return What is said for an English text, with its format specifiers. */
    const char *(*text)(const char *english) __attribute__((format_arg(1)));
    /** The same of a counted thing: the form that goes with @p n of it. */
    const char *(*counted)(const char *one, const char *many, unsigned long n)
        __attribute__((format_arg(1), format_arg(2)));
};

/** Whether @p len bytes are well-formed UTF-8 without NUL and other control characters. */
bool lm_text_clean(const char *text, size_t len);

/**
 * Copy text into a fixed buffer, cut at a character boundary.
 * Control characters and bytes that are not UTF-8 become '?'. Blanks at both ends are dropped.
 * @return true when nothing had to be cut or replaced.
 */
bool lm_text_copy(char *out, size_t size, const char *text, size_t len);

/**
 * Fold a visual number for comparing: ASCII letters to upper case; blanks, `-`, `.`, `_`, `/`
 * dropped. Leading zeros stay. @return The length written, without NUL.
 */
size_t lm_visual_fold(const char *visual, char out[LM_VISUAL_MAX + 1]);

/** The same with leading zeros dropped too (at least one character stays). */
size_t lm_visual_fold_loose(const char *visual, char out[LM_VISUAL_MAX + 1]);

/**
 * Whether a word is the wanted one, ignoring ASCII case and taking blank, `-` and `_` as the same.
 */
bool lm_word_is(const char *word, const char *wanted);

/**
 * Whether a spreadsheet program would run a text as a formula. Quotes (') in front do not count:
 * one more always goes on to disarm it, so that one can always come off again.
 */
bool lm_text_is_formula(const char *text);

#endif
