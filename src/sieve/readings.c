/* The readings: which are a plain code of the register, once or more often, and which are odd. */
#include "cells.h"

#include <stdlib.h>

#include "lugmark/decode.h"

enum { TIME, LANE, EID };

#define AT_ONCE 128u /* readings looked up together, so that their slots are fetched meanwhile */

struct scan {
    struct sieve_readings *r;
    struct sieve_codes *codes;
    bool table; /* CSV; else a code a line */
    unsigned n_columns;
    int place[3];
    struct sieve_cell cells[4];
    char minute[17]; /* the time of the row before, up to the seconds */
    int64_t minute_ms;
    uint64_t code[AT_ONCE];
    unsigned waiting;
};

/* --- the first line --- */

static bool take_header(struct scan *c, const char *line, size_t len)
{
    static const char *const names[] = {"time", "lane", "eid"};
    if (len == 15 && lm_decode_digits15(line, len, &(struct lm_eid){0}) == LM_OK)
        return true; /* one code a line, and this is the first */
    c->table = true;
    c->n_columns = lm_sieve_split(line, len, c->cells, 3);
    for (unsigned i = 0; i < c->n_columns && c->n_columns <= 3; i++) {
        unsigned k = 0;
        while (k < 3 && (strlen(names[k]) != c->cells[i].n ||
                            memcmp(names[k], c->cells[i].s, c->cells[i].n) != 0))
            k++;
        if (k == 3 || c->place[k] >= 0)
            return false;
        c->place[k] = (int) i;
    }
    return c->n_columns <= 3 && c->place[EID] >= 0;
}

static bool make_room(struct scan *c, uint64_t file_size)
{
    struct sieve_readings *r = c->r;
    r->room = (uint32_t) (file_size / 2 + 2); /* "x" and a line end; untouched is free */
    if (r->room >= READING_ODD)
        return false;
    r->what = malloc(r->room * sizeof *r->what);
    r->stays = calloc(r->room, 1);
    if (c->place[TIME] >= 0)
        r->after = malloc(r->room * sizeof *r->after);
    if (c->place[LANE] >= 0)
        r->lane = malloc(r->room);
    return r->what != NULL && r->stays != NULL && (c->place[TIME] < 0 || r->after != NULL) &&
           (c->place[LANE] < 0 || r->lane != NULL);
}

/* --- time and lane --- */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Seconds and their parts behind a minute that is known: 17.250Z, or 17Z. @return false for others.
 */
static bool take_seconds(const struct scan *c, const char *s, bool parts, int64_t *t)
{
    *t = c->minute_ms + (s[17] - '0') * 10000 + (s[18] - '0') * 1000;
    if (!parts)
        return true;
    if (!is_digit(s[20]) || !is_digit(s[21]) || !is_digit(s[22]))
        return false;
    *t += (s[20] - '0') * 100 + (s[21] - '0') * 10 + (s[22] - '0');
    return true;
}

/* Any time; the minute of a plain one is kept for the rows that follow. */
static bool take_whole_time(struct scan *c, const struct sieve_cell *cell, bool plain, int64_t *t)
{
    if (cell->n == 0 || lm_time_parse(cell->s, cell->n, t) != LM_OK)
        return false;
    if (plain && cell->s[17] < '6') {
        memcpy(c->minute, cell->s, 17);
        int64_t in_day = *t % 60000;
        c->minute_ms = *t - (in_day < 0 ? in_day + 60000 : in_day);
    }
    return true;
}

/* Most rows are of the same minute as the row before. */
static bool take_time(struct scan *c, const struct sieve_cell *cell)
{
    const char *s = cell->s;
    int64_t t;
    bool whole = cell->n == 20 && s[19] == 'Z';
    bool parts = cell->n == 24 && s[19] == '.' && s[23] == 'Z';
    bool known = (whole || parts) && memcmp(s, c->minute, 17) == 0 && s[17] >= '0' &&
                 s[17] <= '5' && is_digit(s[18]);
    if (!(known ? take_seconds(c, s, parts, &t) : take_whole_time(c, cell, whole || parts, &t)))
        return false;
    if (c->r->n == 0)
        c->r->first = t;
    int64_t after = t - c->r->first;
    if (after < 0 || after > UINT32_MAX)
        return false;
    c->r->after[c->r->n] = (uint32_t) after;
    return true;
}

static bool take_lane(struct scan *c, const struct sieve_cell *cell)
{
    struct sieve_readings *r = c->r;
    unsigned i = r->n > 0 ? r->lane[r->n - 1] : 0;
    if (cell->n > LM_NAME_MAX || !lm_sieve_plain(cell->s, cell->n))
        return false;
    if (i < r->n_lanes && strlen(r->lanes[i]) == cell->n &&
        memcmp(r->lanes[i], cell->s, cell->n) == 0) {
        r->lane[r->n] = (uint8_t) i;
        return true;
    }
    for (i = 0; i < r->n_lanes; i++)
        if (strlen(r->lanes[i]) == cell->n && memcmp(r->lanes[i], cell->s, cell->n) == 0)
            break;
    if (i == SIEVE_LANES)
        return false;
    if (i == r->n_lanes) {
        memcpy(r->lanes[i], cell->s, cell->n);
        r->n_lanes++;
        r->stays[r->n] = 1; /* lanes keep the order in which they came */
    }
    r->lane[r->n] = (uint8_t) i;
    return true;
}

/* --- codes --- */

static struct sieve_odd *add_odd(struct sieve_readings *r)
{
    if (r->n_odd == r->room_odd) {
        uint32_t room = r->room_odd > 0 ? r->room_odd * 2 : 1024;
        struct sieve_odd *odd = realloc(r->odd, room * sizeof *odd);
        if (odd == NULL)
            return NULL;
        r->odd = odd;
        r->room_odd = room;
    }
    return &r->odd[r->n_odd++];
}

/* Keep what came. @return its offset, or 0 for "" and when out of memory. */
static uint32_t keep_text(struct sieve_readings *r, const char *text)
{
    size_t len = strlen(text) + 1;
    if (len == 1)
        return 0;
    if (r->text_used + len + 1 > r->text_room) {
        size_t room = (r->text_room + len) * 2 + 4096;
        char *bigger = room < UINT32_MAX ? realloc(r->text, room) : NULL;
        if (bigger == NULL)
            return 0;
        r->text = bigger;
        r->text_room = room;
        if (r->text_used == 0)
            r->text[r->text_used++] = '\0';
    }
    memcpy(r->text + r->text_used, text, len);
    r->text_used += len;
    return (uint32_t) (r->text_used - len);
}

/* A text that is no 15 digits: another way to write a code, or damaged. */
static bool take_odd(struct scan *c, const struct sieve_cell *cell)
{
    struct lm_event ev = {0};
    struct sieve_odd *odd = add_odd(c->r);
    if (odd == NULL)
        return false;
    lm_event_reading(&ev, cell->s, cell->n);
    *odd = (struct sieve_odd){.bits = ev.eid.bits,
        .known = (uint8_t) ev.eid.known,
        .doubt = (uint8_t) ev.doubt,
        .cut = ev.cut,
        .text = keep_text(c->r, ev.text)};
    odd->slot = ev.eid.known && ev.eid.known != LM_EID_UID
                    ? lm_sieve_find(c->codes, lm_eid_key(ev.eid))
                    : SIEVE_NONE;
    if (odd->slot != SIEVE_NONE)
        c->codes->slots[odd->slot] |= SLOT_MORE;
    return ev.text[0] == '\0' || odd->text != 0;
}

static bool take_stranger(struct sieve_readings *r, uint32_t i, uint64_t code)
{
    struct sieve_odd *odd = add_odd(r);
    if (odd == NULL)
        return false;
    struct lm_eid eid = lm_eid_from_key(code);
    *odd = (struct sieve_odd){.bits = eid.bits, .known = (uint8_t) eid.known, .slot = SIEVE_NONE};
    r->what[i] = READING_ODD | (r->n_odd - 1);
    return true;
}

/* Look up the codes that wait, in their order. */
static bool look_up(struct scan *c)
{
    uint32_t first = c->r->n - c->waiting;
    for (unsigned k = 0; k < c->waiting; k++) {
        uint32_t slot = c->code[k] != 0 ? lm_sieve_find(c->codes, c->code[k]) : SIEVE_NONE;
        if (c->code[k] == 0)
            continue; /* an odd one, done already */
        if (slot == SIEVE_NONE) {
            if (!take_stranger(c->r, first + k, c->code[k]))
                return false;
            continue;
        }
        uint64_t *s = &c->codes->slots[slot];
        *s |= *s & SLOT_ONCE ? SLOT_MORE : SLOT_ONCE;
        c->r->what[first + k] = slot;
    }
    c->waiting = 0;
    return c->r->n_odd < c->r->n / 4 + 4096;
}

static bool take_eid(struct scan *c, const struct sieve_cell *cell)
{
    struct lm_eid eid;
    uint64_t code = 0;
    if (lm_decode_digits15(cell->s, cell->n, &eid) == LM_OK) {
        code = lm_eid_key(eid);
        __builtin_prefetch(&c->codes->slots[lm_sieve_place(code, c->codes->size)], 1);
    } else {
        c->r->what[c->r->n] = READING_ODD | c->r->n_odd;
        if (!take_odd(c, cell))
            return false;
    }
    c->code[c->waiting++] = code;
    c->r->n++;
    return c->waiting < AT_ONCE || look_up(c);
}

/* --- rows --- */

static struct sieve_cell trimmed(const char *s, size_t n)
{
    while (n > 0 && (s[0] == ' ' || s[0] == '\t'))
        s++, n--;
    while (n > 0 && (s[n - 1] == ' ' || s[n - 1] == '\t'))
        n--;
    return (struct sieve_cell){s, n};
}

static bool take_row(struct scan *c, const char *line, size_t len)
{
    struct sieve_cell *cells = c->cells;
    if (!c->table) {
        cells[0] = trimmed(line, len);
        return cells[0].n == 0 || line[0] == '#' || take_eid(c, &cells[0]);
    }
    if (c->n_columns == 1 && len == 15) { /* nearly always */
        cells[0] = (struct sieve_cell){line, len};
        if (line[0] >= '0' && line[0] <= '9' && memchr(line, ',', len) == NULL)
            return lm_sieve_plain(line, len) && take_eid(c, &cells[0]);
    }
    if (line[0] == '#' || !lm_sieve_plain(line, len) ||
        lm_sieve_split(line, len, cells, c->n_columns) != c->n_columns)
        return line[0] == '#';
    for (unsigned i = 0; i < c->n_columns; i++)
        if (lm_sieve_padded(&cells[i]))
            return false;
    if (cells[c->place[EID]].n == 0)
        return false;
    if (c->place[TIME] >= 0 && !take_time(c, &cells[c->place[TIME]]))
        return false;
    if (c->place[LANE] >= 0 && !take_lane(c, &cells[c->place[LANE]]))
        return false;
    return take_eid(c, &cells[c->place[EID]]);
}

static bool scan_lines(struct scan *c, struct sieve_feed *f)
{
    const char *from, *to;
    bool begun = false;
    while (lm_sieve_feed_next(f, &from, &to)) {
        for (const char *at = from, *next; at < to; at = next) {
            size_t len;
            next = lm_sieve_line(at, to, &len);
            if (len == 0)
                continue;
            if (!begun && (!take_header(c, at, len) || !make_room(c, f->size)))
                return false;
            bool header = !begun && c->table;
            begun = true;
            if (!header && (c->r->n == c->r->room || !take_row(c, at, len)))
                return false;
        }
    }
    return f->at_end && begun && look_up(c);
}

bool lm_sieve_readings(struct lm_sieve *s)
{
    struct scan *c = calloc(1, sizeof *c);
    if (c == NULL)
        return false;
    c->r = &s->readings;
    c->codes = &s->codes;
    c->place[TIME] = c->place[LANE] = c->place[EID] = -1;
    bool good = scan_lines(c, &s->in);
    free(c);
    return good;
}
