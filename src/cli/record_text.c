/* Animals and devices as text for people. */
#include "record_text.h"
#include "report/tongue.h"

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
    add(out, size, " ", lm_tongue_word(lm_device_form_name((enum lm_device_form) device->form)));
    add(out, size, ", ", lm_tongue_word(lm_place_name((enum lm_place) device->place)));
    add(out, size, ", ", device->visual);
    if (device->eid.known != LM_EID_NONE)
        add(out, size, ", ", lm_eid_format(device->eid, code));
    if (lm_eid_key(device->eid) != 0 && lm_eid_retag(device->eid) != 0) {
        snprintf(code, sizeof code, _("retag %u"), lm_eid_retag(device->eid));
        add(out, size, ", ", code); /* else a tag and the one that followed it look alike */
    }
    if (device->uid[0] != '\0') {
        add(out, size, ", ", _("chip"));
        add(out, size, " ", device->uid);
    }
    return out;
}

static void what_it_is(const struct lm_record *rec, char *out, size_t size)
{
    out[0] = '\0';
    add(out, size, " ", rec->castrated ? lm_tongue_word("castrated") : "");
    add(out, size, " ", lm_tongue_word(lm_sex_name((enum lm_sex) rec->sex)));
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
    lm_tongue_pad(out, rec->key, 13);
    lm_tongue_pad(out, lm_tongue_word(lm_status_name((enum lm_status) rec->status)), 10);
    fputs(is, out);
    if (rec->mob[0] != '\0')
        fprintf(out, _(", mob %s"), rec->mob);
    fprintf(out, "%s%s\n", wears[0] != '\0' ? ": " : "", wears);
}

/* Names of rows stand in a column as wide as the longest in most tongues. */
#define NAMES 10

static void name_row(FILE *out, const char *name)
{
    fputs("  ", out);
    lm_tongue_pad(out, name, NAMES);
}

static void row(FILE *out, const char *name, const char *value)
{
    if (value[0] == '\0')
        return;
    name_row(out, name);
    fprintf(out, "%s\n", value);
}

static void device_rows(FILE *out, const struct lm_device *d)
{
    char words[512], date[LM_DATE_TEXT_SIZE];
    name_row(out, d->gone ? _("removed") : _("wears"));
    fprintf(out, "%s, %s\n", lm_device_words(d, words, sizeof words),
        d->official ? _("official") : _("management"));
    if (lm_date_format(d->applied, date)[0] != '\0') {
        name_row(out, "");
        fprintf(out, _("applied %s\n"), date);
    }
    lm_date_format(d->removed, date);
    if (date[0] == '\0' && d->why[0] == '\0')
        return;
    name_row(out, "");
    if (d->why[0] != '\0')
        fprintf(out, _("removed %s because %s\n"), date, d->why);
    else
        fprintf(out, _("removed %s\n"), date);
}

static void link_row(FILE *out, const struct lm_record *rec, unsigned at)
{
    char words[512];
    unsigned old = rec->devices[at].replaces;
    if (old >= 1 && old <= rec->n_devices) {
        name_row(out, "");
        fprintf(out, _("in place of %s\n"),
            lm_device_words(&rec->devices[old - 1], words, sizeof words));
    }
}

void lm_record_block(FILE *out, const struct lm_record *rec)
{
    char is[256], date[LM_DATE_TEXT_SIZE], status[64];
    what_it_is(rec, is, sizeof is);
    fprintf(out, "%s\n", rec->key);
    row(out, _("is"), is);
    row(out, _("born"), lm_date_format(rec->born, date));
    row(out, _("dam"), rec->dam);
    row(out, _("sire"), rec->sire);
    row(out, _("mob"), rec->mob);
    lm_date_format(rec->status_date, date);
    snprintf(status, sizeof status, date[0] != '\0' ? _("%s since %s") : "%s%s",
        lm_tongue_word(lm_status_name((enum lm_status) rec->status)), date);
    row(out, _("status"), status);
    for (unsigned i = 0; i < rec->n_devices; i++) {
        device_rows(out, &rec->devices[i]);
        link_row(out, rec, i);
    }
    if (rec->n_devices == 0)
        row(out, _("wears"), _("nothing"));
}
