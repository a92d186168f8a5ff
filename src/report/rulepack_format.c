/* Number formats of a rule pack. Their examples are tried: a pack whose pattern does not bear out
 * its own examples was never looked at. */
#include "rulepack_priv.h"

#include <string.h>

static bool take_for(struct load *l, const json_t *o, struct lm_number_format *out)
{
    struct lm_words words = {0};
    if (!lm_pack_words(l, o, "for", &words))
        return false;
    for (size_t i = 0; i < words.n; i++) {
        bool visual = strcmp(words.at[i], "visual") == 0;
        if (!visual && strcmp(words.at[i], "electronic") != 0)
            return lm_pack_bad(l, "for", "for is visual, electronic, or both");
        *(visual ? &out->visual : &out->electronic) = true;
    }
    return true;
}

static bool take_check(struct load *l, const json_t *o, struct lm_number_format *out)
{
    static const char *const names[] = {"", "mod37-36", "uk-cattle", "chip"};
    const char *word = NULL;
    if (!lm_pack_text(l, o, "check", false, 20, &word) || !lm_pack_bool(l, o, "doubt", &out->doubt))
        return false;
    for (uint8_t i = 1; word != NULL && i < sizeof names / sizeof *names; i++)
        if (strcmp(word, names[i]) == 0)
            out->check = i;
    if (word != NULL && out->check == LM_CHECK_NONE)
        return lm_pack_bad(l, "check", "there is no check \"%s\"", word);
    return true;
}

static bool take_pattern(struct load *l, const json_t *o, struct lm_number_format *out)
{
    if (json_object_get(o, "pattern") == NULL)
        return lm_pack_bad(l, NULL, "pattern is not there; null when its form is not known");
    if (json_is_null(json_object_get(o, "pattern")))
        return true;
    if (!lm_pack_text(l, o, "pattern", true, 600, &out->pattern))
        return false;
    size_t bad = lm_pattern_bad(out->pattern);
    if (bad > 0)
        return lm_pack_bad(
            l, "pattern", "the pattern cannot be understood from character %zu on", bad);
    return true;
}

static bool try_examples(struct load *l, const struct lm_number_format *f)
{
    for (size_t i = 0; i < f->valid.n; i++)
        if (lm_format_match(f, f->valid.at[i]) != LM_ANSWER_YES)
            return lm_pack_bad(
                l, "valid", "the example \"%s\" does not have this form", f->valid.at[i]);
    for (size_t i = 0; i < f->invalid.n; i++)
        if (lm_format_match(f, f->invalid.at[i]) == LM_ANSWER_YES)
            return lm_pack_bad(
                l, "invalid", "the example \"%s\" has this form all the same", f->invalid.at[i]);
    if (f->pattern != NULL && f->valid.n == 0)
        return lm_pack_bad(l, NULL, "valid is not there: give an example of the form");
    return true;
}

bool lm_pack_format(struct load *l, const json_t *o, struct lm_number_format *out)
{
    static const char *const known[] = {"id", "meaning", "pattern", "for", "blanks", "prefixes",
        "species", "check", "doubt", "valid", "invalid", "remark", NULL};
    const char *remark = NULL;
    return lm_pack_keys(l, o, known) && lm_pack_id(l, o, &out->id) &&
           lm_pack_text(l, o, "meaning", true, 120, &out->meaning) && take_pattern(l, o, out) &&
           take_for(l, o, out) && lm_pack_bool(l, o, "blanks", &out->blanks) &&
           lm_pack_words(l, o, "prefixes", &out->prefixes) &&
           lm_pack_words(l, o, "species", &out->species) && take_check(l, o, out) &&
           lm_pack_words(l, o, "valid", &out->valid) &&
           lm_pack_words(l, o, "invalid", &out->invalid) &&
           lm_pack_text(l, o, "remark", false, 400, &remark) && try_examples(l, out);
}
