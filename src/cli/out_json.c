/* JSON on standard output, and reading the daemon's. */
#include "out_json.h"

#include "lugmark/text.h"

void lm_json_line(FILE *out, json_t *value)
{
    if (value == NULL)
        return;
    json_dumpf(value, out, JSON_COMPACT);
    fputc('\n', out);
    json_decref(value);
}

static const char *clean_text(const json_t *value, char *out, size_t size)
{
    out[0] = '\0';
    if (json_is_string(value))
        lm_text_copy(out, size, json_string_value(value), json_string_length(value));
    return out;
}

const char *lm_json_text(const json_t *object, const char *key, char *out, size_t size)
{
    return clean_text(json_object_get(object, key), out, size);
}

int64_t lm_json_int(const json_t *object, const char *key, int64_t other)
{
    const json_t *value = json_object_get(object, key);
    return json_is_integer(value) ? (int64_t) json_integer_value(value) : other;
}

bool lm_json_true(const json_t *object, const char *key)
{
    return json_is_true(json_object_get(object, key));
}

const char *lm_json_first(const json_t *object, const char *key, char *out, size_t size)
{
    return clean_text(json_array_get(json_object_get(object, key), 0), out, size);
}

json_t *lm_json_or_null(const char *text)
{
    return text != NULL && text[0] != '\0' ? json_string(text) : json_null();
}
