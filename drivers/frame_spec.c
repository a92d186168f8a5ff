/** @file frame_spec.c
 * The description of a frame, from the configuration. The grammar stands in frame.c.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "frame_parse.h"

const char *const lm_frame_keys[] = {"start", "fields", "fields2", "fields3", "fields4",
    "length_counts", "check", "check_over", "end", NULL};

enum lm_err frame_bad(
    struct lm_problem *p, const char *key, const char *word, const char *mend, const char *why)
{
    return lm_problem_set(p, LM_EINPUT, mend, "%s: '%.70s' %s", key, word, why);
}

enum lm_err frame_word(
    struct lm_problem *p, const char *key, const char **text, char word[FRAME_WORD_MAX])
{
    *text += strspn(*text, " \t");
    size_t len = strcspn(*text, " \t");
    if (len >= FRAME_WORD_MAX)
        return frame_bad(p, key, *text, "put a blank between words", "is too long for one word");
    memcpy(word, *text, len);
    word[len] = '\0';
    *text += len;
    return LM_OK;
}

static int nibble(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                  : -1;
}

size_t frame_hex(const char *word, uint8_t *out, size_t max)
{
    size_t n = 0;
    for (; *word != '\0'; word += 2) {
        int high = nibble(word[0]), low = high < 0 ? -1 : nibble(word[1]);
        if (n == max || low < 0)
            return 0;
        out[n++] = (uint8_t) (high * 16 + low);
    }
    return n;
}

bool frame_size(const char *word, size_t max, size_t *out)
{
    *out = 0;
    for (; *word >= '0' && *word <= '9' && *out <= max; word++)
        *out = *out * 10 + (size_t) (*word - '0');
    return *word == '\0' && *out >= 1 && *out <= max;
}

/* Bytes of a mark, such as AA BB, up to the end of the text or the word `or`. */
static enum lm_err take_mark(struct lm_problem *p, const char *key, const char **text,
    uint8_t out[LM_FRAME_MARK_MAX], size_t *len)
{
    char word[FRAME_WORD_MAX] = "";
    *len = 0;
    for (;;) {
        if (frame_word(p, key, text, word) != LM_OK)
            return LM_EINPUT;
        if (word[0] == '\0' || strcmp(word, "or") == 0)
            break;
        size_t n = frame_hex(word, out + *len, LM_FRAME_MARK_MAX - *len);
        if (n == 0)
            return frame_bad(p, key, word, "write bytes as two hex digits each, such as AA 55",
                "is no byte in hex, or there are more than 8");
        *len += n;
    }
    if (*len > 0)
        return LM_OK;
    return lm_problem_set(p, LM_EINPUT, "write bytes as two hex digits each, such as 02",
        "%s: a byte is missing", key);
}

static enum lm_err read_start(struct lm_frame_spec *spec, const char *text, struct lm_problem *p)
{
    if (text == NULL)
        return lm_problem_set(p, LM_EINPUT,
            "add the bytes that every frame begins with, such as start = 02; with decoder = frame "
            "NAME they stand in the section [frame NAME]",
            "start: a frame needs at least one byte to begin with");
    const char *at = text;
    if (take_mark(p, "start", &at, spec->start, &spec->start_len) != LM_OK)
        return LM_EINPUT;
    return *at == '\0' && strstr(text, " or") == NULL
               ? LM_OK
               : frame_bad(p, "start", text, "describe two frames, each with its own reader",
                     "says or: a frame has one start");
}

static enum lm_err read_end(struct lm_frame_spec *spec, const char *text, struct lm_problem *p)
{
    size_t len = 0;
    if (text == NULL)
        return LM_OK;
    for (const char *at = text; *at != '\0'; at += strspn(at, " ")) {
        if (spec->n_ends == LM_FRAME_ENDS)
            return frame_bad(p, "end", text, "write four at most", "has too many alternatives");
        if (take_mark(p, "end", &at, spec->ends[spec->n_ends], &len) != LM_OK)
            return LM_EINPUT;
        if (spec->n_ends++ > 0 && len != spec->end_len)
            return frame_bad(p, "end", text, "write as many bytes on both sides of or",
                "has alternatives of different lengths");
        spec->end_len = len;
    }
    size_t said = strlen(text);
    if (spec->n_ends == 0 || (said >= 3 && strcmp(text + said - 3, " or") == 0))
        return frame_bad(p, "end", text, "write it as 03 or 07", "lacks a byte");
    return LM_OK;
}

static enum lm_err read_fields_of(
    struct lm_frame_spec *spec, const char *key, const char *text, struct lm_problem *p)
{
    char word[FRAME_WORD_MAX] = "";
    for (;;) {
        if (frame_word(p, key, &text, word) != LM_OK)
            return LM_EINPUT;
        if (word[0] == '\0')
            return LM_OK;
        if (spec->n_fields == LM_FRAME_FIELDS)
            return frame_bad(p, key, word, "join skips that stand side by side",
                "is one field more than the 24 that a frame can have");
        struct lm_frame_field *field = &spec->fields[spec->n_fields];
        if (frame_field_read(field, key, word, p) != LM_OK)
            return LM_EINPUT;
        for (size_t i = 0; i < spec->n_fields; i++) {
            if (spec->fields[i].kind == field->kind && field->kind != LM_FRAME_SKIP &&
                field->kind != LM_FRAME_LITERAL)
                return frame_bad(p, key, word, "leave one of the two out", "is there already");
        }
        if (field->kind == LM_FRAME_LENGTH)
            spec->length = (int) spec->n_fields;
        if (field->kind == LM_FRAME_REST)
            spec->rest = (int) spec->n_fields;
        spec->n_fields++;
    }
}

static int find(const struct lm_frame_spec *spec, enum lm_frame_kind kind)
{
    for (size_t i = 0; i < spec->n_fields; i++) {
        if (spec->fields[i].kind == kind)
            return (int) i;
    }
    return -1;
}

/* What counts or checks something stands behind it or before it. */
static enum lm_err check_order(const struct lm_frame_spec *spec, struct lm_problem *p)
{
    int block = find(spec, LM_FRAME_BLOCK), crc = find(spec, LM_FRAME_CRC);
    if (crc >= 0 && (block < 0 || crc < block))
        return lm_problem_set(p, LM_EINPUT, "put it behind block, or write skip:2 for it",
            "fields: 'crc16code' has no block before it to check");
    if (spec->rest >= 0 && (spec->length < 0 || spec->length > spec->rest))
        return lm_problem_set(p, LM_EINPUT,
            "put length before rest, or write skip for bytes that are always there",
            "fields: 'rest' has no length before it that counts it");
    return LM_OK;
}

/* A frame must hold its code in exactly one way. */
static enum lm_err check_code(const struct lm_frame_spec *spec, struct lm_problem *p)
{
    bool block = find(spec, LM_FRAME_BLOCK) >= 0;
    bool telegram = find(spec, LM_FRAME_TELEGRAM) >= 0;
    bool country = find(spec, LM_FRAME_COUNTRY) >= 0;
    bool national = find(spec, LM_FRAME_NATIONAL) >= 0;
    bool parts = country || national;
    for (unsigned kind = LM_FRAME_ANIMAL; kind <= LM_FRAME_USER; kind++)
        parts = parts || find(spec, (enum lm_frame_kind) kind) >= 0;
    if (!block && !telegram && !(country && national))
        return lm_problem_set(p, LM_EINPUT,
            "add country and national, or block (the 64 bits), or telegram (128 bits)",
            "fields: %s",
            country    ? "there is a country and no national code"
            : national ? "there is a national code and no country"
                       : "there is no code in them");
    if ((block && telegram) || ((block || telegram) && parts))
        return lm_problem_set(p, LM_EINPUT,
            "keep one of block, telegram or the single fields, and write skip for the others",
            "fields: the code stands in them in two ways");
    return check_order(spec, p);
}

static enum lm_err read_fields(
    struct lm_frame_spec *spec, const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    static const char *const keys[] = {"fields", "fields2", "fields3", "fields4"};
    spec->length = spec->rest = -1;
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        const char *text = lm_setting_get(settings, n, keys[i]);
        if (text != NULL && read_fields_of(spec, keys[i], text, p) != LM_OK)
            return LM_EINPUT;
    }
    return check_code(spec, p);
}

/* The word of a place, @p first of @p words; the enum follows the order of the words. */
static int place_named(const char *word, const char *const *words)
{
    for (int i = 0; words[i] != NULL; i++) {
        if (strcmp(words[i], word) == 0)
            return i;
    }
    return -1;
}

static enum lm_err read_counts(struct lm_frame_spec *spec, const char *text, struct lm_problem *p)
{
    static const char key[] = "length_counts";
    static const char mend[] = "write it as after-length through fields; from start, after-start, "
                               "length, after-length; through fields, check, end";
    static const char *const from[] = {"start", "after-start", "length", "after-length", NULL};
    static const char *const to[] = {"fields", "check", "end", NULL};
    spec->counts_from = LM_FRAME_AFTER_LENGTH;
    spec->counts_to = LM_FRAME_TO_FIELDS;
    if (text == NULL)
        return LM_OK;
    if (spec->length < 0)
        return frame_bad(p, key, text, "add length:1 to fields, or take this line out",
            "is said of a frame without a length");
    char first[FRAME_WORD_MAX], through[FRAME_WORD_MAX], last[FRAME_WORD_MAX];
    const char *at = text;
    if (frame_word(p, key, &at, first) != LM_OK)
        return LM_EINPUT;
    if (strcmp(first, "from") == 0 && frame_word(p, key, &at, first) != LM_OK)
        return LM_EINPUT;
    if (frame_word(p, key, &at, through) != LM_OK || frame_word(p, key, &at, last) != LM_OK)
        return LM_EINPUT;
    int i = place_named(first, from), k = place_named(last, to);
    if (i < 0 || k < 0 || strcmp(through, "through") != 0 || at[strspn(at, " ")] != '\0')
        return frame_bad(p, key, text, mend, "is no range");
    spec->counts_from = (enum lm_frame_place)(LM_FRAME_START + i);
    spec->counts_to = (enum lm_frame_place)(LM_FRAME_TO_FIELDS + k);
    return LM_OK;
}

static enum lm_err read_over(struct lm_frame_spec *spec, const char *text, struct lm_problem *p)
{
    static const char key[] = "check_over";
    static const char mend[] = "write start, after-start, the name of a field such as national, or "
                               "field 3; it goes up to the check";
    spec->check_from = LM_FRAME_AFTER_START;
    if (text == NULL)
        return LM_OK;
    if (spec->check.kind == LM_FRAME_NO_CHECK)
        return frame_bad(p, key, text, "add check = xor, or take this line out",
            "is said of a frame without a check");
    char word[FRAME_WORD_MAX] = "", number[FRAME_WORD_MAX] = "";
    const char *at = text;
    if (frame_word(p, key, &at, word) != LM_OK)
        return LM_EINPUT;
    if (strcmp(word, "from") == 0 && frame_word(p, key, &at, word) != LM_OK)
        return LM_EINPUT;
    if (frame_word(p, key, &at, number) != LM_OK)
        return LM_EINPUT;
    bool alone = number[0] == '\0';
    enum lm_frame_kind kind = frame_kind_named(word);
    if (strcmp(word, "start") == 0 && alone) {
        spec->check_from = LM_FRAME_START;
    } else if (strcmp(word, "after-start") == 0 && alone) {
        spec->check_from = LM_FRAME_AFTER_START;
    } else if (strcmp(word, "field") == 0 &&
               frame_size(number, spec->n_fields, &spec->check_field)) {
        spec->check_from = LM_FRAME_AT_FIELD;
        spec->check_field--;
    } else if (kind != LM_FRAME_KINDS && find(spec, kind) >= 0 && alone) {
        spec->check_from = LM_FRAME_AT_FIELD;
        spec->check_field = (size_t) find(spec, kind);
    } else {
        return frame_bad(p, key, text, mend, "is no place in this frame");
    }
    return at[strspn(at, " ")] == '\0' ? LM_OK : frame_bad(p, key, text, mend, "says too much");
}

/* The two halves of poly:1021. */
static bool take_hex16(const char *word, const char *name, uint16_t *out)
{
    uint8_t bytes[2];
    size_t len = strlen(name);
    if (strncmp(word, name, len) != 0 || word[len] != ':' ||
        frame_hex(word + len + 1, bytes, sizeof bytes) != 2)
        return false;
    *out = (uint16_t) (bytes[0] << 8 | bytes[1]);
    return true;
}

static bool take_check_word(struct lm_frame_check *c, const char *word, bool *poly)
{
    static const char *const words[] = {"hex", "binary", "big", "little", "inverted", "negated",
        "then-inverted", "reflect-in", "reflect-out", NULL};
    bool *const yes[] = {&c->hex, NULL, NULL, &c->little, &c->inverted, &c->negated, &c->copy,
        &c->reflect_in, &c->reflect_out};
    int i = place_named(word, words);
    if (i >= 0 && yes[i] != NULL)
        *yes[i] = true;
    if (i >= 7 && c->kind != LM_FRAME_CRC16)
        return false;
    if (i >= 0)
        return true;
    if (c->kind != LM_FRAME_CRC16)
        return false;
    if (take_hex16(word, "poly", &c->poly)) {
        *poly = true;
        return true;
    }
    return take_hex16(word, "init", &c->init) || take_hex16(word, "xorout", &c->xorout);
}

static enum lm_err read_check(struct lm_frame_check *c, const char *text, struct lm_problem *p)
{
    static const char key[] = "check";
    static const char *const kinds[] = {"none", "xor", "sum8", "sum16", "crc16", NULL};
    char word[FRAME_WORD_MAX] = "";
    bool poly = false;
    if (text == NULL)
        return LM_OK;
    if (frame_word(p, key, &text, word) != LM_OK)
        return LM_EINPUT;
    int kind = place_named(word, kinds);
    if (kind < 0)
        return frame_bad(p, key, word, "choose from none xor sum8 sum16 crc16", "is no check");
    c->kind = (enum lm_frame_check_kind) kind;
    for (;;) {
        if (frame_word(p, key, &text, word) != LM_OK)
            return LM_EINPUT;
        if (word[0] == '\0')
            break;
        if (kind == LM_FRAME_NO_CHECK || !take_check_word(c, word, &poly))
            return frame_bad(p, key, word,
                "choose from hex binary big little inverted negated then-inverted, and for crc16 "
                "poly:1021 init:FFFF xorout:0000 reflect-in reflect-out",
                "cannot be said of this check");
    }
    if (kind == LM_FRAME_CRC16 && !poly)
        return frame_bad(p, key, "crc16", "add it, such as poly:1021", "needs its polynomial");
    return LM_OK;
}

static enum lm_err check_size(const struct lm_frame_spec *spec, struct lm_problem *p)
{
    size_t len = spec->start_len + lm_frame_check_bytes(&spec->check) + spec->end_len;
    for (size_t i = 0; i < spec->n_fields; i++)
        len += spec->fields[i].width;
    if (len <= LM_FRAME_MAX)
        return LM_OK;
    return lm_problem_set(p, LM_EINPUT, "make skip or rest shorter",
        "fields: the frame has %zu bytes; %u are the most", len, LM_FRAME_MAX);
}

enum lm_err lm_frame_spec_read(
    struct lm_frame_spec *spec, const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    struct lm_frame_spec made = {0};
    if (read_start(&made, lm_setting_get(settings, n, "start"), p) != LM_OK ||
        read_fields(&made, settings, n, p) != LM_OK ||
        read_counts(&made, lm_setting_get(settings, n, "length_counts"), p) != LM_OK ||
        read_check(&made.check, lm_setting_get(settings, n, "check"), p) != LM_OK ||
        read_over(&made, lm_setting_get(settings, n, "check_over"), p) != LM_OK ||
        read_end(&made, lm_setting_get(settings, n, "end"), p) != LM_OK ||
        check_size(&made, p) != LM_OK)
        return LM_EINPUT;
    *spec = made;
    return LM_OK;
}

bool lm_frame_is_guarded(const struct lm_frame_spec *spec)
{
    return spec->check.kind != LM_FRAME_NO_CHECK || find(spec, LM_FRAME_CRC) >= 0 ||
           find(spec, LM_FRAME_TELEGRAM) >= 0;
}
