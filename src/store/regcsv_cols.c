/* The header line of a register in CSV: names to columns, and the nearest name for a wrong one. */
#include "regcsv_priv.h"

#include <stdio.h>
#include <string.h>

static const char *const names[COL_ALL] = {"animal", "species", "breed", "sex", "born", "dam",
    "sire", "mob", "status", "form", "place", "colour", "official", "eid", "visual", "applied",
    "removed", "castrated", "status_date", "why", "uid", "eid_text", "replaces", "strip",
    "position", "received"};

static bool takes(const struct regcsv *r, int col)
{
    return (r->kind->columns >> col & 1u) != 0;
}

const char *lm_regcsv_col_name(enum regcsv_col col)
{
    return names[col];
}

static char fold(char c)
{
    if (c >= 'A' && c <= 'Z')
        return (char) (c - 'A' + 'a');
    return c == ' ' || c == '-' ? '_' : c;
}

static unsigned least(unsigned a, unsigned b, unsigned c)
{
    unsigned m = a < b ? a : b;

    return m < c ? m : c;
}

/* Levenshtein; both are at most 23 bytes here. */
static unsigned distance(const char *a, const char *b)
{
    unsigned row[32];
    size_t nb = strlen(b);

    for (unsigned j = 0; j <= nb; j++)
        row[j] = j;
    for (unsigned i = 1; a[i - 1]; i++) {
        unsigned corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            unsigned above = row[j];
            row[j] = least(above + 1, row[j - 1] + 1, corner + (fold(a[i - 1]) != b[j - 1]));
            corner = above;
        }
    }
    return row[nb];
}

/* A name so far off that it shares nothing is no help, so none is given then. */
static const char *nearest(uint32_t columns, const char *word)
{
    const char *best = NULL;
    unsigned best_distance = 4;

    if (strlen(word) > 23)
        return NULL;
    for (int c = 0; c < COL_ALL; c++) {
        unsigned d = distance(word, names[c]);
        if ((columns >> c & 1u) && d < best_distance && d < strlen(names[c])) {
            best_distance = d;
            best = names[c];
        }
    }
    return best;
}

const char *lm_regcsv_col_nearest(const char *word)
{
    return nearest((UINT32_C(1) << COL_COUNT) - 1, word);
}

enum regcsv_col lm_regcsv_col_named(const char *word)
{
    int c = 0;

    while (c < COL_COUNT && !lm_word_is(word, names[c]))
        c++;
    return (enum regcsv_col) c;
}

static void unknown(struct regcsv *r, unsigned field, const char *word)
{
    char mend[LM_PROBLEM_TEXT_MAX];
    const char *near = nearest(r->kind->columns, word);
    size_t used = 0;

    if (r->hooks->map) {
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, field,
            "say in the mapping, under [columns], which of ours it is, or that it is = ignore",
            "neither the mapping nor we know a column %.60s", word);
        return;
    }
    if (near)
        used = (size_t) snprintf(mend, sizeof mend, "did you mean %s? ", near);
    used += (size_t) snprintf(mend + used, sizeof mend - used, "the columns are");
    for (int c = 0, n = 0; c < COL_ALL && used < sizeof mend; c++)
        if (takes(r, c))
            used += (size_t) snprintf(
                mend + used, sizeof mend - used, "%s%s", n++ ? ", " : " ", names[c]);
    lm_regcsv_bad(r, LM_EINPUT, r->row_line, field, mend, "unknown column name %.60s", word);
}

static void take_name(struct regcsv *r, unsigned field)
{
    const char *word = r->raw[field - 1].s;
    int mapped = r->hooks->map ? lm_regcsv_map_column(r, word) : -1;
    int c = mapped >= 0 ? mapped : 0;

    r->col_of[field - 1] = COL_IGNORED;
    if (mapped == COL_IGNORED)
        return;
    while (mapped < 0 && c < COL_ALL && !(takes(r, c) && lm_word_is(word, names[c])))
        c++;
    if (!word[0]) {
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, field,
            "name the column, or delete it when it is empty", "this column has no name");
    } else if (c == COL_ALL) {
        unknown(r, field, word);
    } else if (r->place[c]) {
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, field,
            r->hooks->map ? "say in the mapping that one of the two is = ignore"
                          : "delete or rename one of the two",
            "the column %s is there twice, first as column %u", names[c], r->place[c]);
    } else {
        r->place[c] = (uint8_t) field;
        r->col_of[field - 1] = (uint8_t) c;
        if (r->hooks->map)
            lm_text_copy(r->their[c], sizeof r->their[c], word, strlen(word));
    }
}

void lm_regcsv_header(struct regcsv *r)
{
    unsigned long before = r->problems;

    r->have_header = true;
    r->n_cols = r->n_fields;
    for (unsigned i = 0; i < r->n_fields && i < REGCSV_FIELDS; i++) {
        if (lm_text_clean(r->raw[i].s, r->raw[i].n))
            take_name(r, i + 1);
        else
            lm_regcsv_bad(r, LM_EINPUT, r->row_line, i + 1, "save the file as CSV in UTF-8",
                "the column name is not clean UTF-8 text");
    }
    if (r->n_fields > REGCSV_FIELDS)
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, REGCSV_FIELDS + 1, "delete the columns not needed",
            "%u columns, more than there are names for", r->n_fields);
    if (r->problems == before && r->hooks->map)
        lm_regcsv_map_header(r);
    r->sheet = r->bom && r->place[COL_EID_TEXT] && !r->hooks->map;
    if (r->problems == before)
        r->kind->header(r);
    r->stop = r->problems != before;
}
