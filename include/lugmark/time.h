/** @file time.h
 * Instants and dates. No clock is read here: time is always an argument.
 */
#ifndef LUGMARK_TIME_H
#define LUGMARK_TIME_H

#include <stdint.h>

#include "lugmark/err.h"

#define LM_TIME_NONE INT64_MIN /**< "no time" */
#define LM_TIME_TEXT_SIZE 28u  /**< 2026-11-02T08:00:01.250Z + NUL, with room */
#define LM_DATE_TEXT_SIZE 16u

/**
 * Parse an instant: RFC 3339, `T` or a space between date and time, seconds with or without a
 * fraction, zone `Z` or +hh:mm; without a zone it is taken as UTC. Years 1900 to 9999.
 * @param[out] t_ms  Milliseconds since 1970-01-01T00:00:00Z.
 * @return LM_OK or LM_EFRAME.
 */
enum lm_err lm_time_parse(const char *text, size_t len, int64_t *t_ms);

/** Write an instant as RFC 3339 UTC with milliseconds and Z; LM_TIME_NONE gives "". @return @p out.
 */
char *lm_time_format(int64_t t_ms, char out[LM_TIME_TEXT_SIZE]);

/** A date with its precision: year only, year and month, or the day. All zero: none. */
struct lm_date {
    int16_t year;  /**< 1900-9999; 0 means no date */
    uint8_t month; /**< 1-12; 0 means only the year is known */
    uint8_t day;   /**< 1-31; 0 means only the month is known */
};

/** Parse 2026, 2026-03 or 2026-03-28 (ISO 8601). An empty text is no date. @return LM_OK,
 * LM_EFRAME. */
enum lm_err lm_date_parse(const char *text, size_t len, struct lm_date *out);

/** Write a date with the precision it has; no date gives "". @return @p out. */
char *lm_date_format(struct lm_date d, char out[LM_DATE_TEXT_SIZE]);

/** The UTC date of an instant. */
struct lm_date lm_date_of(int64_t t_ms);

/**
 * Days since 1970-01-01 of the first (@p last = 0) or last (@p last = 1) day that the date can
 * mean; INT32_MIN for no date.
 */
int32_t lm_date_days(struct lm_date d, int last);

#endif
