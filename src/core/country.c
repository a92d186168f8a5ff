/** @file country.c
 * The ten country bits put into words.
 */
#include "lugmark/eid.h"

#include <string.h>

#include "core/ascii.h"

struct country {
    uint16_t numeric;
    char alpha2[3];
    const char *name;
};

#include "core/country_table.h"

#define COUNTRIES (sizeof countries / sizeof countries[0])

/* Regulation (EU) 2021/520 art. 12: devices of Northern Ireland carry XI or 899, which ISO 3166-1
 * does not list. */
static const struct country northern_ireland = {899, "XI", "Northern Ireland"};

/* Letters that animal-health law writes for a country which ISO lists under others. */
static const struct {
    char alpha2[3];
    uint16_t numeric;
} other_letters[] = {{"UK", 826}, {"EL", 300}, {"XI", 899}};

static const struct country *find(unsigned numeric)
{
    size_t low = 0, high = COUNTRIES;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (countries[mid].numeric == numeric)
            return &countries[mid];
        if (countries[mid].numeric < numeric)
            low = mid + 1;
        else
            high = mid;
    }
    return numeric == northern_ireland.numeric ? &northern_ireland : NULL;
}

enum lm_country_class lm_country_class(unsigned country)
{
    if (country == 0 || country > LM_COUNTRY_TEST)
        return LM_COUNTRY_INVALID;
    if (country == LM_COUNTRY_TEST)
        return LM_COUNTRY_IS_TEST;
    if (country >= 900)
        return LM_COUNTRY_MANUFACTURER;
    return find(country) != NULL ? LM_COUNTRY_ISO : LM_COUNTRY_UNASSIGNED;
}

const char *lm_country_name(unsigned country)
{
    switch (lm_country_class(country)) {
    case LM_COUNTRY_ISO:
        return find(country)->name;
    case LM_COUNTRY_UNASSIGNED:
        return "no country has this number today";
    case LM_COUNTRY_MANUFACTURER:
        return "a manufacturer's number, not a country";
    case LM_COUNTRY_IS_TEST:
        return "test code";
    case LM_COUNTRY_INVALID:
        break;
    }
    return "not a valid country number";
}

const char *lm_country_alpha2(unsigned country)
{
    const struct country *c = find(country);
    return c != NULL ? c->alpha2 : NULL;
}

unsigned lm_country_numeric(const char alpha2[2])
{
    char want[2] = {lm_upper(alpha2[0]), alpha2[0] != '\0' ? lm_upper(alpha2[1]) : '\0'};
    if (want[0] == '\0' || want[1] == '\0')
        return 0;
    for (size_t i = 0; i < sizeof other_letters / sizeof other_letters[0]; i++)
        if (memcmp(other_letters[i].alpha2, want, 2) == 0)
            return other_letters[i].numeric;
    for (size_t i = 0; i < COUNTRIES; i++)
        if (memcmp(countries[i].alpha2, want, 2) == 0)
            return countries[i].numeric;
    return 0;
}
