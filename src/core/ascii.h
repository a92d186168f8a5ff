/** @file ascii.h
 * Private to the core: questions about single characters, without the locale.
 */
#ifndef LUGMARK_CORE_ASCII_H
#define LUGMARK_CORE_ASCII_H

#include <stdbool.h>

static inline bool lm_is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static inline char lm_upper(char c)
{
    return c >= 'a' && c <= 'z' ? (char) (c - 'a' + 'A') : c;
}

static inline bool lm_is_hex(char c)
{
    return lm_is_digit(c) || (lm_upper(c) >= 'A' && lm_upper(c) <= 'F');
}

/** What may stand around and between: blank, tab and line ends. */
static inline bool lm_is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

#endif
