/* The device of an animal that a person means. */
#include "device_pick.h"

#include <string.h>
#include <strings.h>

#include "lugmark/decode.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

struct meant {
    struct lm_eid eid;
    char fold[LM_VISUAL_MAX + 1];
    const char *text;
};

static bool carries(const struct lm_device *d, const struct meant *m)
{
    char fold[LM_VISUAL_MAX + 1];
    if (m->text == NULL)
        return true;
    if (m->eid.known != LM_EID_NONE && lm_eid_key(m->eid) == lm_eid_key(d->eid))
        return true;
    if (d->uid[0] != '\0' && strcasecmp(d->uid, m->text) == 0)
        return true;
    return m->fold[0] != '\0' && lm_visual_fold(d->visual, fold) > 0 && strcmp(fold, m->fold) == 0;
}

static struct lm_device *put_on_last(struct lm_record *rec)
{
    struct lm_device *last = NULL;
    for (unsigned i = 0; i < rec->n_devices; i++) {
        struct lm_device *d = &rec->devices[i];
        if (!d->gone &&
            (last == NULL || lm_date_days(d->applied, 1) >= lm_date_days(last->applied, 1)))
            last = d;
    }
    return last;
}

struct lm_device *lm_device_pick(struct lm_record *rec, const char *what, int *exit)
{
    struct meant m = {.text = what};
    struct lm_decoded code;
    struct lm_device *one = NULL;
    char words[512], all[400] = "", clean[LM_VISUAL_MAX + 1] = "";
    unsigned n = 0;
    if (what != NULL && lm_word_is(what, "last") && (one = put_on_last(rec)) != NULL)
        return one;
    if (what != NULL && lm_decode(what, strlen(what), &code, NULL) == LM_OK)
        m.eid = code.eid;
    if (what != NULL)
        lm_visual_fold(lm_clean(clean, sizeof clean, what), m.fold);
    for (unsigned i = 0; i < rec->n_devices; i++) {
        if (rec->devices[i].gone || !carries(&rec->devices[i], &m))
            continue;
        one = &rec->devices[i];
        size_t len = strlen(all);
        snprintf(all + len, sizeof all - len, "%s%s", n++ > 0 ? "; " : "",
            lm_device_words(one, words, sizeof words));
    }
    if (n == 1)
        return one;
    if (n == 0)
        *exit = lm_fail(LM_EXIT_INPUT,
            what != NULL ? "look with lugmark show" : "lugmark tag puts one on",
            "animal %s wears no device%s%s", rec->key, what != NULL ? " " : "", clean);
    else
        *exit = lm_fail(LM_EXIT_INPUT, _("say which with --old: its code, its number, or last"),
            _("animal %s wears %u such devices: %s"), rec->key, n, all);
    return NULL;
}

/* Whether another device of the animal says that it was put on for this one. */
static bool has_successor(const struct lm_record *rec, unsigned at)
{
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (rec->devices[i].replaces == at + 1)
            return true;
    return false;
}

struct lm_device *lm_device_left_open(struct lm_record *rec, const char *what)
{
    struct meant m = {.text = what};
    struct lm_decoded code;
    struct lm_device *one = NULL;
    char clean[LM_VISUAL_MAX + 1] = "";
    if (what != NULL && lm_decode(what, strlen(what), &code, NULL) == LM_OK)
        m.eid = code.eid;
    if (what != NULL)
        lm_visual_fold(lm_clean(clean, sizeof clean, what), m.fold);
    for (unsigned i = 0; i < rec->n_devices; i++) {
        struct lm_device *d = &rec->devices[i];
        if (!carries(d, &m) || (d->gone && has_successor(rec, i)))
            continue;
        if (!d->gone || one != NULL)
            return NULL; /* a worn one is meant, or nobody knows which */
        one = d;
    }
    return one;
}

struct lm_device *lm_device_more(struct lm_record *rec, int *exit)
{
    if (rec->n_devices == LM_DEVICES_MAX) {
        *exit = lm_fail(LM_EXIT_INPUT, "merge two entries of it, or leave the device out",
            "animal %s has %u devices already, removed ones included", rec->key, LM_DEVICES_MAX);
        return NULL;
    }
    struct lm_device *d = &rec->devices[rec->n_devices++];
    memset(d, 0, sizeof *d);
    return d;
}

int lm_device_remove(
    const struct lm_record *rec, struct lm_device *device, const char *reason, struct lm_date date)
{
    char on[LM_DATE_TEXT_SIZE], off[LM_DATE_TEXT_SIZE];
    if (reason == NULL || reason[0] == '\0')
        return lm_fail(LM_EXIT_USAGE, LM_REMOVE_REASONS, _("say why: --reason lost"));
    if (!lm_text_copy(device->why, sizeof device->why, reason, strlen(reason)))
        return lm_fail(
            LM_EXIT_INPUT, "at most 63 bytes", "--reason is too long or is not clean text");
    if (device->applied.year != 0 && lm_date_days(date, 1) < lm_date_days(device->applied, 0))
        return lm_fail(LM_EXIT_INPUT, "correct one of the two dates",
            "animal %s: the device was applied %s, so it cannot have been removed %s", rec->key,
            lm_date_format(device->applied, on), lm_date_format(date, off));
    device->gone = true;
    device->removed = date;
    if (device->official)
        fputs(
            _("lugmark: note: this is an official device. Taking it off and replacing it is "
              "governed "
              "by the rules of\n  your animal-health authority: ask it, or your vet, what it wants "
              "reported and which device may follow.\n"),
            stderr);
    return LM_EXIT_OK;
}
