/* Where in the text of a pack a value stands. The text was parsed before: it is sound JSON. */
#include "rulepack_priv.h"

#include <string.h>

struct scan {
    const char *text;
    size_t len, at;
};

static char peek(struct scan *s)
{
    while (s->at < s->len && strchr(" \t\r\n,:", s->text[s->at]) != NULL)
        s->at++;
    return s->at < s->len ? s->text[s->at] : '\0';
}

static void skip_string(struct scan *s)
{
    for (s->at++; s->at < s->len && s->text[s->at] != '"'; s->at++)
        s->at += s->text[s->at] == '\\';
    s->at++;
}

static void skip_value(struct scan *s)
{
    int depth = 0;
    do {
        char c = peek(s);
        if (c == '\0')
            return;
        if (c == '"') {
            skip_string(s);
            continue;
        }
        depth += c == '{' || c == '[';
        depth -= c == '}' || c == ']';
        s->at++;
        if (strchr("{}[]", c) == NULL) /* a number or a word: to its end */
            while (s->at < s->len && strchr(" \t\r\n,:{}[]\"", s->text[s->at]) == NULL)
                s->at++;
    } while (depth > 0);
}

/* Go to the value of a key of the object here; `at` is left at the key. */
static bool enter_key(struct scan *s, const char *key, size_t *at)
{
    struct scan in = *s;
    size_t len = strlen(key);
    if (peek(&in) != '{')
        return false;
    for (in.at++; peek(&in) == '"'; skip_value(&in)) {
        size_t begin = in.at;
        skip_string(&in);
        if (in.at - begin == len + 2 && memcmp(in.text + begin + 1, key, len) == 0) {
            *at = begin;
            peek(&in);
            *s = in;
            return true;
        }
    }
    return false;
}

static bool enter_index(struct scan *s, size_t index, size_t *at)
{
    struct scan in = *s;
    if (peek(&in) != '[')
        return false;
    for (in.at++; index > 0 && peek(&in) != ']' && peek(&in) != '\0'; index--)
        skip_value(&in);
    if (peek(&in) == ']' || peek(&in) == '\0')
        return false;
    *at = in.at;
    *s = in;
    return true;
}

size_t lm_pack_where(const char *text, size_t len, const char *section, size_t index,
    const char *part, const char *key)
{
    struct scan s = {text, len, 0};
    size_t at = 0;
    if (section != NULL && enter_key(&s, section, &at) && !enter_index(&s, index, &at))
        return at;
    if (part != NULL)
        enter_key(&s, part, &at);
    if (key != NULL)
        enter_key(&s, key, &at);
    return at;
}
