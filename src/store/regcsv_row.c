/* One row of a register in CSV: checked, then staged as a device of an animal. */
#include "regcsv_priv.h"

#include <stdio.h>
#include <string.h>

size_t lm_regcsv_limit(enum regcsv_col col)
{
    if (col == COL_VISUAL)
        return LM_VISUAL_MAX;
    return col == COL_UID ? sizeof((struct lm_device *) 0)->uid - 1 : LM_NAME_MAX;
}

bool lm_regcsv_is_text(enum regcsv_col col)
{
    switch ((int) col) {
    case COL_ANIMAL:
    case COL_SPECIES:
    case COL_BREED:
    case COL_DAM:
    case COL_SIRE:
    case COL_MOB:
    case COL_COLOUR:
    case COL_VISUAL:
    case COL_WHY:
    case COL_UID:
    case COL_STRIP:
        return true;
    default:
        return false;
    }
}

static void check_clean(struct regcsv *r, enum regcsv_col col)
{
    const struct regcsv_cell *c = &r->cell[col];

    if (lm_text_clean(c->s, c->n))
        return;
    if (memchr(c->s, '\0', c->n))
        lm_regcsv_bad_cell(r, LM_EINPUT, col, "save the file as CSV in UTF-8", "holds a NUL byte");
    else if (memchr(c->s, '\n', c->n) || memchr(c->s, '\r', c->n))
        lm_regcsv_bad_cell(r, LM_EINPUT, col,
            "write it on one line; if that is not meant, look for a quote that is not closed",
            "holds a line break");
    else
        lm_regcsv_bad_cell(r, LM_EINPUT, col,
            "save the file as CSV in UTF-8, and take out control characters",
            "not clean UTF-8 text");
}

/* Blanks inside quotes reach us; libcsv took those outside. */
static void trim(struct regcsv_cell *c)
{
    while (c->n && *c->s == ' ') {
        c->s++;
        c->n--;
    }
    if (c->n && c->s[c->n - 1] == ' ') {
        while (c->n && c->s[c->n - 1] == ' ')
            c->n--;
        /* The cell lies in the reader's own row buffer. */
        ((char *) (uintptr_t) c->s)[c->n] = '\0';
    }
}

/* What the export for spreadsheets put in front of a formula. */
static void take_guard_off(struct regcsv_cell *c, enum regcsv_col col)
{
    if (!lm_regcsv_is_text(col) || col == COL_UID || !lm_text_is_formula(c->s))
        return;
    c->s++;
    c->n--;
}

void lm_regcsv_take_cells(struct regcsv *r)
{
    for (unsigned i = 0; i < r->n_cols; i++) {
        enum regcsv_col col = (enum regcsv_col) r->col_of[i];
        struct regcsv_cell *c;

        if (col == COL_IGNORED)
            continue;
        c = &r->cell[col];
        *c = r->raw[i];
        if (c->n == 0)
            continue;
        trim(c);
        if (r->hooks->map)
            lm_regcsv_map_cell(r, col);
        else if (r->sheet && c->s[0] == '\'')
            take_guard_off(c, col);
        if (c->n > REGCSV_FIELD_MAX)
            lm_regcsv_bad_cell(
                r, LM_EINPUT, col, "shorten it", "longer than %u bytes", REGCSV_FIELD_MAX);
        else if (lm_regcsv_is_text(col) && c->n > lm_regcsv_limit(col))
            lm_regcsv_bad_cell(
                r, LM_EINPUT, col, "shorten it", "longer than %zu bytes", lm_regcsv_limit(col));
        else if (r->row_special)
            check_clean(r, col);
    }
    if (r->hooks->map)
        lm_regcsv_map_row(r);
}

static regcsv_str take_word(struct regcsv *r, enum regcsv_col col)
{
    const struct regcsv_cell *c = &r->cell[col];
    struct regcsv_stage *s = &r->stage;

    if (c->n == 0)
        return 0;
    if (lm_stage_len(s, r->last[col]) != c->n ||
        memcmp(lm_stage_str(s, r->last[col]), c->s, c->n) != 0) {
        r->last[col] = lm_stage_word(s, c->s, c->n);
        if (!r->last[col])
            r->err = LM_ENOMEM;
    }
    return r->last[col];
}

static regcsv_str take_text(struct regcsv *r, enum regcsv_col col)
{
    const struct regcsv_cell *c = &r->cell[col];
    regcsv_str str;

    if (c->n == 0)
        return 0;
    str = lm_stage_text(&r->stage, c->s, c->n);
    if (!str)
        r->err = LM_ENOMEM;
    return str;
}

static regcsv_str take_uid(struct regcsv *r)
{
    char upper[sizeof((struct lm_device *) 0)->uid];
    const struct regcsv_cell *c = &r->cell[COL_UID];
    regcsv_str str;

    if (c->n == 0)
        return 0;
    if (strspn(c->s, "0123456789abcdefABCDEF") != c->n) {
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_UID, "write the chip's UID in hex digits only",
            "not hex digits: %.40s", c->s);
        return 0;
    }
    for (size_t i = 0; i < c->n; i++)
        upper[i] = (char) (c->s[i] >= 'a' ? c->s[i] - 'a' + 'A' : c->s[i]);
    str = lm_stage_word(&r->stage, upper, c->n);
    if (!str)
        r->err = LM_ENOMEM;
    return str;
}

/* `unknown` stands for a removal whose day nobody noted. */
static struct lm_date take_removed(struct regcsv *r, bool *gone)
{
    struct lm_date none = {0};

    *gone = r->cell[COL_REMOVED].n > 0;
    if (*gone && lm_word_is(r->cell[COL_REMOVED].s, "unknown"))
        return none;
    return lm_regcsv_date(r, COL_REMOVED);
}

/* Which of the animal's devices, from 1 in the order of its rows, this one was put on for. */
static uint8_t take_replaces(struct regcsv *r)
{
    const struct regcsv_cell *c = &r->cell[COL_REPLACES];
    unsigned n = 0;

    if (c->n == 0)
        return 0;
    for (size_t i = 0; i < c->n && n <= LM_DEVICES_MAX; i++)
        n = c->s[i] >= '0' && c->s[i] <= '9' ? n * 10 + (unsigned) (c->s[i] - '0') : 1000;
    if (n >= 1 && n <= LM_DEVICES_MAX)
        return (uint8_t) n;
    lm_regcsv_bad_cell(r, LM_EINPUT, COL_REPLACES,
        "write which of the animal's rows it stands for, 1 for its first, or leave it empty",
        "no row of the animal: %.40s", c->s);
    return 0;
}

static void check_order(struct regcsv *r, struct lm_date applied, struct lm_date removed)
{
    if (r->hooks->today.year && applied.year && removed.year &&
        lm_date_days(removed, 1) < lm_date_days(applied, 0))
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_REMOVED, "correct one of the two dates",
            "%.40s, before the device was applied, %.40s", r->cell[COL_REMOVED].s,
            r->cell[COL_APPLIED].s);
}

/* @return Whether the row describes a device at all. */
static bool take_device(
    struct regcsv *r, struct staged_device *d, struct staged_rare *rare, bool *sure)
{
    struct lm_eid eid = lm_regcsv_code(r, sure);
    bool gone;

    memset(d, 0, sizeof *d);
    d->bits = eid.bits;
    d->known = eid.known;
    d->form = lm_regcsv_word(r, COL_FORM);
    d->place = lm_regcsv_word(r, COL_PLACE);
    d->applied = lm_regcsv_date(r, COL_APPLIED);
    rare->removed = take_removed(r, &gone);
    check_order(r, d->applied, rare->removed);
    rare->uid = take_uid(r);
    rare->replaces = take_replaces(r);
    d->flags = (uint8_t) ((lm_regcsv_yes(r, COL_OFFICIAL) ? DEVICE_OFFICIAL : 0) |
                          (gone ? DEVICE_GONE : 0));
    /* `official` alone is no device: exports fill that column for every animal. */
    return r->cell[COL_EID].n || r->cell[COL_EID_TEXT].n || r->cell[COL_VISUAL].n || rare->uid ||
           r->cell[COL_FORM].n || r->cell[COL_PLACE].n || r->cell[COL_COLOUR].n ||
           d->applied.year || gone || r->cell[COL_WHY].n;
}

/* What a row says of its animal. */
struct said {
    struct lm_date born, status_date;
    uint8_t sex, status, given;
};

static void take_said(struct regcsv *r, struct said *said)
{
    uint8_t sex = lm_regcsv_word(r, COL_SEX);
    bool castrated = lm_regcsv_yes(r, COL_CASTRATED);

    said->born = lm_regcsv_date(r, COL_BORN);
    said->status_date = lm_regcsv_date(r, COL_STATUS_DATE);
    if (r->hooks->today.year && said->born.year && said->status_date.year &&
        lm_date_days(said->status_date, 1) < lm_date_days(said->born, 0))
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_STATUS_DATE, "correct one of the two dates",
            "%.40s, before its birth, %.40s", r->cell[COL_STATUS_DATE].s, r->cell[COL_BORN].s);
    said->status = lm_regcsv_word(r, COL_STATUS);
    said->sex = sex & 15;
    said->given = (uint8_t) ((r->cell[COL_SEX].n && said->sex ? GIVEN_SEX : 0) |
                             (r->cell[COL_STATUS].n ? GIVEN_STATUS : 0) |
                             (r->cell[COL_CASTRATED].n ? GIVEN_CASTRATED : 0) |
                             (castrated ? IS_CASTRATED : 0));
    if (!(sex & 16))
        return;
    if ((said->given & GIVEN_CASTRATED) && !castrated)
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_CASTRATED, "correct one of the two",
            "says no, but sex says %.40s", r->cell[COL_SEX].s);
    said->given |= GIVEN_CASTRATED | IS_CASTRATED;
}

static void disagree(struct regcsv *r, const struct staged_animal *a, enum regcsv_col col)
{
    lm_regcsv_bad_cell(r, LM_EINPUT, col,
        "make the rows of the animal agree, or leave the cell empty in all but one",
        "%.40s here, but something else in an earlier row of animal %.63s, which began on line %u",
        r->cell[col].s, lm_stage_str(&r->stage, a->key), a->line);
}

static void merge_word(
    struct regcsv *r, const struct staged_animal *a, enum regcsv_col col, regcsv_str *old)
{
    regcsv_str now = take_word(r, col);

    if (*old && now && *old != now)
        disagree(r, a, col);
    else if (now)
        *old = now;
}

static void merge_date(struct regcsv *r, const struct staged_animal *a, enum regcsv_col col,
    struct lm_date now, struct lm_date *old)
{
    if (!now.year)
        return;
    if (old->year && (old->year != now.year || old->month != now.month || old->day != now.day))
        disagree(r, a, col);
    *old = now;
}

static void merge_said(struct regcsv *r, struct staged_animal *a, const struct said *said)
{
    uint8_t both = a->given & said->given;

    if ((both & GIVEN_SEX) && a->sex != said->sex)
        disagree(r, a, COL_SEX);
    if ((both & GIVEN_STATUS) && a->status != said->status)
        disagree(r, a, COL_STATUS);
    if ((both & GIVEN_CASTRATED) && (a->given & IS_CASTRATED) != (said->given & IS_CASTRATED))
        disagree(r, a, r->cell[COL_CASTRATED].n ? COL_CASTRATED : COL_SEX);
    if (said->given & GIVEN_SEX)
        a->sex = said->sex;
    if (said->given & GIVEN_STATUS)
        a->status = said->status;
    a->given |= said->given;
    merge_date(r, a, COL_BORN, said->born, &a->born);
    merge_date(r, a, COL_STATUS_DATE, said->status_date, &a->status_date);
    merge_word(r, a, COL_SPECIES, &a->species);
    merge_word(r, a, COL_BREED, &a->breed);
    merge_word(r, a, COL_DAM, &a->dam);
    merge_word(r, a, COL_SIRE, &a->sire);
    merge_word(r, a, COL_MOB, &a->mob);
}

static void note_round(struct regcsv *r, const struct staged_device *d, uint32_t animal)
{
    struct lm_eid eid = {d->bits, d->known};
    struct staged_round *round;

    if (!d->known || lm_eid_national(eid) % 1000 != 0)
        return;
    round = lm_stage_more(&r->stage.rounds, sizeof *round);
    if (!round)
        r->err = LM_ENOMEM;
    else
        *round = (struct staged_round){lm_eid_key(eid), animal, (uint32_t) r->row_line};
}

static bool same_staged(const struct regcsv_stage *s, const struct staged_device *a,
    const struct staged_device *b, const struct staged_rare *rare)
{
    static const struct staged_rare none;
    const struct staged_rare *other =
        a->rare ? (const struct staged_rare *) s->rares.items + (a->rare - 1) : &none;

    /* Words are kept once, numbers are not. */
    return a->bits == b->bits && a->known == b->known && a->form == b->form &&
           a->place == b->place && a->flags == b->flags && a->colour == b->colour &&
           !memcmp(&a->applied, &b->applied, sizeof a->applied) &&
           !memcmp(&other->removed, &rare->removed, sizeof rare->removed) &&
           other->uid == rare->uid && other->why == rare->why &&
           other->replaces == rare->replaces &&
           !strcmp(lm_stage_str(s, a->visual), lm_stage_str(s, b->visual));
}

/* The same row twice is a slip of copying: taken, the animal would wear two devices of one code. */
static void check_twice(struct regcsv *r, uint32_t animal, const struct staged_device *d,
    const struct staged_rare *rare)
{
    const struct staged_animal *a = lm_stage_at(&r->stage, animal);
    uint32_t item = a->first;

    for (unsigned i = 0; r->hooks->today.year && i < a->n_devices; i++) {
        const struct staged_device *one =
            (const struct staged_device *) r->stage.devices.items + (item - 1);
        if (same_staged(&r->stage, one, d, rare)) {
            lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0, "delete one of the two rows",
                "the same device of animal %.63s as in an earlier row; it began on line %u",
                lm_stage_str(&r->stage, a->key), a->line);
            return;
        }
        item = one->next;
    }
}

static void stage_device(
    struct regcsv *r, uint32_t animal, struct staged_device *d, struct staged_rare *rare, bool sure)
{
    bool is_rare;

    if (lm_stage_at(&r->stage, animal)->n_devices >= LM_DEVICES_MAX) {
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
            "leave out its oldest removed devices, or name the animals apart",
            "more than %u devices for one animal", LM_DEVICES_MAX);
        return;
    }
    d->visual = take_text(r, COL_VISUAL);
    d->colour = take_word(r, COL_COLOUR);
    rare->why = take_word(r, COL_WHY);
    check_twice(r, animal, d, rare);
    is_rare = rare->uid || rare->why || rare->removed.year || rare->replaces;
    if (!r->err)
        r->err = lm_stage_device(&r->stage, animal, d, is_rare ? rare : NULL);
    if (!sure)
        note_round(r, d, animal);
}

static bool nothing_to_know_it_by(const struct regcsv *r)
{
    return !r->cell[COL_ANIMAL].n && !r->cell[COL_EID].n && !r->cell[COL_EID_TEXT].n &&
           !r->cell[COL_VISUAL].n && !r->cell[COL_UID].n;
}

void lm_regcsv_row(struct regcsv *r)
{
    const struct regcsv_cell *key = &r->cell[COL_ANIMAL];
    unsigned long before = r->problems;
    struct staged_device device;
    struct staged_rare rare;
    struct said said;
    bool has_device, sure;
    uint32_t animal;

    lm_regcsv_take_cells(r);
    if (r->problems != before)
        return;
    if (nothing_to_know_it_by(r))
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
            "fill in animal, eid or visual, or delete the row",
            "nothing says which animal this row is about");
    has_device = take_device(r, &device, &rare, &sure);
    take_said(r, &said);
    if (r->problems != before)
        return;
    animal = key->n ? lm_stage_animal(&r->stage, key->s, key->n, (uint32_t) r->row_line)
                    : lm_stage_nameless(&r->stage, (uint32_t) r->row_line);
    if (animal == UINT32_MAX) {
        r->err = LM_ENOMEM;
        return;
    }
    merge_said(r, lm_stage_at(&r->stage, animal), &said);
    if (has_device)
        stage_device(r, animal, &device, &rare, sure);
}
