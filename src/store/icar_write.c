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

/* What of one animal's history its arrivals are made of. */
struct comings {
    struct icar_writer *w;
    uint32_t n, void_n;  /* changes so far; those up to the last taking back, which never were */
    bool known;          /* its first entry was seen */
    uint8_t status;      /* as the change before left it */
    struct lm_date left; /* since when it was away */
};

/* How it came, as the first words of the reason say (stay.h); NULL: they say nothing of that. */
static const char *came_by(const char *why)
{
    static const char *const words[][2] = {
        {"bought", "Purchase"}, {"transferred in", "InternalTransfer"}};
    for (unsigned i = 0; i < 2; i++) {
        size_t n = strlen(words[i][0]);
        if (strncmp(why, words[i][0], n) == 0 && strchr(" :,;", why[n]) != NULL)
            return words[i][1]; /* the end of the text is among them */
    }
    return NULL;
}

/* Why an animal that was away is here again; NULL: no movement, or it never left. */
static const char *came_back(struct comings *c, const struct lm_record *rec, const char *why)
{
    const char *by = came_by(why);
    bool later =
        rec->status_date.year != 0 &&
        (c->left.year == 0 || lm_date_days(rec->status_date, 1) > lm_date_days(c->left, 0));
    if (by != NULL)
        return by;
    if (c->status == LM_LOST) {
        lm_icar_note(&c->w->notes, false, "lost animals that were found again: no movement");
        return NULL;
    }
    return c->status == LM_SOLD && later ? "SaleReturn" : NULL;
}

static enum lm_err emit_arrival(
    struct icar_writer *w, const struct lm_record *rec, int64_t t_ms, const char *reason)
{
    char when[LM_TIME_TEXT_SIZE];
    bool fits = true;
    const char *const words[][2] = {{"arrivalReason", reason}};
    struct lm_date day = rec->status_date.year != 0 ? rec->status_date : lm_date_of(t_ms);
    if (!dated(w, "arrivals", day, when))
        return LM_OK;
    json_t *ev = event(w, "icarMovementArrivalEventResource", "arrival", rec, when);
    if (ev != NULL && lm_icar_specie(rec->species) != NULL &&
        json_object_set_new(ev, "animalDetail", lm_icar_animal(w, rec, &fits)) != 0) {
        json_decref(ev);
        return LM_ENOMEM;
    }
    return put_words(w, ev, words, 1);
}

static enum lm_err each_taking_back(const struct lm_event *ev, const char *why, void *ctx)
{
    struct comings *c = ctx;
    (void) why;
    c->n++;
    if (ev->record->struck)
        c->void_n = c->n;
    return LM_OK;
}

static enum lm_err each_coming(const struct lm_event *ev, const char *why, void *ctx)
{
    struct comings *c = ctx;
    const struct lm_record *rec = ev->record;
    const char *reason = NULL;
    if (++c->n <= c->void_n) /* what comes behind is its first entry */
        return LM_OK;
    bool here = rec->status == LM_ON_FARM;
    if (here && !c->known)
        reason = came_by(why);
    else if (here && c->status != LM_ON_FARM)
        reason = came_back(c, rec, why);
    c->known = true;
    c->status = rec->status;
    c->left = rec->status_date;
    return reason != NULL ? emit_arrival(c->w, rec, ev->t_ms, reason) : LM_OK;
}

static enum lm_err each_arrival(const struct lm_record *rec, long line, void *ctx)
{
    struct comings c = {.w = ctx};
    (void) line;
    enum lm_err err = lm_store_history(c.w->store, rec->key, each_taking_back, &c);
    c.n = 0;
    return err != LM_OK ? err : lm_store_history(c.w->store, rec->key, each_coming, &c);
}

static enum lm_err write_arrivals(struct icar_writer *w)
{
    lm_icar_note(&w->notes, false,
        "where animals came from: written are those bought or moved in, and sold ones that "
        "returned");
    return lm_store_each(w->store, each_arrival, w);
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
