/* Reading JSON objects strictly: types are never bent, messages name the key and how to mend it. */
#include "wire.h"

#include "lugmark/decode.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where a key stands: the quoted word with a colon behind it, which no value has. */
static long column_of(const struct lm_wire_in *in, const char *key)
{
    char quoted[LM_NAME_MAX + 3];
    const char *hit = in->text, *end = in->text + in->len;
    size_t n;

    /* Keys of devices come many times over: a first place would often be the wrong one. */
    if (!key || in->at[0])
        return 0;
    n = (size_t) snprintf(quoted, sizeof quoted, "\"%s\"", key);
    while ((hit = memmem(hit, (size_t) (end - hit), quoted, n)) != NULL) {
        const char *after = hit + n;
        while (after < end && (*after == ' ' || *after == '\t'))
            after++;
        if (after < end && *after == ':')
            return (long) (hit - in->text) + 1;
        hit++;
    }
    return 0;
}

enum lm_err lm_wire_bad(
    const struct lm_wire_in *in, const char *key, const char *mend, const char *fmt, ...)
{
    char what[LM_PROBLEM_TEXT_MAX];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    if (in->p)
        in->p->column = column_of(in, key);
    return lm_problem_set(
        in->p, LM_EINPUT, mend, "%s%s%s%s", in->at, key ? key : "", key ? ": " : "", what);
}

static bool is_blank(const char *text, size_t len)
{
    while (len && (*text == ' ' || *text == '\t' || *text == '\r' || *text == '\n')) {
        text++;
        len--;
    }
    return len == 0;
}

enum lm_err lm_wire_load(const struct lm_wire_in *in, json_t **root)
{
    const char *text = in->text;
    size_t len = in->len;
    json_error_t error;

    *root = NULL;
    if (len >= 3 && !memcmp(text, "\xEF\xBB\xBF", 3)) {
        text += 3;
        len -= 3;
    }
    if (is_blank(text, len))
        return lm_wire_bad(in, NULL, "remove the empty line", "nothing is there");
    *root = json_loadb(text, len, JSON_REJECT_DUPLICATES, &error);
    if (!*root && json_error_code(&error) == json_error_out_of_memory)
        return lm_problem_set(in->p, LM_ENOMEM, NULL, "out of memory");
    if (!*root) {
        lm_wire_bad(in, NULL, "write one JSON object, such as {\"reading\":\"999000000012345\"}",
            "not JSON: %s", error.text);
        if (in->p)
            in->p->column = error.position > 0 ? error.position + (long) (text - in->text) : 1;
        return LM_EINPUT;
    }
    if (!json_is_object(*root)) {
        json_decref(*root);
        *root = NULL;
        return lm_wire_bad(in, NULL, "put the value between { and }", "not a JSON object");
    }
    return LM_OK;
}

json_t *lm_wire_get(const json_t *obj, const char *key)
{
    json_t *v = json_object_get(obj, key);

    return json_is_null(v) ? NULL : v;
}

enum lm_err lm_wire_string(
    const struct lm_wire_in *in, const json_t *obj, const char *key, const char **s, size_t *n)
{
    const json_t *v = lm_wire_get(obj, key);

    *s = NULL;
    *n = 0;
    if (!v)
        return LM_OK;
    if (json_is_number(v))
        return lm_wire_bad(in, key, "put it in quotes: codes and numbers of animals are text",
            "must be text, not a JSON number");
    if (!json_is_string(v))
        return lm_wire_bad(in, key, "put a text in quotes there", "must be text");
    *s = json_string_value(v);
    *n = json_string_length(v);
    return LM_OK;
}

enum lm_err lm_wire_text(
    const struct lm_wire_in *in, const json_t *obj, const char *key, char *out, size_t size)
{
    const char *s;
    size_t n;
    enum lm_err err = lm_wire_string(in, obj, key, &s, &n);

    out[0] = '\0';
    if (err || !s)
        return err;
    if (!lm_text_copy(out, size, s, n))
        return lm_wire_bad(in, key, "shorten it, and leave out control characters",
            "longer than %zu bytes, or it holds a control character", size - 1);
    return LM_OK;
}

enum lm_err lm_wire_int(const struct lm_wire_in *in, const json_t *obj, const char *key, int64_t lo,
    int64_t hi, int64_t *out)
{
    const json_t *v = lm_wire_get(obj, key);

    if (!v)
        return LM_OK;
    if (!json_is_integer(v))
        return lm_wire_bad(in, key, "write a whole number without quotes", "not a whole number");
    if (json_integer_value(v) < lo || json_integer_value(v) > hi)
        return lm_wire_bad(in, key, "correct the number", "must be from %lld to %lld",
            (long long) lo, (long long) hi);
    *out = json_integer_value(v);
    return LM_OK;
}

enum lm_err lm_wire_bool(const struct lm_wire_in *in, const json_t *obj, const char *key, bool *out)
{
    const json_t *v = lm_wire_get(obj, key);

    if (!v)
        return LM_OK;
    if (!json_is_boolean(v))
        return lm_wire_bad(in, key, "write true or false without quotes", "not true or false");
    *out = json_is_true(v);
    return LM_OK;
}

/* The 16 digits that lm_eid_format() gives the impossible countries 1000-1023. */
static bool four_digit_country(const char *s, size_t n, struct lm_eid *out)
{
    uint64_t value = 0;

    if (n != 16)
        return false;
    for (size_t i = 0; i < n; i++) {
        if (s[i] < '0' || s[i] > '9')
            return false;
        value = value * 10 + (uint64_t) (s[i] - '0');
    }
    return value / UINT64_C(1000000000000) >= 1000 &&
           lm_eid_make((unsigned) (value / UINT64_C(1000000000000)),
               value % UINT64_C(1000000000000), out) == LM_OK;
}

enum lm_err lm_wire_eid(
    const struct lm_wire_in *in, const json_t *obj, const char *key, struct lm_eid *out)
{
    const char *s;
    size_t n;
    struct lm_decoded decoded;
    struct lm_problem why = {0};
    enum lm_err err = lm_wire_string(in, obj, key, &s, &n);

    *out = (struct lm_eid){0};
    if (err || n == 0 || four_digit_country(s, n, out))
        return err;
    err = lm_decode(s, n, &decoded, &why);
    if (err)
        return lm_wire_bad(in, key, why.mend, "%s", why.what);
    *out = decoded.eid;
    return LM_OK;
}

char *lm_wire_eid_text(struct lm_eid eid, char out[LM_WIRE_EID_SIZE])
{
    out[0] = '\0';
    if (eid.known == LM_EID_CODE || eid.known == LM_EID_UID) {
        lm_eid_format(eid, out);
    } else if (eid.known == LM_EID_FULL) {
        snprintf(out, LM_WIRE_EID_SIZE, "%016llX", (unsigned long long) eid.bits);
        if (strspn(out, "0123456789") == 16)
            snprintf(out, LM_WIRE_EID_SIZE, "0x%016llX", (unsigned long long) eid.bits);
    }
    return out;
}

/* Measured, then written: nothing has to grow on the way. */
char *lm_wire_dumps(const json_t *value)
{
    const size_t flags = JSON_COMPACT | JSON_REAL_PRECISION(15);
    size_t size = value ? json_dumpb(value, NULL, 0, flags) : 0;
    char *text = size ? malloc(size + 1) : NULL;

    if (!text)
        return NULL;
    if (json_dumpb(value, text, size, flags) != size) {
        free(text);
        return NULL;
    }
    text[size] = '\0';
    return text;
}

int lm_wire_put(json_t *obj, const char *key, const char *text)
{
    return text[0] ? json_object_set_new(obj, key, json_string(text)) : 0;
}
