/* Animals and devices as text for people. */
#include "record_text.h"

#include <string.h>

/* Append with `gap` before it when something stands there already. */
static void add(char *out, size_t size, const char *gap, const char *text)
{
    size_t len = strlen(out);
    if (text[0] != '\0' && len + 1 < size)
        snprintf(out + len, size - len, "%s%s", len > 0 ? gap : "", text);
}

char *lm_device_words(const struct lm_device *device, char *out, size_t size)
{
    char code[LM_EID_TEXT_SIZE];
    out[0] = '\0';
    add(out, size, " ", device->colour);
    add(out, size, " ", lm_device_form_name((enum lm_device_form) device->form));
    add(out, size, ", ", lm_place_name((enum lm_place) device->place));
    add(out, size, ", ", device->visual);
    if (device->eid.known != LM_EID_NONE)
        add(out, size, ", ", lm_eid_format(device->eid, code));
    if (device->uid[0] != '\0') {
        add(out, size, ", ", "chip");
        add(out, size, " ", device->uid);
    }
    return out;
}

static void what_it_is(const struct lm_record *rec, char *out, size_t size)
{
    out[0] = '\0';
    add(out, size, " ", rec->castrated ? "castrated" : "");
    add(out, size, " ", lm_sex_name((enum lm_sex) rec->sex));
    add(out, size, " ", rec->breed);
    add(out, size, " ", rec->species);
}

void lm_record_line(FILE *out, const struct lm_record *rec)
{
    char is[256], wears[1024] = "", one[512];
    what_it_is(rec, is, sizeof is);
    for (unsigned i = 0; i < rec->n_devices; i++)
        if (!rec->devices[i].gone)
            add(wears, sizeof wears, "; ", lm_device_words(&rec->devices[i], one, sizeof one));
    fprintf(out, "%-12s %-9s %s%s%s%s%s\n", rec->key, lm_status_name((enum lm_status) rec->status),
        is, rec->mob[0] != '\0' ? ", mob " : "", rec->mob, wears[0] != '\0' ? ": " : "", wears);
}

static void row(FILE *out, const char *name, const char *value)
{
    if (value[0] != '\0')
        fprintf(out, "  %-9s %s\n", name, value);
}

static void device_rows(FILE *out, const struct lm_device *d)
{
    char words[512], date[LM_DATE_TEXT_SIZE];
    fprintf(out, "  %-9s %s, %s\n", d->gone ? "removed" : "wears",
        lm_device_words(d, words, sizeof words), d->official ? "official" : "management");
    if (lm_date_format(d->applied, date)[0] != '\0')
        fprintf(out, "  %-9s applied %s\n", "", date);
    if (lm_date_format(d->removed, date)[0] != '\0' || d->why[0] != '\0')
        fprintf(
            out, "  %-9s removed %s%s%s\n", "", date, d->why[0] != '\0' ? " because " : "", d->why);
}

static void link_row(FILE *out, const struct lm_record *rec, unsigned at)
{
    char words[512];
    unsigned old = rec->devices[at].replaces;
    if (old >= 1 && old <= rec->n_devices)
        fprintf(out, "  %-9s in place of %s\n", "",
            lm_device_words(&rec->devices[old - 1], words, sizeof words));
}

void lm_record_block(FILE *out, const struct lm_record *rec)
{
    char is[256], date[LM_DATE_TEXT_SIZE], status[64];
    what_it_is(rec, is, sizeof is);
    fprintf(out, "%s\n", rec->key);
    row(out, "is", is);
    row(out, "born", lm_date_format(rec->born, date));
    row(out, "dam", rec->dam);
    row(out, "sire", rec->sire);
    row(out, "mob", rec->mob);
    lm_date_format(rec->status_date, date);
    snprintf(status, sizeof status, "%s%s%s", lm_status_name((enum lm_status) rec->status),
        date[0] != '\0' ? " since " : "", date);
    row(out, "status", status);
    for (unsigned i = 0; i < rec->n_devices; i++) {
        device_rows(out, &rec->devices[i]);
        link_row(out, rec, i);
    }
    if (rec->n_devices == 0)
        row(out, "wears", "nothing");
}
