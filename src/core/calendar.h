/** @file calendar.h
 * Private to the core: the Gregorian calendar in whole days since 1970-01-01.
 */
#ifndef LUGMARK_CORE_CALENDAR_H
#define LUGMARK_CORE_CALENDAR_H

#include "lugmark/time.h"

#include <stdbool.h>
#include <stddef.h>

#define LM_YEAR_MIN 1900
#define LM_YEAR_MAX 9999

/** Days of a month, 28-31; @p month 1-12. */
int lm_month_days(int year, int month);

/** Days since 1970-01-01 of a date that exists, years 1900 to 9999. */
int32_t lm_days_of(int year, int month, int day);

/**
 * Read exactly @p n decimal digits (at most 9) at text[*at] and step over them.
 * @return false when they are not there.
 */
bool lm_take_digits(const char *text, size_t len, size_t *at, unsigned n, int *value);

/** Step over one expected character. @return false when it is not there. */
bool lm_take_char(const char *text, size_t len, size_t *at, char c);

#endif
