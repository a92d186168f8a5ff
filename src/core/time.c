/** @file time.c
 * Instants in and out, RFC 3339.
 */
#include "core/ascii.h"
#include "core/calendar.h"

#include <stdio.h>

#define MS_A_DAY INT64_C(86400000)

struct clock_text {
    int hour, minute, second, ms;
    int offset_minutes; /**< what local time is ahead of UTC */
};

/** Fraction of a second, 1-9 digits, cut to milliseconds. The point is already behind us. */
static bool take_fraction(const char *text, size_t len, size_t *at, int *ms)
{
    int weight = 100;
    unsigned digits = 0;
    for (; *at < len && lm_is_digit(text[*at]); ++*at, digits++) {
        *ms += (text[*at] - '0') * weight;
        weight /= 10;
    }
    return digits >= 1 && digits <= 9;
}

/** `Z`, `+hh:mm`, `-hh:mm`, or nothing, which is UTC. */
static bool take_zone(const char *text, size_t len, size_t *at, int *offset)
{
    if (*at == len || lm_take_char(text, len, at, 'Z') || lm_take_char(text, len, at, 'z'))
        return true;
    int sign = text[*at] == '-' ? -1 : 1;
    int hours = 0, minutes = 0;
    if (!lm_take_char(text, len, at, '+') && !lm_take_char(text, len, at, '-'))
        return false;
    if (!lm_take_digits(text, len, at, 2, &hours) || !lm_take_char(text, len, at, ':') ||
        !lm_take_digits(text, len, at, 2, &minutes) || hours > 23 || minutes > 59)
        return false;
    *offset = sign * (hours * 60 + minutes);
    return true;
}

static bool take_clock(const char *text, size_t len, size_t *at, struct clock_text *c)
{
    if (!lm_take_digits(text, len, at, 2, &c->hour) || !lm_take_char(text, len, at, ':') ||
        !lm_take_digits(text, len, at, 2, &c->minute) || !lm_take_char(text, len, at, ':') ||
        !lm_take_digits(text, len, at, 2, &c->second))
        return false;
    if (c->hour > 23 || c->minute > 59 || c->second > 60)
        return false;
    if (lm_take_char(text, len, at, '.') && !take_fraction(text, len, at, &c->ms))
        return false;
    return take_zone(text, len, at, &c->offset_minutes) && *at == len;
}

enum lm_err lm_time_parse(const char *text, size_t len, int64_t *t_ms)
{
    struct lm_date date;
    struct clock_text c = {0, 0, 0, 0, 0};
    size_t at = 10;
    if (len < 11 || lm_date_parse(text, 10, &date) != LM_OK || date.day == 0)
        return LM_EFRAME;
    if (!lm_take_char(text, len, &at, 'T') && !lm_take_char(text, len, &at, 't') &&
        !lm_take_char(text, len, &at, ' '))
        return LM_EFRAME;
    if (!take_clock(text, len, &at, &c))
        return LM_EFRAME;
    int64_t seconds = (int64_t) lm_date_days(date, 0) * 86400 + c.hour * 3600 + c.minute * 60 +
                      c.second - c.offset_minutes * 60;
    /* A leap second can only be the last one of a UTC day; it becomes the next day's first. */
    if (c.second == 60 && seconds % 86400 != 0)
        return LM_EFRAME;
    int64_t t = seconds * 1000 + c.ms;
    if (lm_date_of(t).year == 0) /* the offset can lead out of the years we write */
        return LM_EFRAME;
    *t_ms = t;
    return LM_OK;
}

static int64_t floor_days(int64_t t_ms)
{
    return t_ms / MS_A_DAY - (t_ms % MS_A_DAY < 0 ? 1 : 0);
}

struct lm_date lm_date_of(int64_t t_ms)
{
    int64_t days = floor_days(t_ms);
    if (days < lm_days_of(LM_YEAR_MIN, 1, 1) || days > lm_days_of(LM_YEAR_MAX, 12, 31))
        return (struct lm_date){0, 0, 0};
    /* The inverse of lm_days_of(): 400 years are 146097 days, counted from a first of March. */
    int z = (int) days + 719468;
    int era = z / 146097;
    int day_of_era = z % 146097;
    int year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int from_march = (5 * day_of_year + 2) / 153;
    int month = from_march < 10 ? from_march + 3 : from_march - 9;
    return (struct lm_date){
        .year = (int16_t) (year_of_era + era * 400 + (month <= 2 ? 1 : 0)),
        .month = (uint8_t) month,
        .day = (uint8_t) (day_of_year - (153 * from_march + 2) / 5 + 1),
    };
}

char *lm_time_format(int64_t t_ms, char out[LM_TIME_TEXT_SIZE])
{
    char date[LM_DATE_TEXT_SIZE];
    lm_date_format(lm_date_of(t_ms), date);
    out[0] = '\0';
    if (date[0] != '\0') {
        unsigned ms = (unsigned) (t_ms - floor_days(t_ms) * MS_A_DAY);
        snprintf(out, LM_TIME_TEXT_SIZE, "%.10sT%02u:%02u:%02u.%03uZ", date, ms / 3600000u % 24u,
            ms / 60000u % 60u, ms / 1000u % 60u, ms % 1000u);
    }
    return out;
}
