/* One event line to an event. What is borrowed by the event lives in the store until the next. */
#include "lugmark/eventline.h"
#include "wire.h"

#include <stdlib.h>
#include <string.h>

#define HEADS_MAX 10000000

struct lm_eventline {
    json_t *root; /**< kept because keys of a lot point into it */
    const char **keys;
    size_t keys_size;
    struct lm_open open;
    struct lm_record record;
};

struct lm_eventline *lm_eventline_new(void)
{
    return calloc(1, sizeof(struct lm_eventline));
}

void lm_eventline_free(struct lm_eventline *store)
{
    if (!store)
        return;
    json_decref(store->root);
    free(store->keys);
    free(store);
}

static enum lm_err get_doubt(const struct lm_wire_in *in, const json_t *obj, enum lm_doubt *doubt)
{
    const char *s;
    size_t n;
    enum lm_err err = lm_wire_string(in, obj, "doubt", &s, &n);

    *doubt = LM_DOUBT_NONE;
    if (err || !s)
        return err;
    for (int d = LM_DOUBT_BAD_CHECK; d <= LM_DOUBT_DAMAGED; d++)
        if (!strcmp(s, lm_wire_doubt_name((enum lm_doubt) d)))
            *doubt = (enum lm_doubt) d;
    if (!*doubt)
        return lm_wire_bad(in, "doubt", "write bad-check, out-of-range or damaged-text",
            "not a known word: %.40s", s);
    return LM_OK;
}

static enum lm_err parse_reading(
    const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    const char *s;
    size_t n;
    bool cut = false;
    enum lm_doubt doubt;
    enum lm_err err = lm_wire_string(in, obj, "reading", &s, &n);

    err = err ? err : get_doubt(in, obj, &doubt);
    err = err ? err : lm_wire_bool(in, obj, "cut", &cut);
    if (err)
        return err;
    if (doubt == LM_DOUBT_NONE) {
        lm_event_reading(ev, s, n);
        return LM_OK;
    }
    /* Doubted when it was read: what is left of the text may even look like a code now. */
    ev->kind = LM_EVENT_READING;
    ev->doubt = doubt;
    ev->cut = !lm_text_copy(ev->text, sizeof ev->text, s, n) || cut;
    return LM_OK;
}

static enum lm_err parse_sighting(
    const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    const char *s;
    size_t n;
    bool cut = false;
    enum lm_err err = lm_wire_string(in, obj, "sighting", &s, &n);

    err = err ? err : lm_wire_bool(in, obj, "cut", &cut);
    err = err ? err : lm_wire_eid(in, obj, "with", &ev->eid);
    if (err)
        return err;
    ev->kind = LM_EVENT_SIGHTING;
    ev->cut = !lm_text_copy(ev->text, sizeof ev->text, s, n) || cut;
    if (!ev->text[0])
        return lm_wire_bad(in, "sighting", "write the number that was called", "no number in it");
    return LM_OK;
}

static enum lm_err parse_heads(const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    int64_t heads = 0;
    enum lm_err err = lm_wire_int(in, obj, "heads", 0, HEADS_MAX, &heads);

    ev->kind = LM_EVENT_HEADS;
    ev->heads = (uint32_t) heads;
    return err;
}

/* Undo and close carry nothing but themselves. */
static enum lm_err parse_plain(const struct lm_wire_in *in, const json_t *obj, const char *key)
{
    bool yes = false;
    enum lm_err err = lm_wire_bool(in, obj, key, &yes);

    if (!err && !yes)
        return lm_wire_bad(in, key, "write true, or leave the line out", "must be true");
    return err;
}

static enum lm_err parse_undo(const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    ev->kind = LM_EVENT_UNDO;
    return parse_plain(in, obj, "undo");
}

static enum lm_err parse_close(const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    ev->kind = LM_EVENT_CLOSE;
    return parse_plain(in, obj, "close");
}

static enum lm_err parse_keys(
    struct lm_eventline *store, const struct lm_wire_in *in, const json_t *list)
{
    size_t n = json_array_size(list);

    if (!json_is_array(list))
        return lm_wire_bad(in, "animals", "put the names between [ and ]", "not a list");
    if (n > store->keys_size) {
        const char **more = realloc(store->keys, n * sizeof *more);
        if (!more)
            return lm_problem_set(in->p, LM_ENOMEM, NULL, "out of memory");
        store->keys = more;
        store->keys_size = n;
    }
    for (size_t i = 0; i < n; i++) {
        const json_t *v = json_array_get(list, i);
        if (!json_is_string(v) || !json_string_length(v) || json_string_length(v) > LM_NAME_MAX ||
            !lm_text_clean(json_string_value(v), json_string_length(v)))
            return lm_wire_bad(in, "animals", "name each animal by its register name, in quotes",
                "entry %zu is not a name", i + 1);
        store->keys[i] = json_string_value(v);
    }
    store->open.keys = store->keys;
    store->open.n_keys = n;
    return LM_OK;
}

static enum lm_err parse_open(struct lm_eventline *store, const struct lm_wire_in *in,
    const json_t *root, struct lm_event *ev)
{
    const json_t *obj = lm_wire_get(root, "open");
    const json_t *animals = lm_wire_get(obj, "animals");
    struct lm_open *open = &store->open;
    char word[LM_NAME_MAX + 1];
    enum lm_err err;

    memset(open, 0, sizeof *open);
    ev->kind = LM_EVENT_OPEN;
    ev->open = open;
    if (!json_is_object(obj))
        return lm_wire_bad(in, "open", "write \"open\":{\"kind\":\"walk\"}", "not a JSON object");
    err = lm_wire_text(in, obj, "kind", word, sizeof word);
    if (!err && lm_session_kind_parse(word, &open->kind))
        return lm_wire_bad(in, "kind", "write walk, count or sale", "not a kind of session");
    err = err ? err : lm_wire_text(in, obj, "id", open->id, sizeof open->id);
    err = err ? err : lm_wire_text(in, obj, "mob", open->mob, sizeof open->mob);
    err = err ? err : lm_wire_text(in, obj, "lot", open->lot, sizeof open->lot);
    err = err ? err : lm_wire_text(in, obj, "count", open->count, sizeof open->count);
    err = err ? err : lm_wire_text(in, obj, "who", open->who, sizeof open->who);
    err = err ? err : lm_wire_text(in, obj, "settings", open->settings, sizeof open->settings);
    return err || !animals ? err : parse_keys(store, in, animals);
}

static enum lm_err parse_register(struct lm_eventline *store, const struct lm_wire_in *in,
    const json_t *root, struct lm_event *ev)
{
    const json_t *obj = lm_wire_get(root, "register");

    ev->kind = LM_EVENT_REGISTER;
    ev->record = &store->record;
    if (!json_is_object(obj))
        return lm_wire_bad(
            in, "register", "write \"register\":{\"animal\":\"NAME\"}", "not a JSON object");
    return lm_wire_record_parse(in, obj, &store->record);
}

static enum lm_err parse_time(const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    const char *s;
    size_t n;
    enum lm_err err = lm_wire_string(in, obj, "t", &s, &n);

    ev->t_ms = LM_TIME_NONE;
    if (err)
        return err;
    if (s && lm_time_parse(s, n, &ev->t_ms))
        return lm_wire_bad(in, "t", "write 2026-11-02T08:00:01Z", "not a time: %.40s", s);
    ev->clock_ms = ev->t_ms;
    /* null is not the same as left out: the time is known but the clock is not. */
    if (json_is_null(json_object_get(obj, "clock_ms")))
        ev->clock_ms = LM_TIME_NONE;
    return lm_wire_int(in, obj, "clock_ms", INT64_MIN + 1, INT64_MAX, &ev->clock_ms);
}

static enum lm_err parse_head(const struct lm_wire_in *in, const json_t *obj, struct lm_event *ev)
{
    enum lm_err err = parse_time(in, obj, ev);

    err = err ? err : lm_wire_int(in, obj, "seq", 0, INT64_MAX, &ev->seq);
    err = err ? err : lm_wire_text(in, obj, "lane", ev->lane, sizeof ev->lane);
    return err ? err : lm_wire_text(in, obj, "reader", ev->reader, sizeof ev->reader);
}

/* Which one of the keys that make an event is there; exactly one has to be. */
static enum lm_err find_kind(
    const struct lm_wire_in *in, const json_t *obj, enum lm_event_kind *kind)
{
    static const char *const names[] = {
        "reading", "sighting", "heads", "undo", "open", "close", "register"};
    const char *first = NULL;

    for (unsigned i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (!lm_wire_get(obj, names[i]))
            continue;
        if (first)
            return lm_wire_bad(
                in, names[i], "write two lines", "stands beside \"%s\" in one line", first);
        first = names[i];
        *kind = (enum lm_event_kind) i;
    }
    if (!first)
        return lm_wire_bad(in, NULL,
            "give it one of reading, sighting, heads, undo, open, close or register",
            "the line says nothing that happened");
    return LM_OK;
}

static enum lm_err parse_kind(struct lm_eventline *store, const struct lm_wire_in *in,
    enum lm_event_kind kind, struct lm_event *ev)
{
    switch (kind) {
    case LM_EVENT_READING:
        return parse_reading(in, store->root, ev);
    case LM_EVENT_SIGHTING:
        return parse_sighting(in, store->root, ev);
    case LM_EVENT_HEADS:
        return parse_heads(in, store->root, ev);
    case LM_EVENT_UNDO:
        return parse_undo(in, store->root, ev);
    case LM_EVENT_OPEN:
        return parse_open(store, in, store->root, ev);
    case LM_EVENT_CLOSE:
        return parse_close(in, store->root, ev);
    case LM_EVENT_REGISTER:
        return parse_register(store, in, store->root, ev);
    }
    return LM_EARG;
}

enum lm_err lm_eventline_parse(struct lm_eventline *store, const char *line, size_t len,
    struct lm_event *ev, struct lm_problem *p)
{
    struct lm_wire_in in = {line, len, "", p};
    enum lm_event_kind kind = LM_EVENT_READING;
    enum lm_err err;

    memset(ev, 0, sizeof *ev);
    json_decref(store->root);
    store->root = NULL;
    if (len > LM_EVENTLINE_MAX)
        return lm_wire_bad(
            &in, NULL, "split it", "the line is longer than %u bytes", (unsigned) LM_EVENTLINE_MAX);
    err = lm_wire_load(&in, &store->root);
    err = err ? err : find_kind(&in, store->root, &kind);
    err = err ? err : parse_head(&in, store->root, ev);
    return err ? err : parse_kind(store, &in, kind, ev);
}
