/** @file decode_decimal.c
 * Codes in decimal digits, and the damage that spreadsheets do to them.
 */
#include "core/decode_parts.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define GROUPS_MAX 6u /**< 276 0 12 34 56 789012 is as far apart as people write it */

/** Digits in groups with one kind of separator between. */
struct groups {
    char digits[20];
    size_t n_digits;
    size_t first; /**< digits before the first separator */
    size_t n_groups;
};

/**
 * Read the digits from text[at] on; blanks may repeat, other separators stand alone.
 * @return false when anything else is there, or too much.
 */
static bool read_groups(const char *text, size_t at, size_t len, struct groups *g)
{
    char separator = '\0';
    *g = (struct groups){.n_groups = 1};
    for (size_t i = at; i < len; i++) {
        char c = text[i];
        if (lm_is_digit(c)) {
            if (g->n_digits == sizeof g->digits)
                return false;
            g->digits[g->n_digits++] = c;
            continue;
        }
        bool after_blank = i > at && text[i - 1] == ' ' && c == ' ';
        bool after_digit = i > at && lm_is_digit(text[i - 1]);
        if (strchr(" -._", c) == NULL || c == '\0' || (separator != '\0' && c != separator) ||
            !(after_digit || after_blank) || i + 1 == len)
            return false;
        separator = c;
        if (after_digit && ++g->n_groups == 2)
            g->first = g->n_digits;
    }
    if (g->n_groups == 1)
        g->first = g->n_digits;
    return g->n_digits > 0 && g->n_groups <= GROUPS_MAX;
}

static enum lm_err damaged(const struct lm_code_text *t, const char *mend, const char *why)
{
    return lm_problem_set(t->p, LM_EDAMAGED, mend, "\"%s\" %s", t->quote, why);
}

/** 13 or 14 digits. The code that may have stood there is offered to the person, never taken. */
static enum lm_err zeros_lost(const struct lm_code_text *t, const struct groups *g)
{
    char mend[160] = "read the device again; keep code columns as text in spreadsheets";
    size_t country = g->n_groups > 1 ? g->first : g->n_digits - 12;
    struct lm_eid eid;
    char text[LM_EID_TEXT_SIZE];
    bool offer = country <= 3 && g->n_digits - country <= 12 &&
                 lm_eid_make((unsigned) lm_decimal(g->digits, country),
                     lm_decimal(g->digits + country, g->n_digits - country), &eid) == LM_OK &&
                 lm_country_class(lm_eid_country(eid)) != LM_COUNTRY_INVALID;
    if (offer)
        snprintf(mend, sizeof mend,
            "if the device says %s, write that; keep code columns as text in spreadsheets",
            lm_eid_format(eid, text));
    return lm_problem_set(t->p, LM_EDAMAGED, mend,
        "\"%s\" has %zu digits where a code has 15: leading zeros may be lost", t->quote,
        g->n_digits);
}

static enum lm_err wrong_count(const struct lm_code_text *t, size_t digits)
{
    if (digits >= 17)
        return lm_problem_set(t->p, LM_EDAMAGED, "give one code, as the device's 15 digits",
            "\"%s\" has %zu digits where a code has 15: two codes run together, or digits added",
            t->quote, digits);
    return lm_problem_set(t->p, LM_EFRAME, "write all 15 digits: 3 of the country and 12 more",
        "\"%s\" has %zu digits where a code has 15", t->quote, digits);
}

/** Steps over decimal digits; returns where they end. */
static size_t skip_digits(const char *text, size_t at, size_t len)
{
    while (at < len && lm_is_digit(text[at]))
        at++;
    return at;
}

/** 9.99E+14, 9,99e14, 999E12 and the like. */
static bool is_scientific(const char *text, size_t len)
{
    size_t at = skip_digits(text, 0, len);
    if (at == 0)
        return false;
    if (at < len && (text[at] == '.' || text[at] == ','))
        at = skip_digits(text, at + 1, len);
    if (at == len || (text[at] != 'e' && text[at] != 'E'))
        return false;
    at++;
    if (at < len && (text[at] == '+' || text[at] == '-'))
        at++;
    return at < len && skip_digits(text, at, len) == len;
}

/** 999000000012345.0: a code that was taken for an amount. */
static bool is_amount(const char *text, size_t len)
{
    size_t at = skip_digits(text, 0, len);
    return at >= 13 && at < len && (text[at] == '.' || text[at] == ',') &&
           skip_digits(text, at + 1, len) == len;
}

static bool is_hashes(const char *text, size_t len)
{
    size_t at = 0;
    while (at < len && text[at] == '#')
        at++;
    return len >= 3 && at == len;
}

static enum lm_err spreadsheet(const struct lm_code_text *t)
{
    static const char as_text[] =
        "make the column text in the spreadsheet and export the original file again";
    if (is_scientific(t->text, t->len))
        return damaged(t, as_text, "is a code that a spreadsheet rounded; its digits are lost");
    if (is_amount(t->text, t->len))
        return damaged(t, as_text, "has decimals: a spreadsheet took the code for an amount");
    if (is_hashes(t->text, t->len))
        return damaged(t, "make the column wider and export again",
            "is what a spreadsheet shows when a column is too narrow");
    return LM_EAGAIN;
}

enum lm_err lm_decode_decimal(const struct lm_code_text *t, struct lm_decoded *out)
{
    size_t run = skip_digits(t->text, 0, t->len);
    if (run == t->len && run > sizeof((struct groups *) 0)->digits)
        return wrong_count(t, run);
    enum lm_err err = spreadsheet(t);
    struct groups g;
    if (err != LM_EAGAIN || !read_groups(t->text, 0, t->len, &g))
        return err;
    bool together = g.n_groups == 1;
    /* Four digits of country are taken only where a separator shows that they are the country. */
    size_t country = !together && g.first == 4 && g.n_digits == 16 ? 4 : 3;
    if (g.n_digits == country + 12 && (together || g.first == country))
        return lm_decode_make(t, together ? LM_FORM_DIGITS15 : LM_FORM_SPLIT,
            (unsigned) lm_decimal(g.digits, country), lm_decimal(g.digits + country, 12), out);
    if (g.n_digits == 13 || g.n_digits == 14)
        return zeros_lost(t, &g);
    if (g.n_digits == 15 || g.n_digits == 16)
        return lm_problem_set(t->p, LM_EFRAME, "write the country's 3 digits, then the 12 others",
            "\"%s\" is grouped so that no country of 3 digits and number of 12 come out", t->quote);
    return wrong_count(t, g.n_digits);
}

enum lm_err lm_decode_letters(const struct lm_code_text *t, struct lm_decoded *out)
{
    size_t n = 0;
    while (n < t->len && n < 4 && ((t->text[n] | 32) >= 'a' && (t->text[n] | 32) <= 'z'))
        n++;
    bool usa =
        n == 3 && (t->text[0] | 32) == 'u' && (t->text[1] | 32) == 's' && (t->text[2] | 32) == 'a';
    if (n != 2 && !usa)
        return LM_EAGAIN;
    struct groups g;
    size_t at = n;
    while (at < t->len && (t->text[at] == ' ' || (at == n && t->text[at] == '-')))
        at++;
    if (!read_groups(t->text, at, t->len, &g))
        return LM_EAGAIN;
    unsigned country = lm_country_numeric(t->text);
    if (country == 0)
        return lm_problem_set(t->p, LM_EFRAME, "write the country's three digits instead",
            "\"%s\": no country has the letters %.2s", t->quote, t->quote);
    if (g.n_digits > 12)
        return lm_problem_set(t->p, LM_EFRAME,
            "write the country's letters and at most 12 digits, or the 15 digits alone",
            "\"%s\" has %zu digits behind the country where at most 12 belong", t->quote,
            g.n_digits);
    return lm_decode_make(t, LM_FORM_ALPHA2, country, lm_decimal(g.digits, g.n_digits), out);
}
