/*
 * The marks of an animal, and what a finding is about, in words. The codes and numbers of a finding
 * are those that the findings as JSON give.
 */
#include "report/sheet_data.h"

#include <string.h>

static void add_once(char *out, size_t size, const char *word)
{
    size_t len = strlen(word);
    if (len == 0)
        return;
    for (const char *at = out; (at = strstr(at, word)) != NULL; at += len) {
        if ((at == out || at[-1] == ' ') && (at[len] == ',' || at[len] == '\0'))
            return;
    }
    lm_sheet_add(out, size, "%s%s", out[0] ? ", " : "", word);
}

static const char *sex_of(const struct lm_roll_animal *a)
{
    if (a->castrated)
        return "castrated";
    return a->sex == LM_SEX_FEMALE ? "female" : a->sex == LM_SEX_MALE ? "male" : "";
}

void lm_sheet_marks(const struct lm_roll *roll, uint32_t animal, struct lm_sheet_marks *out)
{
    struct lm_roll_animal a = lm_roll_animal(roll, animal);
    *out = (struct lm_sheet_marks){0};
    snprintf(out->sex, sizeof out->sex, "%s", sex_of(&a));
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        if (d.gone)
            continue;
        add_once(out->number, sizeof out->number, d.visual);
        add_once(out->colour, sizeof out->colour, d.colour);
        add_once(out->place, sizeof out->place, lm_place_name((enum lm_place) d.place));
    }
}

char *lm_sheet_codes(const struct lm_printed *p, const struct lm_finding *f, char *out, size_t size)
{
    char code[LM_EID_TEXT_SIZE];
    out[0] = '\0';
    if (f->eid.known) {
        lm_sheet_add(out, size, "%s", lm_eid_format(f->eid, code));
        if (f->eid2.known)
            lm_sheet_add(out, size, " %s", lm_eid_format(f->eid2, code));
    } else if (f->reason == LM_OUT_OF_RANGE && f->text) {
        lm_sheet_add(out, size, "%s", f->text);
    } else if (f->animal != LM_NO_ANIMAL && f->reason != LM_REMOVED_DEVICE) {
        uint32_t n = lm_roll_animal(p->roll, f->animal).n_devices;
        for (uint32_t k = 0; k < n; k++) {
            struct lm_roll_device d = lm_roll_device(p->roll, f->animal, k);
            if (!d.gone && d.eid.known)
                lm_sheet_add(out, size, "%s%s", out[0] ? " " : "", lm_eid_format(d.eid, code));
        }
    }
    return out;
}

/** A retired device is named by its own number, never by one that the animal should wear. */
static const char *old_number(const struct lm_printed *p, const struct lm_finding *f)
{
    uint32_t n = lm_roll_animal(p->roll, f->animal).n_devices;
    if (f->text)
        return f->text;
    for (uint32_t k = 0; k < n && f->eid.known; k++) {
        struct lm_roll_device d = lm_roll_device(p->roll, f->animal, k);
        if (d.gone && lm_eid_key(d.eid) == lm_eid_key(f->eid))
            return d.visual;
    }
    return "";
}

char *lm_sheet_number(
    const struct lm_printed *p, const struct lm_finding *f, char *out, size_t size)
{
    struct lm_sheet_marks m;
    out[0] = '\0';
    if (f->animal == LM_NO_ANIMAL) {
        lm_sheet_add(out, size, "%s", f->text && f->reason == LM_NOT_IN_REGISTER ? f->text : "");
    } else if (f->reason == LM_REMOVED_DEVICE) {
        lm_sheet_add(out, size, "%s", old_number(p, f));
    } else {
        lm_sheet_marks(p->roll, f->animal, &m);
        lm_sheet_add(out, size, "%s", m.number);
    }
    return out;
}
