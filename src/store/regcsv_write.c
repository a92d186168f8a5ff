/*
 * The register as CSV: RFC 4180, CRLF line ends, a cell in quotes only where that is needed. In the
 * form for machines texts stay as they are, also where a spreadsheet would take one for a formula;
 * in the form for spreadsheets those get a ' in front, which import takes off again.
 */
#include "regcsv_priv.h"

#include <string.h>

static bool needs_quotes(const char *s)
{
    size_t n = strlen(s);

    return n && (s[strcspn(s, ",;\t\"\r\n")] || s[0] == ' ' || s[n - 1] == ' ');
}

/* One cell, with the separator or line end that follows it. */
static int put(FILE *out, const char *s, const char *after)
{
    if (!needs_quotes(s))
        return fputs(s, out) < 0 || fputs(after, out) < 0;
    putc('"', out);
    for (; *s; s++) {
        if (*s == '"')
            putc('"', out);
        putc(*s, out);
    }
    putc('"', out);
    return fputs(after, out) < 0 || ferror(out);
}

/* Text that people or readers wrote. Codes, words, dates and yes or no are never guarded. */
static int put_text(FILE *out, const char *s, bool sheet, const char *after)
{
    char guarded[LM_VISUAL_MAX + 2];

    if (!sheet || !lm_text_is_formula(s))
        return put(out, s, after);
    snprintf(guarded, sizeof guarded, "'%s", s);
    return put(out, guarded, after);
}

enum lm_err lm_regcsv_write_header(FILE *out)
{
    int bad = 0;

    for (int c = 0; c < COL_COUNT; c++)
        bad |= put(out, lm_regcsv_col_name((enum regcsv_col) c), c + 1 < COL_COUNT ? "," : "\r\n");
    return bad ? LM_EIO : LM_OK;
}

/* 15 digits; the impossible countries 1000-1023 would give 16, which no reader takes, so hex. */
static const char *code_cell(struct lm_eid eid, char out[LM_EID_TEXT_SIZE])
{
    out[0] = '\0';
    if (eid.known && lm_eid_country(eid) <= 999)
        lm_eid_format(eid, out);
    else if (eid.known)
        snprintf(out, LM_EID_TEXT_SIZE, "0x%016llX", (unsigned long long) eid.bits);
    return out;
}

/* The same code so that no spreadsheet takes it for a number: 3 + 12 digits, or all 64 bits in hex.
 */
static const char *text_cell(struct lm_eid eid, char out[LM_EID_TEXT_SIZE])
{
    char digits[LM_EID_TEXT_SIZE];

    out[0] = '\0';
    if (eid.known == LM_EID_FULL || (eid.known && lm_eid_country(eid) > 999)) {
        snprintf(out, LM_EID_TEXT_SIZE, "0x%016llX", (unsigned long long) eid.bits);
    } else if (eid.known) {
        lm_eid_format(eid, digits);
        snprintf(out, LM_EID_TEXT_SIZE, "%.3s-%.12s", digits, digits + 3);
    }
    return out;
}

static int put_date(FILE *out, struct lm_date date, const char *after)
{
    char text[LM_DATE_TEXT_SIZE];

    return put(out, lm_date_format(date, text), after);
}

static int put_animal(FILE *out, const struct lm_record *rec, bool sheet)
{
    int bad = 0;

    bad |= put_text(out, rec->key, sheet, ",");
    bad |= put_text(out, rec->species, sheet, ",");
    bad |= put_text(out, rec->breed, sheet, ",");
    bad |= put(out, lm_sex_name((enum lm_sex) rec->sex), ",");
    bad |= put_date(out, rec->born, ",");
    bad |= put_text(out, rec->dam, sheet, ",");
    bad |= put_text(out, rec->sire, sheet, ",");
    bad |= put_text(out, rec->mob, sheet, ",");
    return bad | put(out, lm_status_name((enum lm_status) rec->status), ",");
}

static int put_row(FILE *out, const struct lm_record *rec, const struct lm_device *d, bool sheet)
{
    char code[LM_EID_TEXT_SIZE];
    int bad = put_animal(out, rec, sheet);

    bad |= put(out, d ? lm_device_form_name((enum lm_device_form) d->form) : "", ",");
    bad |= put(out, d ? lm_place_name((enum lm_place) d->place) : "", ",");
    bad |= put_text(out, d ? d->colour : "", sheet, ",");
    bad |= put(out, d ? (d->official ? "1" : "0") : "", ",");
    bad |= put(out, d ? code_cell(d->eid, code) : "", ",");
    bad |= put_text(out, d ? d->visual : "", sheet, ",");
    bad |= put_date(out, d ? d->applied : (struct lm_date){0}, ",");
    if (d && d->gone && !d->removed.year)
        bad |= put(out, "unknown", ",");
    else
        bad |= put_date(out, d ? d->removed : (struct lm_date){0}, ",");
    bad |= put(out, rec->castrated ? "1" : "0", ",");
    bad |= put_date(out, rec->status_date, ",");
    bad |= put_text(out, d ? d->why : "", sheet, ",");
    bad |= put(out, d ? d->uid : "", ",");
    bad |= put(out, d ? text_cell(d->eid, code) : "", ",");
    code[0] = '\0';
    if (d && d->replaces)
        snprintf(code, sizeof code, "%u", d->replaces);
    return bad | put(out, code, "\r\n");
}

static bool clean(const char *s)
{
    return lm_text_clean(s, strlen(s));
}

static bool all_clean(const struct lm_record *rec)
{
    bool good = rec->key[0] && clean(rec->key) && clean(rec->species) && clean(rec->breed) &&
                clean(rec->dam) && clean(rec->sire) && clean(rec->mob);

    for (unsigned i = 0; good && i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        good = clean(d->visual) && clean(d->colour) && clean(d->uid) && clean(d->why);
    }
    return good && rec->n_devices <= LM_DEVICES_MAX;
}

static enum lm_err write_rows(FILE *out, const struct lm_record *rec, bool sheet)
{
    int bad = 0;

    if (!all_clean(rec))
        return LM_EARG;
    if (rec->n_devices == 0)
        bad |= put_row(out, rec, NULL, sheet);
    for (unsigned i = 0; i < rec->n_devices; i++)
        bad |= put_row(out, rec, &rec->devices[i], sheet);
    return bad ? LM_EIO : LM_OK;
}

enum lm_err lm_regcsv_write(FILE *out, const struct lm_record *rec)
{
    return write_rows(out, rec, false);
}

enum lm_err lm_regcsv_write_sheet_header(FILE *out)
{
    return fputs(REGCSV_BOM, out) < 0 ? LM_EIO : lm_regcsv_write_header(out);
}

enum lm_err lm_regcsv_write_sheet(FILE *out, const struct lm_record *rec)
{
    return write_rows(out, rec, true);
}
