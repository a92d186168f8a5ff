/* An animal to JSON: keys as the CSV columns, empty fields left out. */
#include "lugmark/eventline.h"
#include "wire.h"

#include <string.h>

static int put_date(json_t *obj, const char *key, struct lm_date date)
{
    char text[LM_DATE_TEXT_SIZE];

    return lm_wire_put(obj, key, lm_date_format(date, text));
}

static int put_bool(json_t *obj, const char *key, bool value)
{
    return json_object_set_new(obj, key, json_boolean(value));
}

static json_t *device_json(const struct lm_device *d)
{
    json_t *obj = json_object();
    char eid[LM_WIRE_EID_SIZE];
    int bad = 0;

    if (!obj)
        return NULL;
    if (d->id)
        bad |= json_object_set_new(obj, "id", json_integer(d->id));
    bad |= lm_wire_put(obj, "form", lm_device_form_name((enum lm_device_form) d->form));
    bad |= lm_wire_put(obj, "place", lm_place_name((enum lm_place) d->place));
    bad |= lm_wire_put(obj, "colour", d->colour);
    if (d->official)
        bad |= put_bool(obj, "official", true);
    bad |= lm_wire_put(obj, "eid", lm_wire_eid_text(d->eid, eid));
    bad |= lm_wire_put(obj, "visual", d->visual);
    bad |= lm_wire_put(obj, "uid", d->uid);
    bad |= put_date(obj, "applied", d->applied);
    bad |= put_date(obj, "removed", d->removed);
    /* A removal date alone means gone; said only where that would come out wrong. */
    if (d->gone || d->removed.year)
        bad |= put_bool(obj, "gone", d->gone);
    bad |= lm_wire_put(obj, "why", d->why);
    if (d->replaces)
        bad |= json_object_set_new(obj, "replaces", json_integer(d->replaces));
    if (bad) {
        json_decref(obj);
        return NULL;
    }
    return obj;
}

static int put_animal(json_t *obj, const struct lm_record *rec)
{
    int bad = 0;

    bad |= lm_wire_put(obj, "animal", rec->key);
    bad |= lm_wire_put(obj, "species", rec->species);
    bad |= lm_wire_put(obj, "breed", rec->breed);
    bad |= lm_wire_put(obj, "sex", lm_sex_name((enum lm_sex) rec->sex));
    if (rec->castrated)
        bad |= put_bool(obj, "castrated", true);
    bad |= put_date(obj, "born", rec->born);
    bad |= lm_wire_put(obj, "dam", rec->dam);
    bad |= lm_wire_put(obj, "sire", rec->sire);
    bad |= lm_wire_put(obj, "mob", rec->mob);
    bad |= lm_wire_put(obj, "status", lm_status_name((enum lm_status) rec->status));
    bad |= put_date(obj, "status_date", rec->status_date);
    if (rec->struck)
        bad |= put_bool(obj, "struck", true);
    return bad | lm_wire_put(obj, "merged_into", rec->merged_into);
}

json_t *lm_wire_record(const struct lm_record *rec)
{
    json_t *obj = json_object();
    json_t *devices = obj && rec->n_devices ? json_array() : NULL;
    int bad = !obj || (rec->n_devices && !devices);

    if (!bad)
        bad |= put_animal(obj, rec);
    for (unsigned i = 0; !bad && i < rec->n_devices && i < LM_DEVICES_MAX; i++)
        bad |= json_array_append_new(devices, device_json(&rec->devices[i]));
    if (!bad && devices)
        bad |= json_object_set(obj, "devices", devices);
    json_decref(devices);
    if (bad) {
        json_decref(obj);
        return NULL;
    }
    return obj;
}

char *lm_record_json(const struct lm_record *rec)
{
    json_t *obj = lm_wire_record(rec);
    char *text = lm_wire_dumps(obj);

    json_decref(obj);
    return text;
}
