/* Setting the fields of an animal and of a device from option values. */
#include "fields.h"

#include <ctype.h>
#include <string.h>
#include <time.h>

#include "life.h"
#include "lugmark/decode.h"
#include "problem.h"

/* What a setter may touch. */
struct target {
    struct lm_record *rec;
    struct lm_device *device;
};

/* Sets one field; false when the value is none that the field can have. */
typedef bool setter(struct target *t, const char *value);

struct field {
    const char *name;
    setter *set;
    const char *mend;
};

static bool text(char *out, size_t size, const char *value)
{
    return lm_text_copy(out, size, value, strlen(value));
}

static bool yes_no(const char *value, bool *out)
{
    *out = lm_word_is(value, "yes") || lm_word_is(value, "y") || lm_word_is(value, "true") ||
           strcmp(value, "1") == 0;
    return *out || value[0] == '\0' || lm_word_is(value, "no") || lm_word_is(value, "n") ||
           lm_word_is(value, "false") || strcmp(value, "0") == 0;
}

static bool set_species(struct target *t, const char *v)
{
    return text(t->rec->species, sizeof t->rec->species, v);
}

static bool set_breed(struct target *t, const char *v)
{
    return text(t->rec->breed, sizeof t->rec->breed, v);
}

static bool set_sex(struct target *t, const char *v)
{
    enum lm_sex sex = LM_SEX_UNKNOWN;
    bool castrated = t->rec->castrated;
    if (lm_sex_parse(v, &sex, &castrated) != LM_OK)
        return false;
    t->rec->sex = (uint8_t) sex;
    t->rec->castrated = castrated;
    return true;
}

static bool set_castrated(struct target *t, const char *v)
{
    return yes_no(v, &t->rec->castrated);
}

static bool set_born(struct target *t, const char *v)
{
    return lm_date_parse(v, strlen(v), &t->rec->born) == LM_OK;
}

static bool set_dam(struct target *t, const char *v)
{
    return text(t->rec->dam, sizeof t->rec->dam, v);
}

static bool set_sire(struct target *t, const char *v)
{
    return text(t->rec->sire, sizeof t->rec->sire, v);
}

static bool set_mob(struct target *t, const char *v)
{
    return text(t->rec->mob, sizeof t->rec->mob, v);
}

static bool set_status(struct target *t, const char *v)
{
    enum lm_status status = LM_ON_FARM;
    if (lm_status_parse(v, &status) != LM_OK)
        return false;
    if (t->rec->status != (uint8_t) status)
        t->rec->status_date = status == LM_ON_FARM ? (struct lm_date){0} : lm_today();
    t->rec->status = (uint8_t) status;
    return true;
}

static bool set_status_date(struct target *t, const char *v)
{
    return lm_date_parse(v, strlen(v), &t->rec->status_date) == LM_OK;
}

static bool set_eid(struct target *t, const char *v)
{
    struct lm_decoded code;
    struct lm_problem p = {0};
    if (lm_decode(v, strlen(v), &code, &p) != LM_OK) {
        lm_problem_print(&p);
        return false;
    }
    if (code.eid.known == LM_EID_UID) {
        lm_problem_set(
            &p, LM_EINPUT, "give it with --uid", "a chip's UID is no electronic code of an animal");
        lm_problem_print(&p);
        return false;
    }
    t->device->eid = code.eid;
    return true;
}

static bool set_visual(struct target *t, const char *v)
{
    return text(t->device->visual, sizeof t->device->visual, v);
}

static bool set_uid(struct target *t, const char *v)
{
    size_t n = 0;
    for (; *v != '\0'; v++) {
        if (*v == ':' || *v == ' ')
            continue;
        if (!isxdigit((unsigned char) *v) || n + 1 >= sizeof t->device->uid)
            return false;
        t->device->uid[n++] = (char) toupper((unsigned char) *v);
    }
    t->device->uid[n] = '\0';
    return true;
}

static bool set_form(struct target *t, const char *v)
{
    enum lm_device_form form = LM_DEVICE_UNKNOWN;
    if (lm_device_form_parse(v, &form) != LM_OK)
        return false;
    t->device->form = (uint8_t) form;
    return true;
}

static bool set_place(struct target *t, const char *v)
{
    enum lm_place place = LM_PLACE_UNKNOWN;
    if (lm_place_parse(v, &place) != LM_OK)
        return false;
    t->device->place = (uint8_t) place;
    return true;
}

static bool set_colour(struct target *t, const char *v)
{
    return text(t->device->colour, sizeof t->device->colour, v);
}

static bool set_official(struct target *t, const char *v)
{
    return yes_no(v, &t->device->official);
}

static bool set_applied(struct target *t, const char *v)
{
    return lm_date_parse(v, strlen(v), &t->device->applied) == LM_OK;
}

static const char date_mend[] = "write 2026, 2026-03 or 2026-03-28";
static const char name_mend[] = "at most 63 bytes of text without control characters";

/* In the order they are set: status before its date, sex before castrated. */
static const struct field animal_fields[] = {
    {"species", set_species, name_mend},
    {"breed", set_breed, name_mend},
    {"sex", set_sex, "female or male"},
    {"castrated", set_castrated, "yes or no"},
    {"born", set_born, date_mend},
    {"dam", set_dam, name_mend},
    {"sire", set_sire, name_mend},
    {"mob", set_mob, name_mend},
    {"status", set_status, "on-farm, sold, dead, slaughtered or lost"},
    {"status-date", set_status_date, date_mend},
    {NULL, NULL, NULL},
};

static const struct field device_fields[] = {
    {"eid", set_eid, "lugmark decode --help lists the forms of a code"},
    {"visual", set_visual, "at most 127 bytes of text without control characters"},
    {"uid", set_uid, "hex digits, two a byte"},
    {"form", set_form, "flag tag, button tag, loop tag, bolus, injectable, leg band or tattoo"},
    {"place", set_place, "left ear, right ear, rumen, leg or tail web"},
    {"colour", set_colour, name_mend},
    {"official", set_official, "yes or no"},
    {"applied", set_applied, date_mend},
    {NULL, NULL, NULL},
};

static int set_all(
    const struct lm_args *args, const struct field *fields, struct target *t, unsigned *given)
{
    unsigned n = 0;
    for (const struct field *f = fields; f->name != NULL; f++) {
        const char *value = lm_arg(args, f->name);
        if (value == NULL)
            continue;
        n++;
        if (!f->set(t, value))
            return lm_fail(LM_EXIT_INPUT, f->mend, "--%s cannot be \"%s\"", f->name, value);
    }
    if (given != NULL)
        *given = n;
    return LM_EXIT_OK;
}

/* What import would refuse is not entered by hand either: the register reads its own export. */
static int look_at_dates(const struct lm_args *args, const struct lm_record *rec)
{
    char born[LM_DATE_TEXT_SIZE], since[LM_DATE_TEXT_SIZE];
    if (!lm_arg_given(args, "born") && !lm_arg_given(args, "status") &&
        !lm_arg_given(args, "status-date"))
        return LM_EXIT_OK;
    if (lm_life_future(rec->born) || lm_life_future(rec->status_date))
        return lm_fail(LM_EXIT_INPUT, "what is to come is entered when it has come",
            "a date lies in the future");
    if (rec->born.year != 0 && rec->status_date.year != 0 &&
        lm_date_days(rec->status_date, 1) < lm_date_days(rec->born, 0))
        return lm_fail(LM_EXIT_INPUT, "correct one of the two dates",
            "it was born %s, so it cannot be %s since %s", lm_date_format(rec->born, born),
            lm_status_name((enum lm_status) rec->status), lm_date_format(rec->status_date, since));
    return LM_EXIT_OK;
}

int lm_fields_animal(const struct lm_args *args, struct lm_record *rec, unsigned *given)
{
    struct target t = {.rec = rec};
    int exit = set_all(args, animal_fields, &t, given);
    return exit == LM_EXIT_OK ? look_at_dates(args, rec) : exit;
}

int lm_fields_device(const struct lm_args *args, struct lm_device *device, unsigned *given)
{
    struct target t = {.device = device};
    return set_all(args, device_fields, &t, given);
}

struct lm_date lm_today(void)
{
    struct tm tm = {0};
    time_t now = time(NULL);
    localtime_r(&now, &tm);
    return (struct lm_date){
        (int16_t) (tm.tm_year + 1900), (uint8_t) (tm.tm_mon + 1), (uint8_t) tm.tm_mday};
}
