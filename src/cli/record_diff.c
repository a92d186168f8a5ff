/* What changed between two entries of one animal, for people. */
#include "record_diff.h"

#include <string.h>

#include "record_text.h"
#include "report/tongue.h"

static void line(FILE *out, const char *name, const char *was, const char *is)
{
    if (strcmp(was, is) == 0)
        return;
    fputs("    ", out);
    lm_tongue_pad(out, _(name), 10);
    if (was[0] == '\0')
        fprintf(out, "%s\n", is);
    else
        fprintf(out, _("%s, was %s\n"), is[0] != '\0' ? is : _("none"), was);
}

static void date_line(FILE *out, const char *name, struct lm_date was, struct lm_date is)
{
    char a[LM_DATE_TEXT_SIZE], b[LM_DATE_TEXT_SIZE];
    line(out, name, lm_date_format(was, a), lm_date_format(is, b));
}

static const char *status_words(const struct lm_record *rec, char *out, size_t size)
{
    char date[LM_DATE_TEXT_SIZE];
    lm_date_format(rec->status_date, date);
    snprintf(out, size, date[0] != '\0' ? _("%s since %s") : "%s%s",
        lm_tongue_word(lm_status_name((enum lm_status) rec->status)), date);
    if (rec->struck && rec->merged_into[0] != '\0')
        snprintf(out, size, _("no longer an entry: merged into %s"), rec->merged_into);
    else if (rec->struck)
        snprintf(out, size, "%s", _("no longer an entry"));
    return out;
}

static void animal_lines(FILE *out, const struct lm_record *was, const struct lm_record *is)
{
    char a[128] = "", b[128];
    line(out, N_("species"), was->species, is->species);
    line(out, N_("breed"), was->breed, is->breed);
    line(out, N_("sex"), lm_tongue_word(lm_sex_name((enum lm_sex) was->sex)),
        lm_tongue_word(lm_sex_name((enum lm_sex) is->sex)));
    line(out, N_("castrated"), was->castrated ? _("yes") : "", is->castrated ? _("yes") : "");
    date_line(out, N_("born"), was->born, is->born);
    line(out, N_("dam"), was->dam, is->dam);
    line(out, N_("sire"), was->sire, is->sire);
    line(out, N_("mob"), was->mob, is->mob);
    if (was->key[0] != '\0')
        status_words(was, a, sizeof a);
    line(out, N_("status"), a, status_words(is, b, sizeof b));
}

static const char *device_words(const struct lm_device *d, char *out, size_t size)
{
    char words[512], date[LM_DATE_TEXT_SIZE];
    int len = snprintf(out, size, "%s, %s", lm_device_words(d, words, sizeof words),
        d->official ? _("official") : _("management"));
    if (d->applied.year != 0 && len >= 0 && (size_t) len < size)
        len += snprintf(
            out + len, size - (size_t) len, _(", applied %s"), lm_date_format(d->applied, date));
    if (!d->gone || len < 0 || (size_t) len >= size)
        return out;
    lm_date_format(d->removed, date);
    if (d->why[0] != '\0')
        snprintf(out + len, size - (size_t) len, _(", removed %s because %s"), date, d->why);
    else
        snprintf(out + len, size - (size_t) len, _(", removed %s"), date);
    return out;
}

static const struct lm_device *same_device(
    const struct lm_record *rec, const struct lm_device *d, unsigned place)
{
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (d->id != 0 ? rec->devices[i].id == d->id : i == place)
            return &rec->devices[i];
    return NULL;
}

static void device_lines(FILE *out, const struct lm_record *was, const struct lm_record *is)
{
    char a[768], b[768];
    for (unsigned i = 0; i < is->n_devices; i++) {
        const struct lm_device *old = same_device(was, &is->devices[i], i);
        line(out, N_("device"), old != NULL ? device_words(old, a, sizeof a) : "",
            device_words(&is->devices[i], b, sizeof b));
    }
    for (unsigned i = 0; i < was->n_devices; i++)
        if (same_device(is, &was->devices[i], i) == NULL)
            line(out, N_("device"), device_words(&was->devices[i], a, sizeof a), "");
}

void lm_record_diff(FILE *out, const struct lm_record *before, const struct lm_record *now)
{
    static const struct lm_record none;
    const struct lm_record *was = before != NULL ? before : &none;
    animal_lines(out, was, now);
    device_lines(out, was, now);
}
