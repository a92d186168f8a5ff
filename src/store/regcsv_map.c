/* A mapping at work: columns, words, constants and dates of a file of another layout. */
#include "regcsv_map.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct regcsv_pair *pairs(const struct regcsv_list *list)
{
    return list->items;
}

int lm_regcsv_map_column(const struct regcsv *r, const char *word)
{
    const struct lm_regcsv_map *m = r->hooks->map;

    for (uint32_t i = 0; i < m->columns.n; i++)
        if (lm_word_is(word, pairs(&m->columns)[i].their))
            return pairs(&m->columns)[i].col;
    return m->others_ignored && lm_regcsv_col_named(word) == COL_COUNT ? (int) COL_IGNORED : -1;
}

void lm_regcsv_map_header(struct regcsv *r)
{
    const struct lm_regcsv_map *m = r->hooks->map;

    for (uint32_t i = 0; i < m->columns.n; i++) {
        const struct regcsv_pair *p = &pairs(&m->columns)[i];
        if (p->col != COL_IGNORED && (!r->place[p->col] || !lm_word_is(r->their[p->col], p->their)))
            lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
                "correct the name in the mapping, or take that line out",
                "%s, line %ld, names a column %.60s that is not here", m->name, p->line, p->their);
    }
    for (int c = 0; c < COL_COUNT; c++)
        if (m->constant_line[c] && r->place[c])
            lm_regcsv_bad(r, LM_EINPUT, r->row_line, r->place[c],
                "take the constant out, or say that the column is = ignore",
                "this column says %s of each row, and so does the constant in %s, line %ld",
                lm_regcsv_col_name((enum regcsv_col) c), m->name, m->constant_line[c]);
}

void lm_regcsv_map_cell(struct regcsv *r, enum regcsv_col col)
{
    const struct lm_regcsv_map *m = r->hooks->map;
    struct regcsv_cell *c = &r->cell[col];

    for (uint32_t i = 0; i < m->words.n; i++) {
        const struct regcsv_pair *p = &pairs(&m->words)[i];
        if (p->col == col && lm_word_is(c->s, p->their)) {
            *c = (struct regcsv_cell){p->ours, strlen(p->ours)};
            return;
        }
    }
}

static bool of_device(int col)
{
    return col == COL_FORM || col == COL_PLACE || col == COL_COLOUR || col == COL_OFFICIAL ||
           col == COL_APPLIED || col == COL_REMOVED || col == COL_WHY;
}

/* What is the same of all devices makes none of a row that has neither code nor number. */
void lm_regcsv_map_row(struct regcsv *r)
{
    const struct lm_regcsv_map *m = r->hooks->map;
    bool device = r->cell[COL_EID].n || r->cell[COL_EID_TEXT].n || r->cell[COL_VISUAL].n ||
                  r->cell[COL_UID].n;

    for (int c = 0; c < COL_COUNT; c++)
        if (m->constant_line[c])
            r->cell[c] = device || !of_device(c)
                             ? (struct regcsv_cell){m->constant[c], strlen(m->constant[c])}
                             : (struct regcsv_cell){"", 0};
}

/* Up to three numbers with one and the same of / . - between. @return How many, 0 for other text.
 */
static unsigned take_numbers(const char *s, size_t n, int value[3], unsigned digits[3])
{
    unsigned k = 0;
    char separator = '\0';

    value[0] = value[1] = value[2] = 0;
    digits[0] = digits[1] = digits[2] = 0;
    for (size_t i = 0; i < n; i++) {
        if (s[i] >= '0' && s[i] <= '9' && digits[k] < 4) {
            value[k] = value[k] * 10 + (s[i] - '0');
            digits[k]++;
        } else if (s[i] && strchr("/.-", s[i]) && digits[k] && k < 2 &&
                   (!separator || separator == s[i])) {
            separator = s[i];
            k++;
        } else {
            return 0;
        }
    }
    return digits[k] ? k + 1 : 0;
}

enum lm_err lm_regcsv_order_date(
    enum regcsv_order order, const char *s, size_t n, struct lm_date *out)
{
    static const unsigned day_at[] = {0, 0, 1, 2}, month_at[] = {0, 1, 0, 1},
                          year_at[] = {0, 2, 2, 0};
    int value[3];
    unsigned digits[3], year, month;
    unsigned count = order == ORDER_NONE ? 0 : take_numbers(s, n, value, digits);
    char iso[LM_DATE_TEXT_SIZE];

    if (count < 2)
        return LM_EFRAME;
    year = count == 3 ? year_at[order] : (order == ORDER_YMD ? 0 : 1);
    month = count == 3 ? month_at[order] : 1 - year;
    for (unsigned k = 0; k < count; k++)
        if (k == year ? digits[k] != 4 : digits[k] > 2)
            return LM_EFRAME;
    if (count == 3)
        snprintf(iso, sizeof iso, "%04d-%02d-%02d", value[year], value[month] % 100,
            value[day_at[order]] % 100);
    else
        snprintf(iso, sizeof iso, "%04d-%02d", value[year], value[month] % 100);
    return lm_date_parse(iso, strlen(iso), out);
}

enum lm_err lm_regcsv_map_date(
    const struct regcsv *r, const struct regcsv_cell *c, struct lm_date *out)
{
    const struct lm_regcsv_map *m = r->hooks->map;

    return m ? lm_regcsv_order_date(m->order, c->s, c->n, out) : LM_EFRAME;
}

const char *lm_regcsv_map_date_mend(const struct regcsv *r)
{
    const struct lm_regcsv_map *m = r->hooks->map;

    if (m && m->order == ORDER_DMY)
        return "write day, month, year with four digits (28/03/2026), or 2026-03-28";
    if (m && m->order == ORDER_MDY)
        return "write month, day, year with four digits (03/28/2026), or 2026-03-28";
    if (m && m->order == ORDER_YMD)
        return "write year with four digits, month, day (2026/03/28)";
    return m ? "write 2026-03-28, 2026-03 or 2026, or say dates = dmy, mdy or ymd under [file] in "
               "the mapping: which number is the day is never guessed"
             : "write 2026-03-28, 2026-03 or 2026; dates in another order need --mapping";
}

void lm_regcsv_map_free(struct lm_regcsv_map *map)
{
    if (!map)
        return;
    free(map->columns.items);
    free(map->words.items);
    free(map);
}
