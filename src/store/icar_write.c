/* The register to ICAR collections: one resource a line, written as the register is walked. */
#include "icar_priv.h"

#include "wire/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum lm_err lm_icar_emit(struct icar_writer *w, json_t *resource)
{
    char *text = lm_wire_dumps(resource);
    json_decref(resource);
    if (text == NULL)
        return LM_ENOMEM;
    bool good = fprintf(w->out, "%s%s", w->written++ > 0 ? ",\n" : "", text) > 0;
    free(text);
    return good ? LM_OK : LM_EIO;
}

static enum lm_err each_animal(const struct lm_record *rec, long line, void *ctx)
{
    struct icar_writer *w = ctx;
    bool fits;
    (void) line;
    json_t *animal = lm_icar_animal(w, rec, &fits);
    if (!fits)
        return LM_OK;
    if (rec->status_date.year != 0 && rec->status != LM_ON_FARM)
        lm_icar_note(&w->notes, false, "dates of sale and death: departures and deaths have those");
    if (rec->status == LM_SLAUGHTERED)
        lm_icar_note(&w->notes, false, "slaughtered is Dead: deaths say how");
    return lm_icar_emit(w, animal);
}

/* What an event of one animal begins with. */
static json_t *event(struct icar_writer *w, const char *type, const char *what,
    const struct lm_record *rec, const char *when)
{
    char id[LM_NAME_MAX + 64];
    snprintf(id, sizeof id, "%s/%s/%.10s", what, rec->key, when);
    return json_pack("{s:s, s:s, s:o, s:o, s:s, s:o}", "resourceType", type, "id", id, "meta",
        lm_icar_meta(lm_icar_source(w), id, lm_icar_changed_ms(w, rec->key)), "location",
        lm_icar_location(w), "eventDateTime", when, "animal", lm_icar_identifier(w, rec));
}

static enum lm_err put_words(
    struct icar_writer *w, json_t *ev, const char *const words[][2], unsigned n)
{
    int bad = ev == NULL;
    for (unsigned i = 0; i < n && !bad; i++)
        bad |= json_object_set_new(ev, words[i][0], json_string(words[i][1]));
    if (bad) {
        json_decref(ev);
        return LM_ENOMEM;
    }
    return lm_icar_emit(w, ev);
}

/* false: no full date, and the event was noted as left out. */
static bool dated(
    struct icar_writer *w, const char *what, struct lm_date d, char when[LM_TIME_TEXT_SIZE])
{
    if (lm_icar_day(d, when))
        return true;
    lm_icar_note(
        &w->notes, true, "%s of which the day is not known: set it with lugmark edit KEY", what);
    return false;
}

static enum lm_err each_departure(const struct lm_record *rec, long line, void *ctx)
{
    static const char *const words[][2] = {{"departureKind", "Sale"}, {"departureReason", "Sale"}};
    struct icar_writer *w = ctx;
    char when[LM_TIME_TEXT_SIZE];
    (void) line;
    if (rec->status == LM_SLAUGHTERED)
        lm_icar_note(&w->notes, false, "slaughtered animals: deaths have those");
    if (rec->status != LM_SOLD || !dated(w, "sales", rec->status_date, when))
        return LM_OK;
    return put_words(
        w, event(w, "icarMovementDepartureEventResource", "departure", rec, when), words, 2);
}

static enum lm_err each_death(const struct lm_record *rec, long line, void *ctx)
{
    static const char *const dead[][2] = {{"deathReason", "Unknown"}};
    static const char *const slaughtered[][2] = {
        {"deathReason", "Consumption"}, {"deathMethod", "Slaughter"}};
    static const char *const lost[][2] = {{"deathReason", "Missing"}, {"deathMethod", "Lost"}};
    struct icar_writer *w = ctx;
    char when[LM_TIME_TEXT_SIZE];
    (void) line;
    if (rec->status == LM_ON_FARM || rec->status == LM_SOLD ||
        !dated(w, "deaths and losses", rec->status_date, when))
        return LM_OK;
    json_t *ev = event(w, "icarMovementDeathEventResource", "death", rec, when);
    if (rec->status == LM_DEAD)
        return put_words(w, ev, dead, 1);
    return put_words(w, ev, rec->status == LM_LOST ? lost : slaughtered, 2);
}

static enum lm_err each_birth(const struct lm_record *rec, long line, void *ctx)
{
    static const char *const words[][2] = {{"registrationReason", "Born"}};
    struct icar_writer *w = ctx;
    char when[LM_TIME_TEXT_SIZE];
    bool fits = true;
    (void) line;
    if (rec->born.year == 0)
        return LM_OK;
    if (rec->dam[0] == '\0' || lm_store_get(w->store, rec->dam, w->other) != LM_OK) {
        lm_icar_note(&w->notes, true,
            "births of animals whose dam is not in the register: nothing says that they "
            "were born on this holding");
        return LM_OK;
    }
    if (!dated(w, "births", rec->born, when))
        return LM_OK;
    json_t *animal = lm_icar_animal(w, rec, &fits);
    if (!fits)
        return LM_OK;
    json_t *ev = event(w, "icarMovementBirthEventResource", "birth", rec, when);
    if (animal == NULL || ev == NULL || json_object_set_new(ev, "animalDetail", animal) != 0) {
        json_decref(ev);
        return LM_ENOMEM;
    }
    return put_words(w, ev, words, 1);
}

/* What an animal that left becomes on its return. */
static const char *return_of(enum lm_status left)
{
    return left == LM_SOLD ? "SaleReturn" : "Other";
}

static enum lm_err emit_arrival(struct icar_writer *w, const struct lm_event *change, int left)
{
    const struct lm_record *rec = change->record;
    char when[LM_TIME_TEXT_SIZE];
    const char *const words[][2] = {{"arrivalReason", return_of((enum lm_status) left)}};
    if (!lm_icar_day(rec->status_date, when) && !lm_icar_day(lm_date_of(change->t_ms), when))
        return LM_OK;
    return put_words(
        w, event(w, "icarMovementArrivalEventResource", "arrival", rec, when), words, 1);
}

static enum lm_err each_change(const struct lm_event *ev, void *ctx)
{
    struct icar_writer *w = ctx;
    const struct lm_record *rec = ev->record;
    json_t *left = json_object_get(w->away, rec->key);
    if (rec->struck)
        return LM_OK;
    if (rec->status != LM_ON_FARM) {
        if (left == NULL && (rec->status == LM_SOLD || rec->status == LM_LOST))
            return json_object_set_new(w->away, rec->key, json_integer(rec->status)) == 0
                       ? LM_OK
                       : LM_ENOMEM;
        return LM_OK;
    }
    if (left == NULL)
        return LM_OK;
    int status = (int) json_integer_value(left);
    json_object_del(w->away, rec->key);
    if (status == LM_LOST) {
        lm_icar_note(&w->notes, false, "lost animals that were found again: no movement");
        return LM_OK;
    }
    return emit_arrival(w, ev, status);
}

static enum lm_err write_arrivals(struct icar_writer *w)
{
    w->away = json_object();
    if (w->away == NULL)
        return LM_ENOMEM;
    lm_icar_note(&w->notes, false,
        "where bought animals came from is not in the register: written are returns of sold ones");
    enum lm_err err = lm_store_changes(w->store, 0, each_change, w);
    json_decref(w->away);
    return err;
}

static enum lm_err write_members(struct icar_writer *w)
{
    switch (w->how->what) {
    case LM_ICAR_ANIMALS:
        return lm_store_each(w->store, each_animal, w);
    case LM_ICAR_ARRIVALS:
        return write_arrivals(w);
    case LM_ICAR_DEPARTURES:
        return lm_store_each(w->store, each_departure, w);
    case LM_ICAR_BIRTHS:
        return lm_store_each(w->store, each_birth, w);
    case LM_ICAR_DEATHS:
        return lm_store_each(w->store, each_death, w);
    case LM_ICAR_SESSION:
        return lm_icar_write_session(w);
    case LM_ICAR_WHATS:
        break;
    }
    return LM_EARG;
}

/* The view comes last: how many there are is known only then. */
static enum lm_err write_all(struct icar_writer *w)
{
    if (fputs("{\"member\":[\n", w->out) < 0)
        return LM_EIO;
    enum lm_err err = write_members(w);
    if (err == LM_OK &&
        fprintf(w->out,
            "%s],\n\"view\":{\"totalItems\":%lu,\"totalPages\":1,\"pageSize\":%lu,"
            "\"currentPage\":1}}\n",
            w->written > 0 ? "\n" : "", w->written, w->written > 0 ? w->written : 1) < 0)
        err = LM_EIO;
    return err;
}

enum lm_err lm_icar_write(struct lm_store *store, const struct lm_icar_write *how, FILE *out)
{
    struct icar_writer w = {.how = how, .store = store, .out = out};
    enum lm_err err = lm_icar_notes_begin(&w.notes);
    w.other = malloc(sizeof *w.other);
    if (err == LM_OK && w.other == NULL)
        err = LM_ENOMEM;
    if (err == LM_OK)
        w.changed = lm_store_prepare(store,
            "SELECT t_ms FROM event WHERE animal_id = (SELECT id FROM animal WHERE key = ?1) "
            "ORDER BY seq DESC LIMIT 1");
    if (err == LM_OK && w.changed == NULL)
        err = store->problem.err;
    if (err == LM_OK && how->what == LM_ICAR_SESSION)
        err = lm_store_session(store, how->session, &w.session);
    err = err ? err : write_all(&w);
    sqlite3_finalize(w.changed);
    if (err == LM_OK)
        lm_icar_notes_tell(&w.notes, how->note, how->ctx);
    lm_icar_notes_end(&w.notes);
    free(w.other);
    return err;
}
