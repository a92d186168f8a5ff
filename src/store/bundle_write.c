/* A register as a bundle: its settings, its stock and every event with the place it has for ever.
 */
#include "bundle_priv.h"

#include "lugmark/eventline.h"
#include "lugmark/stock.h"
#include "lugmark/version.h"
#include "wire/wire.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

uint64_t lm_bundle_sum(uint64_t sum, const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++)
        sum = (sum ^ (unsigned char) text[i]) * UINT64_C(0x100000001b3);
    return sum;
}

struct writer {
    struct lm_store *store;
    FILE *out;
    sqlite3_stmt *place;
    uint64_t sum;
    uint32_t settings, stock, events;
    char copy[BUNDLE_ID_SIZE];
};

static enum lm_err no_memory(struct lm_store *s)
{
    return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
}

/* Takes the value over. */
static enum lm_err put_line(struct writer *w, json_t *line)
{
    char *text = lm_wire_dumps(line);
    json_decref(line);
    if (text == NULL)
        return no_memory(w->store);
    size_t len = strlen(text);
    w->sum = lm_bundle_sum(lm_bundle_sum(w->sum, text, len), "\n", 1);
    bool good = fwrite(text, 1, len, w->out) == len && fputc('\n', w->out) != EOF;
    free(text);
    return good ? LM_OK
                : lm_problem_set(&w->store->problem, LM_EIO, "check the disk",
                      "the bundle could not be written");
}

static enum lm_err put_head(struct writer *w)
{
    char id[BUNDLE_ID_SIZE];
    enum lm_err err = lm_store_setting(w->store, "id.register", id, sizeof id);
    err = err ? err : lm_store_setting(w->store, "id.copy", w->copy, sizeof w->copy);
    return err ? err
               : put_line(w,
                     json_pack("{s:s, s:s, s:s, s:i, s:s}", "schema", LM_BUNDLE_SCHEMA, "register",
                         id, "copy", w->copy, "tables", lm_store_schema.n, "version", LM_VERSION));
}

static enum lm_err put_settings(struct writer *w)
{
    sqlite3_stmt *st = lm_store_prepare(
        w->store, "SELECT key, value FROM setting WHERE key NOT GLOB 'id.*' ORDER BY key");
    enum lm_err err = st != NULL ? LM_OK : w->store->problem.err;
    int rc = SQLITE_DONE;
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        err = put_line(w, json_pack("{s:s, s:s}", "setting", sqlite3_column_text(st, 0), "value",
                              sqlite3_column_text(st, 1)));
        w->settings++;
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(w->store, "reading the settings");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err put_item(const struct lm_stock_item *item, long line, void *ctx)
{
    struct writer *w = ctx;
    char eid[LM_EID_TEXT_SIZE + 8] = "", date[LM_DATE_TEXT_SIZE] = "";
    (void) line;
    if (item->eid.known == LM_EID_FULL)
        snprintf(eid, sizeof eid, "0x%016" PRIX64, item->eid.bits);
    else if (item->eid.known == LM_EID_CODE)
        lm_eid_format(item->eid, eid);
    if (item->received.year != 0)
        lm_date_format(item->received, date);
    w->stock++;
    return put_line(
        w, json_pack("{s:{s:s, s:I, s:s, s:s, s:s, s:s, s:b, s:s}}", "stock", "strip", item->strip,
               "position", (json_int_t) item->position, "eid", eid, "visual", item->visual, "form",
               lm_device_form_name((enum lm_device_form) item->form), "colour", item->colour,
               "official", item->official, "received", date));
}

/* The identity of the event at a place of our journal: made here, or taken over with its own. */
static enum lm_err put_place(struct writer *w, json_t *line, const char *key, int64_t seq)
{
    char is[BUNDLE_IS_SIZE];
    sqlite3_reset(w->place);
    sqlite3_bind_int64(w->place, 1, seq);
    if (sqlite3_step(w->place) != SQLITE_ROW)
        return lm_store_fail(w->store, "reading the journal");
    const char *copy = (const char *) sqlite3_column_text(w->place, 0);
    snprintf(is, sizeof is, "%s:%lld", copy != NULL ? copy : w->copy,
        (long long) (copy != NULL ? sqlite3_column_int64(w->place, 1) : seq));
    return json_object_set_new(line, key, json_string(is)) == 0 ? LM_OK : no_memory(w->store);
}

static json_t *event_json(struct lm_event *ev)
{
    ev->seq = 0; /* its place here means nothing elsewhere */
    char *text = lm_eventline_text(ev);
    json_t *event = text != NULL ? json_loads(text, 0, NULL) : NULL;
    free(text);
    return event;
}

/* Columns of @p links: opening of the session, first event of the change, event taken back. */
static enum lm_err put_event(struct writer *w, struct lm_store_event *e, sqlite3_stmt *links)
{
    static const char *const keys[] = {"of", "part", "undoes"};
    int64_t seq = e->ev.seq;
    json_t *line = json_object();
    enum lm_err err = line != NULL ? put_place(w, line, "is", seq) : no_memory(w->store);
    sqlite3_reset(links);
    sqlite3_bind_int64(links, 1, seq);
    if (err == LM_OK && sqlite3_step(links) != SQLITE_ROW)
        err = lm_store_fail(w->store, "reading the journal");
    for (int i = 0; i < 3 && err == LM_OK; i++)
        if (sqlite3_column_type(links, i) != SQLITE_NULL)
            err = put_place(w, line, keys[i], sqlite3_column_int64(links, i));
    if (err == LM_OK && e->why[0] != '\0' &&
        json_object_set_new(line, "why", json_string(e->why)) != 0)
        err = no_memory(w->store);
    if (err == LM_OK && json_object_set_new(line, "event", event_json(&e->ev)) != 0)
        err = no_memory(w->store);
    if (err != LM_OK) {
        json_decref(line);
        return err;
    }
    w->events++;
    return put_line(w, line);
}

static enum lm_err put_events(struct writer *w)
{
    struct lm_store_event e;
    sqlite3_stmt *st = lm_store_prepare(w->store, "SELECT " LM_SQL_EVENT " ORDER BY seq");
    sqlite3_stmt *links =
        lm_store_prepare(w->store, "SELECT s.open_seq, e.part_of, e.undoes FROM event e "
                                   "LEFT JOIN session s ON s.id = e.session_id WHERE e.seq = ?1");
    w->place = lm_store_prepare(w->store, "SELECT c.name, e.copy_seq FROM event e "
                                          "LEFT JOIN copy c ON c.id = e.copy_id WHERE e.seq = ?1");
    bool ready = st != NULL && links != NULL && w->place != NULL;
    enum lm_err err = ready ? LM_OK : w->store->problem.err;
    int rc = SQLITE_DONE;
    while (err == LM_OK && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        err = lm_store_event_row(w->store, st, &e);
        err = err ? err : put_event(w, &e, links);
        lm_store_event_free(&e);
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(w->store, "reading the journal");
    sqlite3_finalize(st);
    sqlite3_finalize(links);
    sqlite3_finalize(w->place);
    return err;
}

static enum lm_err put_end(struct writer *w)
{
    char sum[20];
    snprintf(sum, sizeof sum, "%016" PRIx64, w->sum);
    return put_line(
        w, json_pack("{s:b, s:I, s:I, s:I, s:s}", "end", true, "settings", (json_int_t) w->settings,
               "stock", (json_int_t) w->stock, "events", (json_int_t) w->events, "sum", sum));
}

enum lm_err lm_bundle_write(struct lm_store *store, FILE *out)
{
    struct writer w = {.store = store, .out = out, .sum = BUNDLE_SUM_START};
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = put_head(&w);
    err = err ? err : put_settings(&w);
    err = err ? err : lm_store_stock_each(store, NULL, put_item, &w);
    err = err ? err : put_events(&w);
    err = err ? err : put_end(&w);
    lm_store_read_end(store, own);
    return err;
}
