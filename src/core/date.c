/** @file date.c
 * Dates with the precision a keeper knows them with.
 */
#include "core/ascii.h"
#include "core/calendar.h"

#include <stdio.h>
#include <string.h>

static bool is_leap(int year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

int lm_month_days(int year, int month)
{
    static const uint8_t days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return days[month - 1] + (month == 2 && is_leap(year) ? 1 : 0);
}

int32_t lm_days_of(int year, int month, int day)
{
    /* Years counted from March put the leap day last, so month lengths follow one straight line. */
    int y = month > 2 ? year : year - 1;
    int from_march = month > 2 ? month - 3 : month + 9;
    int day_of_year = (153 * from_march + 2) / 5 + day - 1;
    return y * 365 + y / 4 - y / 100 + y / 400 + day_of_year - 719468;
}

bool lm_take_digits(const char *text, size_t len, size_t *at, unsigned n, int *value)
{
    if (len - *at < n)
        return false;
    int v = 0;
    for (unsigned i = 0; i < n; i++) {
        char c = text[*at + i];
        if (!lm_is_digit(c))
            return false;
        v = v * 10 + (c - '0');
    }
    *at += n;
    *value = v;
    return true;
}

bool lm_take_char(const char *text, size_t len, size_t *at, char c)
{
    if (*at >= len || text[*at] != c)
        return false;
    ++*at;
    return true;
}

static bool exists(int year, int month, int day)
{
    if (year < LM_YEAR_MIN || year > LM_YEAR_MAX || month < 0 || month > 12)
        return false;
    if (month == 0)
        return day == 0;
    return day >= 0 && day <= lm_month_days(year, month);
}

enum lm_err lm_date_parse(const char *text, size_t len, struct lm_date *out)
{
    if (len == 0) {
        *out = (struct lm_date){0, 0, 0};
        return LM_OK;
    }
    int year = 0, month = 0, day = 0;
    size_t at = 0;
    if (!lm_take_digits(text, len, &at, 4, &year))
        return LM_EFRAME;
    if (at < len) {
        if (!lm_take_char(text, len, &at, '-') || !lm_take_digits(text, len, &at, 2, &month) ||
            month == 0)
            return LM_EFRAME;
        if (at < len && (!lm_take_char(text, len, &at, '-') ||
                            !lm_take_digits(text, len, &at, 2, &day) || day == 0))
            return LM_EFRAME;
    }
    if (at != len || !exists(year, month, day))
        return LM_EFRAME;
    *out = (struct lm_date){(int16_t) year, (uint8_t) month, (uint8_t) day};
    return LM_OK;
}

char *lm_date_format(struct lm_date d, char out[LM_DATE_TEXT_SIZE])
{
    if (d.year == 0 || !exists(d.year, d.month, d.day))
        out[0] = '\0';
    else if (d.month == 0)
        snprintf(out, LM_DATE_TEXT_SIZE, "%04d", d.year);
    else if (d.day == 0)
        snprintf(out, LM_DATE_TEXT_SIZE, "%04d-%02u", d.year, d.month % 100u);
    else
        snprintf(out, LM_DATE_TEXT_SIZE, "%04d-%02u-%02u", d.year, d.month % 100u, d.day % 100u);
    return out;
}

int32_t lm_date_days(struct lm_date d, int last)
{
    if (d.year == 0 || !exists(d.year, d.month, d.day))
        return INT32_MIN;
    int month = d.month != 0 ? d.month : last ? 12 : 1;
    int day = d.day != 0 ? d.day : last ? lm_month_days(d.year, month) : 1;
    return lm_days_of(d.year, month, day);
}
