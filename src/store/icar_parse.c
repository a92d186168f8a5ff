/* ICAR JSON to plain values: types are never bent, and every problem says where by a JSON pointer.
 */
#include "icar_priv.h"

#include "lugmark/decode.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void lm_icar_bad(struct icar_reader *r, enum lm_err err, const char *path, const char *mend,
    const char *fmt, ...)
{
    struct lm_problem p = {0};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list ap;
    if (r->silent)
        return;
    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    r->problems++;
    if (r->problems > ICAR_PROBLEMS_MAX || r->how->problem == NULL)
        return;
    snprintf(p.file, sizeof p.file, "%s", r->how->name);
    lm_problem_set(&p, err, mend, "%s: %s", path, what);
    r->how->problem(&p, r->how->ctx);
}

const char *lm_icar_text(
    struct icar_reader *r, const json_t *obj, const char *path, const char *key)
{
    const json_t *v = json_object_get(obj, key);
    char at[ICAR_PATH_MAX];
    if (v == NULL || json_is_null(v))
        return NULL;
    snprintf(at, sizeof at, "%s/%s", path, key);
    if (json_is_string(v))
        return json_string_value(v);
    if (json_is_number(v))
        lm_icar_bad(r, LM_EINPUT, at,
            "have the sender write it in quotes: as a number, digits and "
            "leading zeros get lost on the way",
            "a number where there must be text");
    else
        lm_icar_bad(r, LM_EINPUT, at, "have the sender write a text in quotes", "must be text");
    return NULL;
}

/* Whether the last label of a scheme is this word. */
static bool ends_in(const char *scheme, const char *label)
{
    const char *dot = strrchr(scheme, '.');
    return strcmp(dot != NULL ? dot + 1 : scheme, label) == 0;
}

static bool own_scheme(const char *scheme, const char *source, const char *kind)
{
    size_t n = source != NULL ? strlen(source) : 0;
    return n > 0 && strncmp(scheme, source, n) == 0 && scheme[n] == '.' &&
           strcmp(scheme + n + 1, kind) == 0;
}

static bool take_code(struct icar_reader *r, const char *id, const char *at, struct icar_mark *out)
{
    struct lm_decoded code;
    struct lm_problem p = {0};
    enum lm_err err = lm_decode(id, strlen(id), &code, &p);
    if (err == LM_OK && code.eid.known == LM_EID_UID)
        err = lm_problem_set(&p, LM_EINPUT, "use a scheme of your own for it",
            "a chip's UID is no code of ISO 11784");
    if (err != LM_OK) {
        lm_icar_bad(r, err, at, p.mend, "%s", p.what);
        return false;
    }
    out->kind = ICAR_CODE;
    out->eid = code.eid;
    lm_eid_format(code.eid, out->text);
    return true;
}

static enum icar_mark_kind kind_of(struct icar_reader *r, const char *scheme, const char *source)
{
    if (own_scheme(scheme, source, "animal"))
        return ICAR_KEY;
    if (own_scheme(scheme, source, "chip"))
        return ICAR_CHIP;
    if (ends_in(scheme, "tattoo"))
        return ICAR_TATTOO;
    if (!own_scheme(scheme, source, "visual") && !r->silent)
        lm_icar_note(
            &r->notes, false, "identifiers of scheme %.80s, taken as printed numbers", scheme);
    return ICAR_NUMBER;
}

bool lm_icar_take_id(struct icar_reader *r, const json_t *id, const char *source, const char *path,
    struct icar_mark *out)
{
    char at[ICAR_PATH_MAX];
    memset(out, 0, sizeof *out);
    if (!json_is_object(id)) {
        lm_icar_bad(r, LM_EINPUT, path, "write {\"scheme\":\"...\",\"id\":\"...\"}",
            "must be an object with scheme and id");
        return false;
    }
    unsigned long before = r->problems;
    const char *scheme = lm_icar_text(r, id, path, "scheme"),
               *text = lm_icar_text(r, id, path, "id");
    if (scheme == NULL || text == NULL || scheme[0] == '\0' || text[0] == '\0') {
        if (r->problems == before)
            lm_icar_bad(r, LM_EINPUT, path, "have the sender fill in both",
                "scheme or id is missing or empty");
        return false;
    }
    snprintf(at, sizeof at, "%s/id", path);
    if (strcmp(scheme, ICAR_CODE_SCHEME) == 0)
        return take_code(r, text, at, out);
    out->kind = kind_of(r, scheme, source);
    size_t max = out->kind == ICAR_KEY    ? LM_NAME_MAX + 1
                 : out->kind == ICAR_CHIP ? sizeof((struct lm_device *) 0)->uid
                                          : sizeof out->text;
    if (!lm_text_copy(out->text, max, text, strlen(text)) || out->text[0] == '\0' ||
        strcmp(out->text, text) != 0) {
        lm_icar_bad(r, LM_EINPUT, at, "have the sender correct it",
            "longer than %zu bytes, or with control characters or blanks at its ends", max - 1);
        return false;
    }
    if (out->kind == ICAR_CHIP && out->text[strspn(out->text, "0123456789ABCDEF")] != '\0') {
        lm_icar_bad(r, LM_EINPUT, at, "write it in upper-case hex digits", "no UID of a chip");
        return false;
    }
    return true;
}

static bool in_future(const struct icar_reader *r, struct lm_date day)
{
    return day.year != 0 && r->how->today.year != 0 &&
           lm_date_days(day, 0) > lm_date_days(r->how->today, 1);
}

/* The day is the one written: an offset to UTC does not move a birthday. */
bool lm_icar_take_day(struct icar_reader *r, const json_t *obj, const char *path, const char *key,
    struct lm_date *day)
{
    char at[ICAR_PATH_MAX];
    int64_t t_ms;
    const char *text = lm_icar_text(r, obj, path, key);
    *day = (struct lm_date){0};
    if (text == NULL)
        return json_object_get(obj, key) == NULL;
    size_t len = strlen(text);
    if ((len == 10 || (len > 10 && lm_time_parse(text, len, &t_ms) == LM_OK)) &&
        lm_date_parse(text, 10, day) == LM_OK && !in_future(r, *day))
        return true;
    snprintf(at, sizeof at, "%s/%s", path, key);
    if (in_future(r, *day)) {
        lm_icar_bad(r, LM_EINPUT, at, "correct it; what is to come is entered when it has come",
            "lies in the future: %.40s", text);
        return false;
    }
    lm_icar_bad(r, LM_EINPUT, at, "write 2026-03-28T00:00:00Z", "not a date and time: %.40s", text);
    return false;
}

static bool same_mark(const struct icar_mark *a, const struct icar_mark *b)
{
    return a->kind == b->kind && strcmp(a->text, b->text) == 0;
}

static bool add_mark(struct icar_reader *r, const json_t *id, const char *source, const char *path,
    struct icar_marks *out)
{
    struct icar_mark mark;
    if (!lm_icar_take_id(r, id, source, path, &mark))
        return false;
    for (unsigned i = 0; i < out->n; i++)
        if (same_mark(&out->items[i], &mark))
            return true;
    if (out->n == LM_DEVICES_MAX) {
        lm_icar_bad(r, LM_EINPUT, path, "leave out the oldest",
            "more than %u identifiers of one "
            "animal",
            LM_DEVICES_MAX);
        return false;
    }
    out->items[out->n++] = mark;
    return true;
}

bool lm_icar_take_marks(struct icar_reader *r, const json_t *animal, const char *source,
    const char *path, struct icar_marks *out)
{
    char at[ICAR_PATH_MAX];
    const json_t *others = json_object_get(animal, "alternativeIdentifiers"), *id;
    size_t i;
    out->n = 0;
    snprintf(at, sizeof at, "%s/identifier", path);
    bool good = add_mark(r, json_object_get(animal, "identifier"), source, at, out);
    if (others == NULL || json_is_null(others))
        return good;
    if (!json_is_array(others)) {
        snprintf(at, sizeof at, "%s/alternativeIdentifiers", path);
        lm_icar_bad(r, LM_EINPUT, at, "write [ ... ]", "must be a list");
        return false;
    }
    json_array_foreach((json_t *) (uintptr_t) others, i, id)
    {
        snprintf(at, sizeof at, "%s/alternativeIdentifiers/%zu", path, i);
        good = add_mark(r, id, source, at, out) && good;
    }
    return good;
}

static void take_status(struct icar_reader *r, const char *word, struct lm_record *rec, bool own)
{
    bool away = rec->status != LM_ON_FARM;
    if (strcmp(word, lm_icar_status((enum lm_status) rec->status)) == 0)
        return; /* what the register says is more exact, and agrees */
    if (strcmp(word, "Alive") == 0)
        rec->status = LM_ON_FARM;
    else if (strcmp(word, "Dead") == 0)
        rec->status = LM_DEAD;
    else if (strcmp(word, "OffFarm") == 0)
        rec->status = LM_SOLD;
    else if (strcmp(word, "Unknown") == 0 && own)
        rec->status = LM_LOST;
    else
        lm_icar_note(&r->notes, false, "status %.40s, not used", word);
    if (away || rec->status != LM_ON_FARM)
        rec->status_date = (struct lm_date){0};
}

static void take_breed(
    struct icar_reader *r, const json_t *animal, const char *path, struct lm_record *rec)
{
    char at[ICAR_PATH_MAX];
    const json_t *breed = json_object_get(animal, "primaryBreed");
    if (breed == NULL || json_is_null(breed))
        return;
    snprintf(at, sizeof at, "%s/primaryBreed", path);
    const char *id = lm_icar_text(r, breed, at, "id");
    if (id != NULL && !lm_text_copy(rec->breed, sizeof rec->breed, id, strlen(id)))
        lm_icar_bad(r, LM_EINPUT, at, "shorten it",
            "the breed is longer than %u bytes, or has "
            "control characters",
            LM_NAME_MAX);
}

void lm_icar_take_animal(
    struct icar_reader *r, const json_t *animal, const char *path, struct lm_record *rec, bool own)
{
    enum lm_sex sex;
    bool castrated;
    struct lm_date born;
    const char *specie = lm_icar_text(r, animal, path, "specie");
    const char *gender = lm_icar_text(r, animal, path, "gender");
    const char *status = lm_icar_text(r, animal, path, "status");
    const char *ours = specie != NULL ? lm_icar_species(specie) : NULL;
    /* A word of the register's own for the same species stays. */
    if (ours != NULL &&
        (lm_icar_specie(rec->species) == NULL || strcmp(lm_icar_specie(rec->species), specie) != 0))
        snprintf(rec->species, sizeof rec->species, "%s", ours);
    else if (specie != NULL && ours == NULL &&
             !lm_text_copy(rec->species, sizeof rec->species, specie, strlen(specie)))
        lm_icar_bad(r, LM_EINPUT, path, "shorten it", "specie is no clean text that fits");
    if (gender != NULL && lm_icar_sex(gender, &sex, &castrated)) {
        if (sex != LM_SEX_UNKNOWN) {
            rec->sex = (uint8_t) sex;
            rec->castrated = castrated;
        }
    } else if (gender != NULL && strcmp(gender, "MaleCryptorchid") == 0) {
        rec->sex = LM_SEX_MALE;
        lm_icar_note(&r->notes, false, "gender MaleCryptorchid, taken as male");
    } else if (gender != NULL) {
        lm_icar_note(&r->notes, false, "gender %.40s, not used", gender);
    }
    if (lm_icar_take_day(r, animal, path, "birthDate", &born) && born.year != 0)
        rec->born = born;
    take_breed(r, animal, path, rec);
    if (status != NULL)
        take_status(r, status, rec, own);
}
