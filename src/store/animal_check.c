#include "store/store_priv.h"

#include <string.h>

/*
 * The door of the register: what comes in must come out the same, from the tables and from the
 * history, whose entries are read back by the parser that reads files. So it is as strict.
 */
static enum lm_err bad(struct lm_store *s, const struct lm_record *rec, const char *what)
{
    return lm_problem_set(&s->problem, LM_EARG, "mend the entry, then do it again",
        "the entry of animal %s has %s", rec->key[0] != '\0' ? rec->key : "(no key)", what);
}

static bool text_ok(const char *text, size_t size)
{
    size_t len = strnlen(text, size);
    if (len == 0)
        return true;
    return len < size && text[0] != ' ' && text[len - 1] != ' ' && lm_text_clean(text, len);
}

static bool date_ok(struct lm_date d)
{
    if (d.year == 0)
        return d.month == 0 && d.day == 0;
    return lm_date_days(d, 0) != INT32_MIN; /* a date that does not exist has no days */
}

static bool eid_ok(struct lm_eid eid)
{
    if (eid.known == LM_EID_NONE)
        return eid.bits == 0;
    if (eid.known == LM_EID_CODE && eid.bits >> 48 != 0x8000)
        return false;
    return eid.known <= LM_EID_FULL && lm_eid_key(eid) != 0;
}

static const char *device_fault(const struct lm_device *d)
{
    if (!eid_ok(d->eid))
        return "a device whose code cannot exist";
    if (d->form > LM_TATTOO || d->place > LM_TAIL_WEB)
        return "a device of no known form or place";
    if (!date_ok(d->applied) || !date_ok(d->removed))
        return "a device with a date that does not exist";
    if (!text_ok(d->visual, sizeof d->visual) || !text_ok(d->colour, sizeof d->colour) ||
        !text_ok(d->uid, sizeof d->uid) || !text_ok(d->why, sizeof d->why))
        return "a device with unclean text";
    if (d->uid[strspn(d->uid, "0123456789ABCDEF")] != '\0')
        return "a device whose chip number is not upper-case hex";
    return NULL;
}

enum lm_err lm_store_record_check(struct lm_store *s, const struct lm_record *rec)
{
    if (rec->key[0] == '\0' || !text_ok(rec->key, sizeof rec->key))
        return lm_problem_set(
            &s->problem, LM_EARG, "give the animal a name", "an animal without a usable key");
    if (!text_ok(rec->species, sizeof rec->species) || !text_ok(rec->breed, sizeof rec->breed) ||
        !text_ok(rec->dam, sizeof rec->dam) || !text_ok(rec->sire, sizeof rec->sire) ||
        !text_ok(rec->mob, sizeof rec->mob) || !text_ok(rec->merged_into, sizeof rec->merged_into))
        return bad(s, rec, "unclean text");
    if (rec->sex > LM_SEX_MALE || rec->status > LM_LOST)
        return bad(s, rec, "no known sex or status");
    if (!date_ok(rec->born) || !date_ok(rec->status_date))
        return bad(s, rec, "a date that does not exist");
    if (rec->n_devices > LM_DEVICES_MAX)
        return bad(s, rec, "too many devices");
    for (unsigned i = 0; i < rec->n_devices; i++) {
        if (rec->devices[i].replaces > rec->n_devices || rec->devices[i].replaces == i + 1)
            return bad(s, rec, "a device that replaces one it does not have");
        const char *fault = device_fault(&rec->devices[i]);
        if (fault != NULL)
            return bad(s, rec, fault);
    }
    return LM_OK;
}
