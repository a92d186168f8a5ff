/* Official numbers: which format one may be of, and which code it stands for. */
#include "race/rules_priv.h"

#include <stdio.h>
#include <string.h>

bool lm_words_have(const struct lm_words *words, const char *word)
{
    for (size_t i = 0; word != NULL && i < words->n; i++)
        if (lm_word_is(word, words->at[i]))
            return true;
    return false;
}

const struct lm_number_format *lm_format_named(const struct lm_rule_pack *pack, const char *id)
{
    for (size_t i = 0; i < pack->n_formats; i++)
        if (lm_word_is(id, pack->formats[i].id))
            return &pack->formats[i];
    return NULL;
}

static bool separates(char c)
{
    return c == ' ' || c == '-' || c == '.' || c == '_' || c == '/';
}

/* Upper case; separators dropped, or one blank for each run of them. */
static void normal_form(const char *number, bool blanks, char out[LM_VISUAL_MAX + 1])
{
    size_t used = 0;
    if (!blanks) {
        lm_visual_fold(number, out);
        return;
    }
    for (const char *c = number; *c != '\0' && used < LM_VISUAL_MAX; c++) {
        if (!separates(*c))
            out[used++] = *c >= 'a' && *c <= 'z' ? (char) (*c - 'a' + 'A') : *c;
        else if (used > 0 && out[used - 1] != ' ')
            out[used++] = ' ';
    }
    while (used > 0 && out[used - 1] == ' ')
        used--;
    out[used] = '\0';
}

static bool begins(const char *text, const char *prefix)
{
    return strncmp(text, prefix, strlen(prefix)) == 0;
}

static bool begins_with_one(const char *text, const struct lm_words *prefixes)
{
    for (size_t i = 0; i < prefixes->n; i++)
        if (begins(text, prefixes->at[i]))
            return true;
    return prefixes->n == 0;
}

static bool all_digits(const char *text)
{
    return text[0] != '\0' && text[strspn(text, "0123456789")] == '\0';
}

static bool fits_a_chip(const char *text)
{
    uint64_t national = 0;
    if (strlen(text) != 15 || !all_digits(text))
        return false;
    for (int i = 3; i < 15; i++)
        national = national * 10 + (uint64_t) (text[i] - '0');
    return national <= LM_NATIONAL_MAX;
}

static bool check_is_right(enum lm_number_check check, const char *text)
{
    char body[LM_VISUAL_MAX + 1];
    size_t len = strlen(text);
    switch (check) {
    case LM_CHECK_MOD37_36:
        if (len < 2)
            return false;
        snprintf(body, sizeof body, "%.*s", (int) (len - 1), text);
        return lm_mod37_36(body) == text[len - 1];
    case LM_CHECK_UK_CATTLE:
        return lm_uk_cattle_check(text);
    case LM_CHECK_CHIP:
        return fits_a_chip(text);
    case LM_CHECK_NONE:
        break;
    }
    return true;
}

enum lm_answer lm_format_match(const struct lm_number_format *format, const char *number)
{
    char text[LM_VISUAL_MAX + 1];
    normal_form(number, format->blanks, text);
    if (format->pattern == NULL)
        return text[0] != '\0' ? LM_ANSWER_UNKNOWN : LM_ANSWER_NO;
    if (!lm_pattern_match(format->pattern, text))
        return LM_ANSWER_NO;
    if (!check_is_right((enum lm_number_check) format->check, text))
        return format->doubt ? LM_ANSWER_UNKNOWN : LM_ANSWER_NO;
    return begins_with_one(text, &format->prefixes) ? LM_ANSWER_YES : LM_ANSWER_UNKNOWN;
}

/* What the person said of a number; the longest saying wins. */
static const struct lm_number_format *said(
    const struct lm_rule_pack *pack, const struct lm_rule_context *ctx, const char *number)
{
    char text[LM_VISUAL_MAX + 1], want[LM_VISUAL_MAX + 1];
    const struct lm_number_format *best = NULL;
    size_t longest = 0;
    lm_visual_fold(number, text);
    for (size_t i = 0; i < ctx->n_types; i++) {
        size_t len = lm_visual_fold(ctx->types[i].number, want);
        bool star = len > 0 && want[len - 1] == '*';
        want[star ? len - 1 : len] = '\0';
        bool hit = star ? begins(text, want) : strcmp(text, want) == 0;
        const struct lm_number_format *f = hit ? lm_format_named(pack, ctx->types[i].format) : NULL;
        if (f != NULL && (best == NULL || len > longest)) {
            best = f;
            longest = len;
        }
    }
    return best;
}

static void add(struct lm_candidates *out, const struct lm_number_format *format)
{
    if (out->n < LM_CANDIDATES_MAX)
        out->at[out->n++] = format;
}

/* Formats whose match is `wanted`. */
static void gather(const struct lm_rule_pack *pack, const char *number, const char *species,
    bool electronic, enum lm_answer wanted, bool patterned, struct lm_candidates *out)
{
    for (size_t i = 0; i < pack->n_formats; i++) {
        const struct lm_number_format *f = &pack->formats[i];
        bool kind = electronic ? f->electronic : f->visual;
        bool its = f->species.n == 0 || species[0] == '\0' || lm_words_have(&f->species, species);
        if (kind && its && (f->pattern != NULL) == patterned &&
            lm_format_match(f, number) == wanted)
            add(out, f);
    }
}

void lm_format_candidates(const struct lm_rule_pack *pack, const struct lm_rule_context *ctx,
    const char *number, const char *species, bool electronic, struct lm_candidates *out)
{
    memset(out, 0, sizeof *out);
    const struct lm_number_format *one = said(pack, ctx, number);
    if (one != NULL) {
        out->said = true;
        out->at[out->n++] = one;
        return;
    }
    gather(pack, number, species, electronic, LM_ANSWER_YES, true, out);
    if (out->n > 0)
        return;
    out->doubt = true;
    gather(pack, number, species, electronic, LM_ANSWER_UNKNOWN, true, out);
    /* whatever has no known form may be of a format whose form the pack does not know */
    if (out->n == 0)
        gather(pack, number, species, electronic, LM_ANSWER_UNKNOWN, false, out);
}

bool lm_number_code(const struct lm_rule_pack *pack, const char *number, char out[16])
{
    char text[LM_VISUAL_MAX + 1];
    size_t len = lm_visual_fold(number, text);
    if (len == 15 && all_digits(text)) {
        snprintf(out, 16, "%.15s", text);
        return true;
    }
    for (size_t i = 0; i < pack->n_countries; i++) {
        const struct lm_country_pair *pair = &pack->countries[i];
        size_t letters = strlen(pair->letters);
        if (!begins(text, pair->letters) || !all_digits(text + letters) || len - letters > 12)
            continue;
        memset(out, '0', 15);
        out[0] = (char) ('0' + pair->number / 100 % 10);
        out[1] = (char) ('0' + pair->number / 10 % 10);
        out[2] = (char) ('0' + pair->number % 10);
        memcpy(out + 15 - (len - letters), text + letters, len - letters + 1);
        return true;
    }
    return false;
}
