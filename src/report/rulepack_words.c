/* Values of a rule pack, taken strictly. */
#include "rulepack_priv.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define WORDS_MAX 200u
#define ONE_WORD_MAX 120u

struct block {
    struct block *next;
    max_align_t room[];
};

void *lm_pack_take(struct load *l, size_t n, size_t size)
{
    struct block *b = calloc(1, sizeof *b + (n > 0 ? n : 1) * size);
    if (b == NULL) {
        l->no_memory = true;
        return NULL;
    }
    b->next = l->pack->blocks;
    l->pack->blocks = b;
    return b->room;
}

void lm_rulepack_free(struct lm_rulepack *pack)
{
    if (pack == NULL)
        return;
    while (pack->blocks != NULL) {
        struct block *next = pack->blocks->next;
        free(pack->blocks);
        pack->blocks = next;
    }
    json_decref(pack->root);
    free(pack);
}

bool lm_pack_bad(struct load *l, const char *key, const char *fmt, ...)
{
    char what[LM_PROBLEM_TEXT_MAX], where[96] = "";
    size_t at = lm_pack_where(l->text, l->len, l->section, l->index, l->part, key);
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    l->p->line = 1;
    l->p->column = 1;
    for (size_t i = 0; i < at && i < l->len; i++) {
        l->p->line += l->text[i] == '\n';
        l->p->column = l->text[i] == '\n' ? 1 : l->p->column + 1;
    }
    if (l->section != NULL)
        snprintf(where, sizeof where, "number %zu of %s: ", l->index + 1, l->section);
    lm_problem_set(l->p, LM_EINPUT, "the pack is not used until this is mended", "%s%s%s%s%s",
        where, l->part != NULL ? l->part : "", l->part != NULL ? ": " : "", what, "");
    return false;
}

bool lm_pack_keys(struct load *l, const json_t *object, const char *const *known)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *) object, key, value)
    {
        size_t i = 0;
        while (known[i] != NULL && strcmp(known[i], key) != 0)
            i++;
        if (known[i] == NULL)
            return lm_pack_bad(l, key, "there is no key \"%.60s\" here", key);
    }
    return true;
}

/* A clean text of 1 to max bytes. */
static bool one_text(
    struct load *l, const json_t *value, const char *key, size_t max, const char **out)
{
    if (!json_is_string(value))
        return lm_pack_bad(l, key, "%s is no text", key);
    const char *text = json_string_value(value);
    size_t len = json_string_length(value);
    if (len == 0 || len > max)
        return lm_pack_bad(l, key, "%s is %s", key, len == 0 ? "empty" : "too long");
    if (strlen(text) != len || !lm_text_clean(text, len))
        return lm_pack_bad(l, key, "%s holds control characters", key);
    *out = text;
    return true;
}

bool lm_pack_text(
    struct load *l, const json_t *o, const char *key, bool must, size_t max, const char **out)
{
    const json_t *value = json_object_get(o, key);
    if (value == NULL)
        return !must || lm_pack_bad(l, NULL, "%s is not there", key);
    return one_text(l, value, key, max, out);
}

/* A list of texts, or one text. */
bool lm_pack_words(struct load *l, const json_t *o, const char *key, struct lm_words *out)
{
    const json_t *value = json_object_get(o, key);
    bool one = json_is_string(value);
    if (value == NULL)
        return true;
    size_t n = one ? 1 : json_array_size(value);
    if (!one && (!json_is_array(value) || n == 0 || n > WORDS_MAX))
        return lm_pack_bad(l, key, "%s is no list of 1 to %u texts", key, WORDS_MAX);
    const char **words = lm_pack_take(l, n, sizeof *words);
    if (words == NULL)
        return false;
    for (size_t i = 0; i < n; i++)
        if (!one_text(l, one ? value : json_array_get(value, i), key, ONE_WORD_MAX, &words[i]))
            return false;
    *out = (struct lm_words){words, n};
    return true;
}

bool lm_pack_int(struct load *l, const json_t *o, const char *key, int lo, int hi, int *out)
{
    const json_t *value = json_object_get(o, key);
    if (value == NULL)
        return true;
    if (!json_is_integer(value) || json_integer_value(value) < lo || json_integer_value(value) > hi)
        return lm_pack_bad(l, key, "%s is no whole number from %d to %d", key, lo, hi);
    *out = (int) json_integer_value(value);
    return true;
}

bool lm_pack_bool(struct load *l, const json_t *o, const char *key, bool *out)
{
    const json_t *value = json_object_get(o, key);
    if (value != NULL && !json_is_boolean(value))
        return lm_pack_bad(l, key, "%s is neither true nor false", key);
    if (value != NULL)
        *out = json_is_true(value);
    return true;
}

bool lm_pack_answer(struct load *l, const json_t *o, const char *key, uint8_t *out)
{
    bool so = false;
    if (json_object_get(o, key) == NULL)
        return true;
    if (!lm_pack_bool(l, o, key, &so))
        return false;
    *out = so ? LM_ANSWER_YES : LM_ANSWER_NO;
    return true;
}

bool lm_pack_date(struct load *l, const json_t *o, const char *key, struct lm_date *out)
{
    const char *text = NULL;
    if (!lm_pack_text(l, o, key, false, 10, &text))
        return false;
    if (text != NULL && lm_date_parse(text, strlen(text), out) != LM_OK)
        return lm_pack_bad(l, key, "%s is no date such as 2026-03-28", key);
    return true;
}

bool lm_pack_forms(struct load *l, const json_t *o, const char *key, unsigned *out)
{
    struct lm_words words = {0};
    enum lm_device_form form;
    if (!lm_pack_words(l, o, key, &words))
        return false;
    for (size_t i = 0; i < words.n; i++) {
        if (lm_device_form_parse(words.at[i], &form) != LM_OK || form == LM_DEVICE_UNKNOWN)
            return lm_pack_bad(l, key, "\"%s\" is no form of a device", words.at[i]);
        *out |= 1u << form;
    }
    return true;
}

bool lm_pack_places(struct load *l, const json_t *o, const char *key, unsigned *out)
{
    struct lm_words words = {0};
    enum lm_place place;
    if (!lm_pack_words(l, o, key, &words))
        return false;
    for (size_t i = 0; i < words.n; i++) {
        if (lm_place_parse(words.at[i], &place) != LM_OK || place == LM_PLACE_UNKNOWN)
            return lm_pack_bad(l, key, "\"%s\" is no place on the body", words.at[i]);
        *out |= 1u << place;
    }
    return true;
}

bool lm_pack_id(struct load *l, const json_t *o, const char **out)
{
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-";
    if (!lm_pack_text(l, o, "id", true, 32, out))
        return false;
    if ((*out)[strspn(*out, allowed)] != '\0')
        return lm_pack_bad(l, "id", "an id is of letters, digits and -");
    return true;
}
