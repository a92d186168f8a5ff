/* A record of the register as an ICAR animal. */
#include "icar_priv.h"

#include <stdio.h>
#include <string.h>

const char *lm_icar_source(const struct icar_writer *w)
{
    return w->how->source != NULL ? w->how->source : LM_ICAR_SOURCE;
}

json_t *lm_icar_id(const char *scheme, const char *id)
{
    return json_pack("{s:s, s:s}", "scheme", scheme, "id", id);
}

json_t *lm_icar_own_id(const struct icar_writer *w, const char *kind, const char *id)
{
    char scheme[ICAR_SCHEME_MAX + 32];
    snprintf(scheme, sizeof scheme, "%.255s.%s", lm_icar_source(w), kind);
    return lm_icar_id(scheme, id);
}

static bool worn(const struct lm_device *d)
{
    return !d->gone && d->removed.year == 0;
}

/* The code of a worn device as its 15 digits; false when it has none that is written so. */
static bool code_of(const struct lm_device *d, char out[LM_EID_TEXT_SIZE])
{
    if (!worn(d) || d->eid.known == LM_EID_NONE || d->eid.known == LM_EID_UID)
        return false;
    return strlen(lm_eid_format(d->eid, out)) == 15;
}

static json_t *number_of(const struct icar_writer *w, const struct lm_device *d)
{
    return lm_icar_own_id(w, d->form == LM_TATTOO ? "tattoo" : "visual", d->visual);
}

/* The device that names the animal: official before not, code before number. -1: none. */
static int best_device(const struct lm_record *rec)
{
    char code[LM_EID_TEXT_SIZE];
    int best = -1, best_rank = 0;
    for (unsigned i = 0; i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        int rank = code_of(d, code) ? 4 : worn(d) && d->visual[0] != '\0' ? 2 : 0;
        rank += rank > 0 && d->official ? 1 : 0;
        if (rank > best_rank) {
            best = (int) i;
            best_rank = rank;
        }
    }
    return best;
}

json_t *lm_icar_identifier(const struct icar_writer *w, const struct lm_record *rec)
{
    char code[LM_EID_TEXT_SIZE];
    int best = best_device(rec);
    if (best < 0)
        return lm_icar_own_id(w, "animal", rec->key);
    const struct lm_device *d = &rec->devices[best];
    return code_of(d, code) ? lm_icar_id(ICAR_CODE_SCHEME, code) : number_of(w, d);
}

static int put_other(struct icar_writer *w, json_t *list, const struct lm_device *d, bool best)
{
    char code[LM_EID_TEXT_SIZE];
    int bad = 0;
    bool has_code = code_of(d, code);
    if (has_code && !best)
        bad |= json_array_append_new(list, lm_icar_id(ICAR_CODE_SCHEME, code));
    if (d->visual[0] != '\0' && (has_code || !best))
        bad |= json_array_append_new(list, number_of(w, d));
    if (d->uid[0] != '\0')
        bad |= json_array_append_new(list, lm_icar_own_id(w, "chip", d->uid));
    if (!has_code && d->eid.known != LM_EID_NONE)
        lm_icar_note(&w->notes, false, "codes of countries above 999, which have not 15 digits");
    if (d->eid.known == LM_EID_FULL)
        lm_icar_note(&w->notes, false, "retagging counters and other bits beside the 15 digits");
    return bad;
}

static json_t *others(struct icar_writer *w, const struct lm_record *rec)
{
    int best = best_device(rec);
    json_t *list = json_array();
    int bad = list == NULL;
    for (unsigned i = 0; i < rec->n_devices && !bad; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (!worn(d)) {
            lm_icar_note(&w->notes, false, "devices removed");
            continue;
        }
        bad |= put_other(w, list, d, (int) i == best);
        if (d->colour[0] != '\0' || d->place != LM_PLACE_UNKNOWN ||
            (d->form != LM_DEVICE_UNKNOWN && d->form != LM_TATTOO))
            lm_icar_note(&w->notes, false, "form, place and colour of devices");
        if (d->applied.year != 0)
            lm_icar_note(&w->notes, false, "dates on which devices were put on");
    }
    if (!bad && best >= 0)
        bad |= json_array_append_new(list, lm_icar_own_id(w, "animal", rec->key));
    if (bad) {
        json_decref(list);
        return NULL;
    }
    return list;
}

json_t *lm_icar_meta(const char *source, const char *source_id, int64_t modified_ms)
{
    char text[LM_TIME_TEXT_SIZE];
    return json_pack("{s:s, s:s, s:s}", "source", source, "sourceId", source_id, "modified",
        lm_time_format(modified_ms, text));
}

json_t *lm_icar_location(const struct icar_writer *w)
{
    if (w->how->scheme == NULL)
        return lm_icar_own_id(w, "holding", w->how->location);
    return lm_icar_id(w->how->scheme, w->how->location);
}

int64_t lm_icar_changed_ms(struct icar_writer *w, const char *key)
{
    int64_t t_ms = w->how->now_ms;
    if (w->changed == NULL)
        return t_ms;
    sqlite3_bind_text(w->changed, 1, key, -1, SQLITE_STATIC);
    if (sqlite3_step(w->changed) == SQLITE_ROW && sqlite3_column_type(w->changed, 0) != SQLITE_NULL)
        t_ms = sqlite3_column_int64(w->changed, 0);
    sqlite3_reset(w->changed);
    return t_ms;
}

bool lm_icar_day(struct lm_date d, char out[LM_TIME_TEXT_SIZE])
{
    char date[LM_DATE_TEXT_SIZE];
    out[0] = '\0';
    if (d.day == 0)
        return false;
    snprintf(out, LM_TIME_TEXT_SIZE, "%.10sT00:00:00Z", lm_date_format(d, date));
    return true;
}

/* A parent as the register knows it, else by the name that the animal's entry gives it. */
static int put_parent(
    struct icar_writer *w, json_t *list, const struct lm_record *rec, const char *key, bool dam)
{
    if (key[0] == '\0')
        return 0;
    enum lm_err err = lm_store_get(w->store, key, w->other);
    json_t *id = err == LM_OK ? lm_icar_identifier(w, w->other) : lm_icar_own_id(w, "animal", key);
    return json_array_append_new(
        list, json_pack("{s:o, s:s, s:s, s:o}", "parentOf", lm_icar_identifier(w, rec), "gender",
                  dam ? "Female" : "Male", "relation", "Genetic", "identifier", id));
}

static int put_list(json_t *obj, const char *key, json_t *list)
{
    if (list != NULL && json_array_size(list) == 0) {
        json_decref(list);
        return 0;
    }
    return json_object_set_new(obj, key, list);
}

static int put_details(struct icar_writer *w, json_t *obj, const struct lm_record *rec)
{
    char day[LM_TIME_TEXT_SIZE];
    json_t *parents = json_array();
    int bad = put_list(obj, "alternativeIdentifiers", others(w, rec));
    if (lm_icar_day(rec->born, day))
        bad |= json_object_set_new(obj, "birthDate", json_string(day));
    else if (rec->born.year != 0)
        lm_icar_note(&w->notes, false, "birth dates of which the day is not known");
    if (rec->breed[0] != '\0')
        bad |= json_object_set_new(obj, "primaryBreed", lm_icar_own_id(w, "breed", rec->breed));
    bad |= json_object_set_new(
        obj, "status", json_string(lm_icar_status((enum lm_status) rec->status)));
    if (parents == NULL)
        return -1;
    bad |= put_parent(w, parents, rec, rec->dam, true);
    bad |= put_parent(w, parents, rec, rec->sire, false);
    bad |= put_list(obj, "parentage", parents);
    if (rec->mob[0] != '\0')
        lm_icar_note(&w->notes, false, "mobs");
    return bad;
}

json_t *lm_icar_animal(struct icar_writer *w, const struct lm_record *rec, bool *fits)
{
    const char *specie = lm_icar_specie(rec->species);
    *fits = specie != NULL;
    if (specie == NULL) {
        lm_icar_note(&w->notes, true,
            "animals %s%s: set it with lugmark edit KEY --species goat (or sheep)",
            rec->species[0] != '\0' ? "of a species that ICAR has no word for: " : "of no species",
            rec->species);
        return NULL;
    }
    json_t *obj =
        json_pack("{s:s, s:o, s:o, s:o, s:s, s:s}", "resourceType", "icarAnimalCoreResource",
            "meta", lm_icar_meta(lm_icar_source(w), rec->key, lm_icar_changed_ms(w, rec->key)),
            "location", lm_icar_location(w), "identifier", lm_icar_identifier(w, rec), "specie",
            specie, "gender", lm_icar_gender((enum lm_sex) rec->sex, rec->castrated));
    if (rec->castrated && rec->sex == LM_SEX_UNKNOWN)
        lm_icar_note(&w->notes, false, "castrated animals of no known sex: gender is Unknown");
    if (obj != NULL && put_details(w, obj, rec) != 0) {
        json_decref(obj);
        obj = NULL;
    }
    return obj;
}
