/* Reading a bundle: every line checked before anything is done with it. */
#include "bundle_priv.h"

#include "core/checksum.h"
#include "lugmark/eventline.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum lm_err lm_bundle_bad(
    struct bundle *b, enum lm_err err, long line, const char *mend, const char *fmt, ...)
{
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;
    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    snprintf(b->p->file, sizeof b->p->file, "%s", b->name);
    b->p->line = line;
    return lm_problem_set(b->p, err, mend, "%s", what);
}

static enum lm_err damaged(struct bundle *b, const char *what)
{
    return lm_bundle_bad(b, LM_EINPUT, b->line,
        "make the bundle again with lugmark export --bundle, and carry it over whole",
        "the bundle is damaged: %s", what);
}

static const char *text_of(const json_t *line, const char *key)
{
    return json_string_value(json_object_get(line, key));
}

static bool is_hex(const char *text, size_t n)
{
    return text != NULL && strspn(text, "0123456789abcdef") >= n;
}

static bool is_place(const char *is)
{
    if (!is_hex(is, BUNDLE_ID_SIZE - 1) || is[BUNDLE_ID_SIZE - 1] != ':')
        return false;
    const char *digits = is + BUNDLE_ID_SIZE;
    size_t n = strspn(digits, "0123456789");
    return n > 0 && n <= 18 && digits[n] == '\0' && digits[0] != '0';
}

static enum lm_err take_head(struct bundle *b, json_t *line)
{
    const char *schema = text_of(line, "schema"), *id = text_of(line, "register");
    if (schema == NULL || strncmp(schema, "lugmark.bundle/", 15) != 0)
        return lm_bundle_bad(b, LM_EINPUT, 1, "name a file that lugmark export --bundle wrote",
            "this is not a bundle");
    if (strcmp(schema, LM_BUNDLE_SCHEMA) != 0 ||
        json_integer_value(json_object_get(line, "tables")) > lm_store_schema.n)
        return lm_bundle_bad(b, LM_ENEWER, 1, "use the same version of lugmark on both machines",
            "this bundle was written by a newer version of lugmark");
    if (!is_hex(id, 32) || strlen(id) != 32 || !is_hex(text_of(line, "copy"), 32))
        return damaged(b, "its first line names no register");
    b->head = json_incref(line);
    return LM_OK;
}

enum lm_err lm_bundle_event(
    struct bundle *b, const struct bundle_event *e, struct lm_eventline *hold, struct lm_event *ev)
{
    struct lm_problem why = {0};
    char *text = json_dumps(json_object_get(e->line, "event"), JSON_COMPACT);
    if (text == NULL)
        return lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
    enum lm_err err = lm_eventline_parse(hold, text, strlen(text), ev, &why);
    free(text);
    if (err == LM_EINPUT)
        return damaged(b, why.what);
    return err;
}

enum lm_err lm_bundle_record(struct bundle *b, const struct bundle_event *e, struct lm_record *rec)
{
    struct lm_problem why = {0};
    const json_t *event = json_object_get(e->line, "event");
    char *text = json_dumps(json_object_get(event, "register"), JSON_COMPACT);
    if (text == NULL)
        return lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
    enum lm_err err = lm_record_from_json(text, strlen(text), rec, &why);
    free(text);
    return err == LM_EINPUT ? damaged(b, why.what) : err;
}

static enum lm_err keep_event(struct bundle *b, const struct bundle_event *e)
{
    if (b->n == b->size) {
        size_t size = b->size != 0 ? b->size * 2 : 256;
        struct bundle_event *events = realloc(b->events, size * sizeof *events);
        if (events == NULL)
            return lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
        b->events = events;
        b->size = size;
    }
    b->events[b->n] = *e;
    if (json_object_get(b->index, e->is) != NULL)
        return damaged(b, "an event is there twice");
    if (json_object_set_new(b->index, e->is, json_integer((json_int_t) b->n)) != 0)
        return lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
    b->n++;
    return LM_OK;
}

/* What an event refers to stands before it. */
static bool refers_back(const struct bundle *b, const char *is)
{
    return is == NULL || json_object_get(b->index, is) != NULL;
}

static enum lm_err take_event(struct bundle *b, json_t *line, struct lm_eventline *hold)
{
    struct lm_event ev = {0};
    struct bundle_event e = {.line = line,
        .is = text_of(line, "is"),
        .of = text_of(line, "of"),
        .part = text_of(line, "part"),
        .undoes = text_of(line, "undoes"),
        .why = text_of(line, "why")};
    if (!is_place(e.is) || !json_is_object(json_object_get(line, "event")))
        return damaged(b, "an event without its place");
    enum lm_err err = lm_bundle_event(b, &e, hold, &ev);
    if (err != LM_OK)
        return err;
    e.why = e.why != NULL ? e.why : "";
    e.kind = ev.kind;
    e.t_ms = ev.t_ms;
    bool opens = ev.kind == LM_EVENT_OPEN; /* is of itself */
    if (ev.kind == LM_EVENT_REGISTER) {
        e.animal = text_of(json_object_get(json_object_get(line, "event"), "register"), "animal");
        if (e.animal == NULL || strcmp(e.animal, ev.record->key) != 0)
            return damaged(b, "the name of an animal cannot be taken as it is");
    }
    if ((!opens && !refers_back(b, e.of)) || !refers_back(b, e.part) || !refers_back(b, e.undoes) ||
        (ev.kind == LM_EVENT_CLOSE && e.of == NULL) ||
        (e.why[0] != '\0' &&
            (strlen(e.why) >= LM_PROBLEM_TEXT_MAX || !lm_text_clean(e.why, strlen(e.why)))))
        return damaged(b, "an event refers to one that is not there before it");
    return keep_event(b, &e);
}

static bool count_is(const json_t *line, const char *key, size_t n)
{
    const json_t *v = json_object_get(line, key);
    return json_is_integer(v) && json_integer_value(v) == (json_int_t) n;
}

static enum lm_err take_end(struct bundle *b, const json_t *line, uint64_t sum)
{
    char want[20];
    const char *got = text_of(line, "sum");
    snprintf(want, sizeof want, "%016" PRIx64, sum);
    if (!count_is(line, "settings", json_array_size(b->settings)) ||
        !count_is(line, "stock", json_array_size(b->stock)) || !count_is(line, "events", b->n))
        return damaged(b, "its last line counts other lines than there are");
    if (got == NULL || !lm_checksum_fits(strcmp(got, want) == 0))
        return damaged(b, "its checksum is wrong");
    return LM_OK;
}

static enum lm_err take_line(
    struct bundle *b, json_t *line, struct lm_eventline *hold, uint64_t sum, bool *end)
{
    if (b->head == NULL)
        return take_head(b, line);
    if (json_is_true(json_object_get(line, "end"))) {
        *end = true;
        return take_end(b, line, sum);
    }
    if (text_of(line, "setting") != NULL && text_of(line, "value") != NULL)
        return json_array_append(b->settings, line) == 0 ? LM_OK : damaged(b, "out of memory");
    if (json_is_object(json_object_get(line, "stock")))
        return json_array_append(b->stock, json_object_get(line, "stock")) == 0
                   ? LM_OK
                   : damaged(b, "out of memory");
    if (json_object_get(line, "is") != NULL)
        return take_event(b, line, hold);
    return damaged(b, "a line that is none of a bundle");
}

static enum lm_err read_line(struct bundle *b, const char *text, size_t len,
    struct lm_eventline *hold, uint64_t *sum, bool *end)
{
    json_error_t why;
    b->line++;
    if (*end)
        return damaged(b, "something follows its last line");
    if (text[len - 1] != '\n')
        return damaged(b, "it is cut off in the middle of a line");
    if (len > BUNDLE_LINE_MAX)
        return damaged(b, "a line is too long");
    json_t *line = json_loadb(text, len, JSON_REJECT_DUPLICATES, &why);
    if (!json_is_object(line)) {
        json_decref(line);
        return b->head == NULL ? take_head(b, NULL) : damaged(b, "a line is no JSON object");
    }
    enum lm_err err = take_line(b, line, hold, *sum, end);
    if (err == LM_OK && json_array_append(b->lines, line) != 0)
        err = lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
    json_decref(line);
    *sum = lm_bundle_sum(*sum, text, len);
    return err;
}

enum lm_err lm_bundle_load(struct bundle *b, FILE *in)
{
    struct lm_eventline *hold = lm_eventline_new();
    uint64_t sum = BUNDLE_SUM_START;
    char *text = NULL;
    size_t size = 0;
    ssize_t len = 0;
    bool end = false;
    b->lines = json_array();
    b->settings = json_array();
    b->stock = json_array();
    b->index = json_object();
    enum lm_err err = LM_OK;
    if (hold == NULL || !b->lines || !b->settings || !b->stock || !b->index)
        err = lm_bundle_bad(b, LM_ENOMEM, 0, NULL, "out of memory");
    while (err == LM_OK && (len = getline(&text, &size, in)) > 0)
        err = read_line(b, text, (size_t) len, hold, &sum, &end);
    if (err == LM_OK && ferror(in))
        err = lm_bundle_bad(b, LM_EIO, 0, "try again", "the bundle could not be read");
    if (err == LM_OK && b->head == NULL)
        err = take_head(b, NULL);
    if (err == LM_OK && !end)
        err = damaged(b, "it is cut off, its last line is missing");
    free(text);
    lm_eventline_free(hold);
    return err;
}

void lm_bundle_drop(struct bundle *b)
{
    json_decref(b->head);
    json_decref(b->lines);
    json_decref(b->settings);
    json_decref(b->stock);
    json_decref(b->index);
    free(b->events);
}
