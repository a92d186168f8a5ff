/* The register's lines: what each one says of who it is, and whether there is anything about it
 * that only the plain way understands. */
#include "cells.h"

#include <stdlib.h>

#include "lugmark/decode.h"
#include "lugmark/record.h"
#include "lugmark/time.h"

/* How the cells of a column are looked at. */
enum look {
    LOOK_KEY,
    LOOK_EID,
    LOOK_NUMBER,
    LOOK_MOB,
    LOOK_STATUS,
    LOOK_TEXT, /* any text that is short enough */
    LOOK_WORD, /* one of a few words: each new one stays in, so that the plain way judges it */
    LOOK_SEX,  /* like a word, together with `castrated` */
    LOOK_DATE,
    LOOK_AGAIN, /* eid_text: the code once more */
    LOOK_RARE,  /* whoever has something here stays in */
    LOOK_NEVER  /* something here: the whole file is for the plain way */
};

static const struct {
    const char *name;
    enum look look;
} columns[] = {
    {"animal", LOOK_KEY},
    {"species", LOOK_TEXT},
    {"breed", LOOK_TEXT},
    {"sex", LOOK_SEX},
    {"born", LOOK_DATE},
    {"dam", LOOK_TEXT},
    {"sire", LOOK_TEXT},
    {"mob", LOOK_MOB},
    {"status", LOOK_STATUS},
    {"form", LOOK_WORD},
    {"place", LOOK_WORD},
    {"colour", LOOK_TEXT},
    {"official", LOOK_WORD},
    {"eid", LOOK_EID},
    {"visual", LOOK_NUMBER},
    {"applied", LOOK_DATE},
    {"removed", LOOK_RARE},
    {"castrated", LOOK_SEX},
    {"status_date", LOOK_DATE},
    {"why", LOOK_RARE},
    {"uid", LOOK_NEVER},
    {"eid_text", LOOK_AGAIN},
    {"replaces", LOOK_RARE},
};

#define COLUMNS (sizeof columns / sizeof columns[0])
#define WORDS 16u /* of a column that are remembered */

struct word {
    uint32_t hash;
    char text[28];
    uint8_t n, value;
};

struct scan {
    struct lm_sieve *s;
    const char *mob;
    size_t mob_len;
    unsigned n_columns;
    enum look look[SIEVE_COLUMNS];
    int key, eid, number; /* places, -1 for none */
    bool mob_seen;
    struct word words[SIEVE_COLUMNS][WORDS];
    struct sieve_cell cells[SIEVE_COLUMNS];
    bool foreign[1024]; /* countries that nobody has: their codes are in doubt */
};

/* --- the header line --- */

static bool take_column(struct scan *c, unsigned place)
{
    const struct sieve_cell *cell = &c->cells[place];
    for (unsigned i = 0; i < COLUMNS; i++) {
        if (strlen(columns[i].name) != cell->n || memcmp(columns[i].name, cell->s, cell->n) != 0)
            continue;
        c->look[place] = columns[i].look;
        if (columns[i].look == LOOK_KEY)
            c->key = (int) place;
        if (columns[i].look == LOOK_EID)
            c->eid = (int) place;
        if (columns[i].look == LOOK_NUMBER)
            c->number = (int) place;
        for (unsigned k = 0; k < place; k++)
            if (c->cells[k].n == cell->n && memcmp(c->cells[k].s, cell->s, cell->n) == 0)
                return false;
        return true;
    }
    return false;
}

static bool take_header(struct scan *c, const char *line, size_t len)
{
    if (!lm_sieve_plain(line, len))
        return false;
    c->n_columns = lm_sieve_split(line, len, c->cells, SIEVE_COLUMNS - 1);
    if (c->n_columns > SIEVE_COLUMNS - 1)
        return false;
    bool has_mob = false;
    for (unsigned i = 0; i < c->n_columns; i++) {
        if (!take_column(c, i))
            return false;
        has_mob = has_mob || c->look[i] == LOOK_MOB;
    }
    c->s->rows.named = c->key >= 0;
    if (c->mob_len > 0 && !has_mob)
        return false;
    return c->eid >= 0;
}

/* --- cells --- */

/* Hash of a number as lm_visual_fold_loose() leaves it; 0 when nothing is left. */
static uint32_t number_hash(const struct sieve_cell *cell)
{
    char text[LM_VISUAL_MAX + 1], loose[LM_VISUAL_MAX + 1 + SIEVE_SLACK];
    uint64_t w = lm_sieve_load(cell->s);
    size_t n = cell->n;
    if (n > 0 && n < 8) {
        uint64_t d = lm_sieve_head(w, n, '0');
        bool digits = ((d & EACH(UINT64_C(0xf0))) ^ EACH(UINT64_C(0x30))) == 0 &&
                      ((d + EACH(UINT64_C(6))) & EACH(UINT64_C(0xf0))) == EACH(UINT64_C(0x30));
        uint64_t other = lm_sieve_head(w, n, 1) ^ EACH(UINT64_C(0x30));
        size_t zeros = (size_t) __builtin_ctzll(other) / 8;
        if (digits) {
            zeros = zeros < n ? zeros : n - 1;
            n -= zeros;
            w = lm_sieve_head(w >> (8 * zeros), n, 0);
            return lm_sieve_mixed(lm_sieve_mix(n, w));
        }
    }
    memcpy(text, cell->s, n);
    text[n] = '\0';
    n = lm_visual_fold_loose(text, loose);
    return n > 0 ? lm_sieve_hash(loose, n) : 0;
}

/* A word that is no status is refused by the plain way, whatever we make of it. */
static uint8_t status_of(const struct sieve_cell *cell)
{
    char text[LM_NAME_MAX + 1];
    enum lm_status status = LM_LOST;
    if (cell->n > LM_NAME_MAX)
        return LM_LOST;
    memcpy(text, cell->s, cell->n);
    text[cell->n] = '\0';
    return lm_status_parse(text, &status) == LM_OK ? (uint8_t) status : LM_LOST;
}

/* A word of a column that was met before, with its value. A new one is kept for the next time. */
static bool known_word(
    struct scan *c, unsigned column, const struct sieve_cell *cell, uint8_t *value)
{
    struct word *w = c->words[column], *end = w + WORDS;
    uint32_t hash;
    if (cell->n >= sizeof w->text)
        return false;
    hash = lm_sieve_hash(cell->s, cell->n);
    for (; w < end && w->hash != 0; w++) {
        if (w->hash == hash && w->n == cell->n && memcmp(w->text, cell->s, cell->n) == 0) {
            *value = w->value;
            return true;
        }
    }
    *value = c->look[column] == LOOK_STATUS ? status_of(cell) : 0;
    if (w == end)
        return false;
    memcpy(w->text, cell->s, cell->n);
    w->hash = hash;
    w->n = (uint8_t) cell->n;
    w->value = *value;
    return false;
}

/* Sex and castrated contradict each other at times, so they are one word to us. */
static bool known_sex(struct scan *c, unsigned column)
{
    char both[28 + SIEVE_SLACK];
    size_t used = 0;
    uint8_t value;
    for (unsigned i = 0; i < c->n_columns; i++) {
        const struct sieve_cell *cell = &c->cells[i];
        if (c->look[i] != LOOK_SEX)
            continue;
        if (i < column)
            return true; /* judged at the first of the two */
        if (used + cell->n + 1 > 28)
            return false;
        memcpy(both + used, cell->s, cell->n);
        used += cell->n;
        both[used++] = '|';
    }
    return known_word(c, column, &(struct sieve_cell){both, used}, &value);
}

/* 999-000000012345, the same as the 15 digits. */
static bool same_again(const struct sieve_cell *again, const struct sieve_cell *eid)
{
    return again->n == 16 && eid->n == 15 && memcmp(again->s, eid->s, 3) == 0 &&
           again->s[3] == '-' && memcmp(again->s + 4, eid->s + 3, 12) == 0;
}

/* What one cell says about whether its row stays. @return false: this file is not for us. */
static bool look_at(struct scan *c, unsigned i, uint8_t *flags)
{
    const struct sieve_cell *cell = &c->cells[i];
    struct lm_date date;
    uint8_t value = 0;
    bool plain = true;
    switch (c->look[i]) {
    case LOOK_KEY:
    case LOOK_EID:
    case LOOK_NUMBER:
        return true; /* by itself */
    case LOOK_MOB:
        if (c->mob_len > 0 && (cell->n != c->mob_len || memcmp(cell->s, c->mob, cell->n) != 0))
            *flags &= (uint8_t) ~ROW_EXPECTED;
        else if (!c->mob_seen)
            plain = false; /* one stays, so that the mob is there */
        c->mob_seen = c->mob_seen || !plain;
        if (cell->n > LM_NAME_MAX)
            return false;
        break;
    case LOOK_STATUS:
        plain = cell->n == 0 || known_word(c, i, cell, &value);
        if (value != LM_ON_FARM)
            *flags &= (uint8_t) ~ROW_EXPECTED;
        break;
    case LOOK_TEXT:
        return cell->n <= LM_NAME_MAX;
    case LOOK_WORD:
        plain = cell->n == 0 || known_word(c, i, cell, &value);
        break;
    case LOOK_SEX:
        plain = known_sex(c, i);
        break;
    case LOOK_DATE:
        return cell->n == 0 || lm_date_parse(cell->s, cell->n, &date) == LM_OK;
    case LOOK_AGAIN:
        plain = cell->n == 0 || same_again(cell, &c->cells[c->eid]);
        if (cell->n > 0 && c->cells[c->eid].n == 0)
            return false;
        break;
    case LOOK_RARE:
        plain = cell->n == 0;
        break;
    case LOOK_NEVER:
        return cell->n == 0;
    }
    if (!plain)
        *flags |= ROW_STAYS;
    return true;
}

/* --- rows --- */

static bool take_code(struct scan *c, uint32_t row, uint8_t *flags)
{
    const struct sieve_cell *cell = &c->cells[c->eid];
    struct lm_eid eid;
    c->s->rows.code[row] = 0;
    if (cell->n == 0) {
        *flags |= ROW_STAYS;
        return c->key >= 0;
    }
    if (lm_decode_digits15(cell->s, cell->n, &eid) != LM_OK)
        return false;
    c->s->rows.code[row] = lm_eid_key(eid);
    if (c->foreign[lm_eid_country(eid)])
        *flags |= ROW_STAYS;
    return true;
}

/* Where there is no column of names, the number is the name; the plain way has more ways out. */
static bool take_names(struct scan *c, uint32_t row)
{
    static const char nothing[SIEVE_SLACK];
    const struct sieve_cell none = {nothing, 0};
    const struct sieve_cell *key = c->key >= 0 ? &c->cells[c->key] : &none;
    const struct sieve_cell *number = c->number >= 0 ? &c->cells[c->number] : &none;
    if (key->n > LM_NAME_MAX || number->n > LM_VISUAL_MAX)
        return false;
    if (c->key >= 0 ? key->n == 0 : c->number >= 0 && (number->n == 0 || number->n >= 15))
        return false;
    c->s->rows.key[row] =
        c->key >= 0 ? lm_sieve_hash(key->s, key->n) : lm_sieve_hash(number->s, number->n);
    c->s->rows.number[row] = number->n > 0 ? number_hash(number) : 0;
    return true;
}

static bool take_row(struct scan *c, const char *line, size_t len, uint64_t at)
{
    struct sieve_rows *rows = &c->s->rows;
    uint8_t flags = ROW_EXPECTED;
    if (rows->n == rows->room || !lm_sieve_plain(line, len) ||
        lm_sieve_split(line, len, c->cells, c->n_columns) != c->n_columns)
        return false;
    for (unsigned i = 0; i < c->n_columns; i++)
        if (lm_sieve_padded(&c->cells[i]) || !look_at(c, i, &flags))
            return false;
    uint32_t row = rows->n++;
    if (!take_code(c, row, &flags) || !take_names(c, row))
        return false;
    if (row == 0)
        flags |= ROW_STAYS; /* so that there is an animal */
    rows->flags[row] = flags;
    rows->at[row] = (uint32_t) at;
    return true;
}

static bool make_rows(struct sieve_rows *rows, uint64_t file_size)
{
    /* A row has 17 bytes at least; what is not used is never touched, and takes no memory. */
    rows->room = (uint32_t) (file_size / 16 + 2);
    rows->code = malloc(rows->room * sizeof *rows->code);
    rows->at = malloc(rows->room * sizeof *rows->at);
    rows->key = malloc(rows->room * sizeof *rows->key);
    rows->number = malloc(rows->room * sizeof *rows->number);
    rows->flags = malloc(rows->room);
    return rows->code != NULL && rows->at != NULL && rows->key != NULL && rows->number != NULL &&
           rows->flags != NULL;
}

static bool scan_lines(struct scan *c)
{
    struct sieve_feed *f = &c->s->reg;
    const char *from, *to;
    bool have_header = false;
    while (lm_sieve_feed_next(f, &from, &to)) {
        for (const char *at = from, *next; at < to; at = next) {
            size_t len;
            next = lm_sieve_line(at, to, &len);
            if (len == 0)
                continue;
            if (have_header ? !take_row(c, at, len, f->base + (uint64_t) (at - from))
                            : !take_header(c, at, len))
                return false;
            if (!have_header)
                c->s->rows.header = f->base + (uint64_t) (at - from);
            have_header = true;
        }
    }
    return f->at_end && c->s->rows.n > 0;
}

bool lm_sieve_rows(struct lm_sieve *s, const char *mob)
{
    struct scan *c = calloc(1, sizeof *c);
    if (c == NULL)
        return false;
    c->s = s;
    c->mob = mob != NULL ? mob : "";
    c->mob_len = strlen(c->mob);
    c->mob_seen = c->mob_len == 0;
    c->key = c->eid = c->number = -1;
    for (unsigned i = 0; i < 1024; i++) {
        enum lm_country_class class = lm_country_class(i);
        c->foreign[i] = class == LM_COUNTRY_UNASSIGNED || class == LM_COUNTRY_INVALID;
    }
    bool good = make_rows(&s->rows, s->reg.size) && scan_lines(c);
    free(c);
    return good;
}
