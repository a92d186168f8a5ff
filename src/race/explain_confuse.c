/*
 * Which number is called when a worn one is misread. The shares of the mistakes are common
 * practice, not measured: mud and wear close loops (0, 8, 6), a stroke is taken for another (1, 7),
 * neighbours change places, a digit is lost behind the hair or in the shout.
 */
#include "lugmark/explain.h"
#include "race/explain_priv.h"

#include <string.h>

static bool alike(char a, char b)
{
    static const char both[] = "08"
                               "86"
                               "06"
                               "17"
                               "38"
                               "56"
                               "49"
                               "O0"
                               "I1"
                               "S5"
                               "B8"
                               "G6"
                               "Z2";
    for (size_t i = 0; both[i]; i += 2) {
        if ((both[i] == a && both[i + 1] == b) || (both[i] == b && both[i + 1] == a))
            return true;
    }
    return false;
}

/** How many single confusions a number allows. */
static unsigned confusable(const char *s)
{
    unsigned n = 0;
    for (; *s; s++) {
        for (const char *c = "0123456789"; *c; c++)
            n += alike(*s, *c);
    }
    return n;
}

static unsigned turnable(const char *s)
{
    unsigned n = 0;
    for (; s[0] && s[1]; s++)
        n += s[0] != s[1];
    return n;
}

static double same_length(const char *p, const char *c, size_t len)
{
    size_t i = 0;
    while (i < len && p[i] == c[i])
        i++;
    if (i == len)
        return 0.0;
    if (strcmp(p + i + 1, c + i + 1) == 0) {
        double any = 0.04 / (9.0 * (double) len);
        return alike(p[i], c[i]) ? 0.55 / confusable(p) + any : any;
    }
    if (i + 1 < len && p[i] == c[i + 1] && p[i + 1] == c[i] && strcmp(p + i + 2, c + i + 2) == 0)
        return 0.2 / turnable(p);
    return 0.0;
}

/** Whether @p shorter is @p longer without one character. */
static bool lost_one(const char *longer, const char *shorter)
{
    while (*shorter && *longer == *shorter) {
        longer++;
        shorter++;
    }
    return strcmp(longer + 1, shorter) == 0;
}

double lm_confuse_folded(const char *p, const char *c)
{
    size_t np = strlen(p), nc = strlen(c);
    const char *bp = p, *bc = c;
    if (np == nc)
        return np ? same_length(p, c, np) : 0.0;
    while (*bp == '0' && bp[1])
        bp++;
    while (*bc == '0' && bc[1])
        bc++;
    if (strcmp(bp, bc) == 0)
        return 0.05;
    if (np == nc + 1 && lost_one(p, c))
        return 0.12 / (double) np;
    if (np + 1 == nc && lost_one(c, p))
        return 0.01 / (10.0 * (double) nc);
    return 0.0;
}

double lm_confuse(const char *printed, const char *called)
{
    char p[LM_VISUAL_MAX + 1], c[LM_VISUAL_MAX + 1];
    lm_visual_fold(printed, p);
    lm_visual_fold(called, c);
    return lm_confuse_folded(p, c);
}
