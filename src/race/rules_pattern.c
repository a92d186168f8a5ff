/* Patterns of official numbers. A rule pack may come from anybody, so the language is small: no
 * group in a group, nothing repeated without a bound, and a limit on the steps of one match. */
#include "lugmark/rules.h"

#include <string.h>

#define PATTERN_MAX 600u
#define REPEAT_MAX 40
#define STEPS_MAX 20000u

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_plain(char c)
{
    return is_digit(c) || (c >= 'A' && c <= 'Z') || c == ' ';
}

/* First character behind the atom at p: a character, \d or a class. NULL when it is none. */
static const char *atom_end(const char *p)
{
    if (is_plain(*p))
        return p + 1;
    if (p[0] == '\\')
        return p[1] == 'd' ? p + 2 : NULL;
    if (*p != '[')
        return NULL;
    const char *c = p + 1;
    while (is_plain(*c) && *c != '\0') {
        if (c[1] == '-') {
            if (!is_plain(c[2]) || c[2] < c[0])
                return NULL;
            c += 2;
        }
        c++;
    }
    return *c == ']' && c > p + 1 ? c + 1 : NULL;
}

static const char *number(const char *p, int *n)
{
    const char *c = p;
    for (*n = 0; is_digit(*c) && c - p < 3; c++)
        *n = *n * 10 + (*c - '0');
    return c > p ? c : NULL;
}

/* First character behind the quantifier at p, if there is one. NULL when it is damaged. */
static const char *quantifier(const char *p, int *least, int *most)
{
    *least = *most = 1;
    if (*p == '?') {
        *least = 0;
        return p + 1;
    }
    if (*p != '{')
        return p;
    const char *c = number(p + 1, least);
    *most = *least;
    if (c != NULL && *c == ',')
        c = number(c + 1, most);
    return c != NULL && *c == '}' && *most >= *least && *most <= REPEAT_MAX ? c + 1 : NULL;
}

/* One run of atoms. Where it stops is in *p; false when it stops at something damaged. */
static bool run_is_good(const char **p)
{
    int least, most;
    while (**p != '\0' && **p != '(' && **p != ')' && **p != '|') {
        const char *end = atom_end(*p);
        const char *next = end != NULL ? quantifier(end, &least, &most) : NULL;
        if (next == NULL) {
            *p = end != NULL ? end : *p;
            return false;
        }
        *p = next;
    }
    return true;
}

static bool group_is_good(const char **p)
{
    do {
        ++*p;
        if (!run_is_good(p))
            return false;
    } while (**p == '|');
    if (**p != ')')
        return false;
    *p += (*p)[1] == '?' ? 2 : 1;
    return **p != '{' && **p != '?';
}

size_t lm_pattern_bad(const char *pattern)
{
    const char *p = pattern;
    if (*p == '\0' || strlen(pattern) > PATTERN_MAX)
        return 1;
    while (*p != '\0')
        if (!run_is_good(&p) || (*p != '\0' && (*p != '(' || !group_is_good(&p))))
            return (size_t) (p - pattern) + 1;
    return 0;
}

static bool atom_is(const char *p, const char *end, char c)
{
    if (*p == '\\')
        return is_digit(c);
    if (*p != '[')
        return *p == c;
    for (p++; p < end - 1; p++) {
        if (p[1] == '-') {
            if (c >= p[0] && c <= p[2])
                return true;
            p += 2;
        } else if (*p == c) {
            return true;
        }
    }
    return false;
}

static bool match(const char *p, const char *t, const char *after, unsigned *steps);

static bool match_group(const char *p, const char *t, unsigned *steps)
{
    const char *close = strchr(p, ')');
    bool maybe = close[1] == '?';
    const char *after = close + (maybe ? 2 : 1);
    for (const char *c = p; c < close; c++)
        if ((*c == '(' || *c == '|') && match(c + 1, t, after, steps))
            return true;
    return maybe && match(after, t, NULL, steps);
}

/* Match from p on; within a group `after` is where the pattern goes on behind it. */
static bool match(const char *p, const char *t, const char *after, unsigned *steps)
{
    int least, most, n = 0;
    if (++*steps > STEPS_MAX)
        return false;
    if (after != NULL && (*p == '|' || *p == ')'))
        return match(after, t, NULL, steps);
    if (*p == '\0')
        return *t == '\0';
    if (*p == '(')
        return match_group(p, t, steps);
    const char *end = atom_end(p), *next = quantifier(end, &least, &most);
    while (n < most && t[n] != '\0' && atom_is(p, end, t[n]))
        n++;
    for (; n >= least; n--)
        if (match(next, t + n, after, steps))
            return true;
    return false;
}

bool lm_pattern_match(const char *pattern, const char *text)
{
    unsigned steps = 0;
    return lm_pattern_bad(pattern) == 0 && match(pattern, text, NULL, &steps);
}

/* ISO 7064, hybrid system with the moduli 37 and 36. */
char lm_mod37_36(const char *text)
{
    static const char letters[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    unsigned carry = 36;
    for (const char *c = text; *c != '\0'; c++) {
        const char *at = strchr(letters, *c);
        if (at == NULL)
            return '\0';
        carry = (carry + (unsigned) (at - letters)) % 36;
        carry = (carry == 0 ? 36 : carry) * 2 % 37;
    }
    return letters[(37 - carry) % 36];
}

bool lm_uk_cattle_check(const char *text)
{
    uint64_t herd = 0, animal = 0;
    if (strlen(text) != 14 || text[0] != 'U' || text[1] != 'K')
        return false;
    for (int i = 2; i < 14; i++) {
        if (!is_digit(text[i]))
            return false;
        uint64_t *part = i < 8 ? &herd : &animal;
        if (i != 8)
            *part = *part * 10 + (uint64_t) (text[i] - '0');
    }
    return (herd * 100000 + animal) % 7 + 1 == (uint64_t) (text[8] - '0');
}
