/* An animal from JSON. */
#include "lugmark/eventline.h"
#include "wire.h"

#include <stdio.h>
#include <string.h>

#define WORD_MAX LM_NAME_MAX

static enum lm_err get_date(
    const struct lm_wire_in *in, const json_t *obj, const char *key, struct lm_date *out)
{
    const char *s;
    size_t n;
    enum lm_err err = lm_wire_string(in, obj, key, &s, &n);

    *out = (struct lm_date){0};
    if (!err && s && lm_date_parse(s, n, out))
        return lm_wire_bad(in, key, "write 2026-03-28, 2026-03 or 2026", "not a date: %.40s", s);
    return err;
}

static enum lm_err bad_word(
    const struct lm_wire_in *in, const char *key, const char *word, const char *mend)
{
    return lm_wire_bad(in, key, mend, "not a known word: %.40s", word);
}

static enum lm_err get_form_place(
    const struct lm_wire_in *in, const json_t *obj, struct lm_device *d)
{
    char word[WORD_MAX + 1];
    enum lm_device_form form = LM_DEVICE_UNKNOWN;
    enum lm_place place = LM_PLACE_UNKNOWN;
    enum lm_err err = lm_wire_text(in, obj, "form", word, sizeof word);

    if (!err && lm_device_form_parse(word, &form))
        return bad_word(in, "form", word,
            "write flag tag, button tag, loop tag, bolus, injectable, leg band or tattoo");
    if (!err)
        err = lm_wire_text(in, obj, "place", word, sizeof word);
    if (!err && lm_place_parse(word, &place))
        return bad_word(in, "place", word, "write left ear, right ear, rumen, leg or tail web");
    d->form = (uint8_t) form;
    d->place = (uint8_t) place;
    return err;
}

static enum lm_err get_uid(const struct lm_wire_in *in, const json_t *obj, struct lm_device *d)
{
    enum lm_err err = lm_wire_text(in, obj, "uid", d->uid, sizeof d->uid);

    if (err)
        return err;
    if (d->uid[strspn(d->uid, "0123456789abcdefABCDEF")])
        return lm_wire_bad(
            in, "uid", "write the chip's UID in hex digits only", "not hex digits: %s", d->uid);
    for (char *c = d->uid; *c; c++)
        if (*c >= 'a' && *c <= 'f')
            *c = (char) (*c - 'a' + 'A');
    return LM_OK;
}

/* Stops at the first thing wrong: each step runs only when all before it went well. */
static enum lm_err get_device(const struct lm_wire_in *in, const json_t *obj, struct lm_device *d)
{
    enum lm_err err;

    memset(d, 0, sizeof *d);
    if (!json_is_object(obj))
        return lm_wire_bad(in, NULL, "put each device between { and }", "not a JSON object");
    err = lm_wire_int(in, obj, "id", 0, INT64_MAX, &d->id);
    err = err ? err : get_form_place(in, obj, d);
    err = err ? err : lm_wire_text(in, obj, "colour", d->colour, sizeof d->colour);
    err = err ? err : lm_wire_bool(in, obj, "official", &d->official);
    err = err ? err : lm_wire_eid(in, obj, "eid", &d->eid);
    if (!err && d->eid.known == LM_EID_UID)
        err = lm_wire_bad(in, "eid", "write the hex digits as \"uid\"",
            "a chip's UID is no electronic code of an animal");
    err = err ? err : lm_wire_text(in, obj, "visual", d->visual, sizeof d->visual);
    err = err ? err : get_uid(in, obj, d);
    err = err ? err : get_date(in, obj, "applied", &d->applied);
    err = err ? err : get_date(in, obj, "removed", &d->removed);
    d->gone = d->removed.year != 0;
    err = err ? err : lm_wire_bool(in, obj, "gone", &d->gone);
    int64_t replaces = 0;
    err = err ? err : lm_wire_int(in, obj, "replaces", 0, LM_DEVICES_MAX, &replaces);
    d->replaces = (uint8_t) replaces;
    return err ? err : lm_wire_text(in, obj, "why", d->why, sizeof d->why);
}

static enum lm_err get_devices(
    const struct lm_wire_in *in, const json_t *obj, struct lm_record *rec)
{
    const json_t *list = lm_wire_get(obj, "devices");
    struct lm_wire_in inner = *in;
    char at[32];
    enum lm_err err = LM_OK;

    rec->n_devices = 0;
    if (!list)
        return LM_OK;
    if (!json_is_array(list))
        return lm_wire_bad(in, "devices", "put the devices between [ and ]", "not a list");
    if (json_array_size(list) > LM_DEVICES_MAX)
        return lm_wire_bad(in, "devices", "leave out the oldest removed devices",
            "%zu devices; one animal may have %u", json_array_size(list), LM_DEVICES_MAX);
    inner.at = at;
    for (size_t i = 0; !err && i < json_array_size(list); i++) {
        snprintf(at, sizeof at, "device %zu: ", i + 1);
        err = get_device(&inner, json_array_get(list, i), &rec->devices[i]);
        rec->n_devices = (uint8_t) (i + 1);
    }
    return err;
}

static enum lm_err get_sex_status(
    const struct lm_wire_in *in, const json_t *obj, struct lm_record *rec)
{
    char word[WORD_MAX + 1];
    enum lm_sex sex = LM_SEX_UNKNOWN;
    enum lm_status status = LM_ON_FARM;
    bool castrated = false;
    enum lm_err err = lm_wire_text(in, obj, "sex", word, sizeof word);

    if (!err && lm_sex_parse(word, &sex, &castrated))
        return bad_word(in, "sex", word, "write female or male, or leave it out");
    err = err ? err : lm_wire_bool(in, obj, "castrated", &castrated);
    err = err ? err : lm_wire_text(in, obj, "status", word, sizeof word);
    if (!err && lm_status_parse(word, &status))
        return bad_word(in, "status", word, "write on-farm, sold, dead, slaughtered or lost");
    rec->sex = (uint8_t) sex;
    rec->castrated = castrated;
    rec->status = (uint8_t) status;
    return err;
}

enum lm_err lm_wire_record_parse(
    const struct lm_wire_in *in, const json_t *obj, struct lm_record *rec)
{
    enum lm_err err = lm_wire_text(in, obj, "animal", rec->key, sizeof rec->key);

    if (!err && !rec->key[0])
        return lm_wire_bad(in, NULL, "add \"animal\":\"NAME\"", "the animal has no name");
    err = err ? err : lm_wire_text(in, obj, "species", rec->species, sizeof rec->species);
    err = err ? err : lm_wire_text(in, obj, "breed", rec->breed, sizeof rec->breed);
    err = err ? err : get_sex_status(in, obj, rec);
    err = err ? err : get_date(in, obj, "born", &rec->born);
    err = err ? err : lm_wire_text(in, obj, "dam", rec->dam, sizeof rec->dam);
    err = err ? err : lm_wire_text(in, obj, "sire", rec->sire, sizeof rec->sire);
    err = err ? err : lm_wire_text(in, obj, "mob", rec->mob, sizeof rec->mob);
    err = err ? err : get_date(in, obj, "status_date", &rec->status_date);
    rec->struck = false;
    err = err ? err : lm_wire_bool(in, obj, "struck", &rec->struck);
    err =
        err ? err : lm_wire_text(in, obj, "merged_into", rec->merged_into, sizeof rec->merged_into);
    return err ? err : get_devices(in, obj, rec);
}

enum lm_err lm_record_from_json(
    const char *json, size_t len, struct lm_record *rec, struct lm_problem *p)
{
    struct lm_wire_in in = {json, len, "", p};
    json_t *root;
    enum lm_err err;

    if (len > LM_EVENTLINE_MAX)
        return lm_wire_bad(
            &in, NULL, "split it", "longer than %u bytes", (unsigned) LM_EVENTLINE_MAX);
    err = lm_wire_load(&in, &root);
    if (!err)
        err = lm_wire_record_parse(&in, root, rec);
    json_decref(root);
    return err;
}
