/** @file frame_field.c
 * One word of `fields`: a kind, its width, and how its bytes are written.
 */
#include <stdio.h>
#include <string.h>

#include "frame_parse.h"

/** What may be said of a kind of field. */
enum { GROUP_BASE = 1, GROUP_ORDER = 2, GROUP_DIGITS = 4, GROUP_BITS = 8, GROUP_BIT = 16 };
#define NUMBER (GROUP_BASE | GROUP_ORDER | GROUP_DIGITS)
#define BITS (NUMBER | GROUP_BITS)
#define FLAG (GROUP_BASE | GROUP_BIT)

static const struct kind {
    const char *name;
    unsigned groups;
    unsigned bytes; /**< binary bytes it must have, 0 when it may have any number */
    const char *mend;
} kinds[LM_FRAME_KINDS] = {
    [LM_FRAME_COUNTRY] = {"country", NUMBER, 0, "write it as country:4:hex or country:2"},
    [LM_FRAME_NATIONAL] = {"national", NUMBER, 0, "write it as national:10:hex or national:5"},
    [LM_FRAME_BLOCK] = {"block", BITS, 8, "write it as block:8:little or block:16:hex"},
    [LM_FRAME_TELEGRAM] = {"telegram", BITS, 16, "write it as telegram:16 or telegram:16:lsb"},
    [LM_FRAME_CRC] = {"crc16code", BITS, 2, "write it as crc16code:2 or crc16code:2:little"},
    [LM_FRAME_ANIMAL] = {"animal", FLAG, 1, "write it as animal:1 or animal:1:bit7"},
    [LM_FRAME_DATA] = {"data", FLAG, 1, "write it as data:1 or data:1:bit0"},
    [LM_FRAME_RETAG] = {"retag", NUMBER, 0, "write it as retag:1"},
    [LM_FRAME_USER] = {"user", NUMBER, 0, "write it as user:1 or user:2:decimal"},
    [LM_FRAME_LENGTH] = {"length", NUMBER, 0, "write it as length:1 or length:2:little"},
    [LM_FRAME_SKIP] = {"skip", 0, 0, "write it as skip:10, at most 512 bytes"},
    [LM_FRAME_REST] = {"rest", 0, 0, "write it as rest:32: the most bytes, up to 512"},
    [LM_FRAME_LITERAL] = {"literal", 0, 0, "write it as literal:0F08, 1 to 16 bytes in hex"},
};

enum { VALUE_NO, VALUE_YES };

static const struct saying {
    const char *word;
    unsigned group;
    unsigned value;
} sayings[] = {
    {"binary", GROUP_BASE, LM_FRAME_BINARY},
    {"hex", GROUP_BASE, LM_FRAME_HEX},
    {"decimal", GROUP_BASE, LM_FRAME_DECIMAL},
    {"bcd", GROUP_BASE, LM_FRAME_BCD},
    {"big", GROUP_ORDER, VALUE_NO},
    {"little", GROUP_ORDER, VALUE_YES},
    {"normal", GROUP_DIGITS, VALUE_NO},
    {"reversed", GROUP_DIGITS, VALUE_YES},
    {"msb", GROUP_BITS, VALUE_NO},
    {"lsb", GROUP_BITS, VALUE_YES},
    {"bit0", GROUP_BIT, 0},
    {"bit1", GROUP_BIT, 1},
    {"bit2", GROUP_BIT, 2},
    {"bit3", GROUP_BIT, 3},
    {"bit4", GROUP_BIT, 4},
    {"bit5", GROUP_BIT, 5},
    {"bit6", GROUP_BIT, 6},
    {"bit7", GROUP_BIT, 7},
};

const char *lm_frame_kind_name(enum lm_frame_kind kind)
{
    return kind < LM_FRAME_KINDS ? kinds[kind].name : "unknown";
}

enum lm_frame_kind frame_kind_named(const char *name)
{
    unsigned i = 0;
    while (i < LM_FRAME_KINDS && strcmp(kinds[i].name, name) != 0)
        i++;
    return (enum lm_frame_kind) i;
}

static void say(struct lm_frame_field *f, const struct saying *s)
{
    if (s->group == GROUP_BASE)
        f->base = (enum lm_frame_base) s->value;
    else if (s->group == GROUP_ORDER)
        f->little = s->value == VALUE_YES;
    else if (s->group == GROUP_DIGITS)
        f->reversed = s->value == VALUE_YES;
    else if (s->group == GROUP_BITS)
        f->lsb = s->value == VALUE_YES;
    else
        f->bit = (int) s->value;
}

/* The words behind the width, each at most once. Cuts @p rest up. */
static enum lm_err take_sayings(
    struct lm_frame_field *f, const char *key, const char *word, char *rest, struct lm_problem *p)
{
    const struct kind *kind = &kinds[f->kind];
    unsigned said = 0;
    char *more = NULL;
    for (char *one = strtok_r(rest, ":", &more); one != NULL; one = strtok_r(NULL, ":", &more)) {
        size_t i = 0, n = sizeof sayings / sizeof *sayings;
        char why[LM_PROBLEM_TEXT_MAX];
        while (i < n && strcmp(sayings[i].word, one) != 0)
            i++;
        if (i == n) {
            snprintf(why, sizeof why, "says '%.40s', which is no word of it", one);
            return frame_bad(p, key, word,
                "choose from binary hex decimal bcd, big little, normal reversed, msb lsb, bit0 to "
                "bit7",
                why);
        }
        if ((sayings[i].group & kind->groups) == 0) {
            snprintf(why, sizeof why, "says %.40s, which cannot be said of %s", one, kind->name);
            return frame_bad(p, key, word, kind->mend, why);
        }
        if ((sayings[i].group & said) != 0) {
            snprintf(why, sizeof why, "says %.40s and the contrary, or twice", one);
            return frame_bad(p, key, word, "leave one of the two out", why);
        }
        said |= sayings[i].group;
        say(f, &sayings[i]);
    }
    return LM_OK;
}

/* Words that make no sense together. */
static const char *contradiction(const struct lm_frame_field *f)
{
    bool binary = f->base == LM_FRAME_PLAIN || f->base == LM_FRAME_BINARY;
    bool decimal = f->base == LM_FRAME_DECIMAL || f->base == LM_FRAME_BCD;
    bool flag = (kinds[f->kind].groups & GROUP_BIT) != 0;
    bool whole = kinds[f->kind].bytes != 0 && !flag;
    if (binary && f->reversed)
        return "is binary and has no digits to reverse: say little";
    if (f->base == LM_FRAME_DECIMAL && f->little)
        return "is decimal and has no bytes to turn round: say reversed";
    if (f->base == LM_FRAME_HEX && f->little && f->width % 2 != 0)
        return "is little in hex, two digits a byte, and has an odd number of them";
    if (whole && decimal)
        return "holds bits: say binary or hex";
    if (f->bit >= 0 && f->base != LM_FRAME_PLAIN && f->base != LM_FRAME_BINARY)
        return "is one bit of a byte: leave the base out";
    if (flag && f->base == LM_FRAME_BCD)
        return "is one byte 0 or 1: say binary or hex";
    return NULL;
}

static bool width_fits(const struct lm_frame_field *f)
{
    const struct kind *kind = &kinds[f->kind];
    if (kind->groups == 0)
        return true;
    if ((kind->groups & GROUP_BIT) != 0)
        return f->width == 1;
    size_t digits =
        f->base == LM_FRAME_HEX || f->base == LM_FRAME_DECIMAL ? f->width : f->width * 2;
    if (kind->bytes != 0)
        return digits == 2u * kind->bytes;
    /* So many fit into 64 bits whatever they are. */
    enum { MOST_DECIMAL = 18, MOST_HEX = 16 };
    bool decimal = f->base == LM_FRAME_DECIMAL || f->base == LM_FRAME_BCD;
    return digits <= (decimal ? (size_t) MOST_DECIMAL : MOST_HEX);
}

static enum lm_err take_literal(struct lm_frame_field *f, const char *key, const char *word,
    const char *hex, struct lm_problem *p)
{
    f->width = frame_hex(hex, f->literal, sizeof f->literal);
    if (f->width > 0)
        return LM_OK;
    return frame_bad(p, key, word, kinds[f->kind].mend, "has no bytes in hex behind the colon");
}

enum lm_err frame_field_read(
    struct lm_frame_field *field, const char *key, const char *word, struct lm_problem *p)
{
    char copy[FRAME_WORD_MAX], none[1] = "";
    snprintf(copy, sizeof copy, "%s", word);
    char *colon = strchr(copy, ':');
    if (colon != NULL)
        *colon = '\0';
    *field = (struct lm_frame_field){.kind = frame_kind_named(copy), .bit = -1};
    if (field->kind == LM_FRAME_KINDS)
        return frame_bad(p, key, word,
            "choose from country national block telegram crc16code animal data retag user length "
            "skip rest literal",
            "is no kind of field");
    const struct kind *kind = &kinds[field->kind];
    if (colon == NULL)
        return frame_bad(p, key, word, kind->mend, "has no width");
    if (field->kind == LM_FRAME_LITERAL)
        return take_literal(field, key, word, colon + 1, p);
    char *rest = strchr(colon + 1, ':');
    if (rest != NULL)
        *rest++ = '\0';
    if (!frame_size(colon + 1, LM_FRAME_WIDTH_MAX, &field->width))
        return frame_bad(p, key, word, kind->mend, "has no width in bytes behind the first colon");
    if (take_sayings(field, key, word, rest != NULL ? rest : none, p) != LM_OK)
        return LM_EINPUT;
    const char *why = contradiction(field);
    if (why == NULL && !width_fits(field))
        why = "has a width that it cannot have";
    return why == NULL ? LM_OK : frame_bad(p, key, word, kind->mend, why);
}
