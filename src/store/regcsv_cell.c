/* Cells with a meaning of their own: dates, words, yes or no, codes. */
#include "regcsv_priv.h"

#include "lugmark/decode.h"
#include <string.h>

struct lm_date lm_regcsv_date(struct regcsv *r, enum regcsv_col col)
{
    struct lm_date date = {0};
    const struct regcsv_cell *c = &r->cell[col];

    if (c->n && lm_date_parse(c->s, c->n, &date) && lm_regcsv_map_date(r, c, &date)) {
        lm_regcsv_bad_cell(r, LM_EINPUT, col, lm_regcsv_map_date_mend(r),
            "not a date, or one that does not exist: %.40s", c->s);
        date = (struct lm_date){0};
    }
    if (date.year && r->hooks->today.year &&
        lm_date_days(date, 0) > lm_date_days(r->hooks->today, 1))
        lm_regcsv_bad_cell(r, LM_EINPUT, col,
            "correct it; what is to come is entered when it has come", "lies in the future: %.40s",
            c->s);
    return date;
}

bool lm_regcsv_parse_yes(enum regcsv_col col, const char *s, bool *is_yes)
{
    static const char *const yes[] = {"1", "yes", "true"};
    static const char *const no[] = {"0", "no", "false"};

    *is_yes = false;
    if (!s[0] || (s[0] == '0' && !s[1]))
        return true;
    for (unsigned i = 0; i < 3; i++) {
        *is_yes = lm_word_is(s, yes[i]);
        if (*is_yes || lm_word_is(s, no[i]))
            return true;
    }
    *is_yes = col == COL_OFFICIAL && lm_word_is(s, "official");
    return *is_yes || (col == COL_OFFICIAL && lm_word_is(s, "management"));
}

bool lm_regcsv_yes(struct regcsv *r, enum regcsv_col col)
{
    bool yes;

    if (!lm_regcsv_parse_yes(col, r->cell[col].s, &yes))
        lm_regcsv_bad_cell(
            r, LM_EINPUT, col, lm_regcsv_allowed(col), "not a yes or no: %.40s", r->cell[col].s);
    return yes;
}

bool lm_regcsv_parse_word(enum regcsv_col col, const char *s, uint8_t *value)
{
    enum lm_sex sex = LM_SEX_UNKNOWN;
    enum lm_status status = LM_ON_FARM;
    enum lm_device_form form = LM_DEVICE_UNKNOWN;
    enum lm_place place = LM_PLACE_UNKNOWN;
    bool castrated = false;
    bool known = false;

    if (col == COL_SEX) {
        known = lm_sex_parse(s, &sex, &castrated) == LM_OK;
        *value = (uint8_t) (sex | (castrated ? 16 : 0));
    } else if (col == COL_STATUS) {
        known = lm_status_parse(s, &status) == LM_OK;
        *value = (uint8_t) status;
    } else if (col == COL_FORM) {
        known = lm_device_form_parse(s, &form) == LM_OK;
        *value = (uint8_t) form;
    } else if (col == COL_PLACE) {
        known = lm_place_parse(s, &place) == LM_OK;
        *value = (uint8_t) place;
    }
    return known;
}

const char *lm_regcsv_allowed(enum regcsv_col col)
{
    if (col == COL_OFFICIAL)
        return "write 1, yes, true or official; 0, no, false or management";
    if (col == COL_CASTRATED)
        return "write 1, yes or true; 0, no or false";
    if (col == COL_SEX)
        return "write female or male (doe, ewe, nanny, buck, ram, billy, wether are taken too), or "
               "nothing";
    if (col == COL_STATUS)
        return "write on-farm, sold, dead, slaughtered or lost, or nothing for on-farm";
    if (col == COL_FORM)
        return "write flag tag, button tag, loop tag, bolus, injectable, leg band or tattoo, or "
               "nothing";
    return "write left ear, right ear, rumen, leg or tail web, or nothing";
}

uint8_t lm_regcsv_word(struct regcsv *r, enum regcsv_col col)
{
    const struct regcsv_cell *c = &r->cell[col];
    struct regcsv_memo *m;
    uint8_t value = 0;

    if (c->n == 0)
        return 0;
    m = &r->memo[col][((uint8_t) c->s[0] * 5u + (uint8_t) c->s[c->n - 1] + c->n) & 7u];
    if (m->set && m->n == c->n && !memcmp(m->text, c->s, c->n))
        return m->value;
    if (!lm_regcsv_parse_word(col, c->s, &value)) {
        if (!r->hooks->lenient || col == COL_SEX || col == COL_STATUS)
            lm_regcsv_bad_cell(
                r, LM_EINPUT, col, lm_regcsv_allowed(col), "unknown word: %.40s", c->s);
        return 0;
    }
    if (c->n <= sizeof m->text) {
        memcpy(m->text, c->s, c->n);
        m->n = (uint8_t) c->n;
        m->value = value;
        m->set = true;
    }
    return value;
}

static enum lm_err decode(const struct regcsv_cell *c, struct lm_eid *eid, struct lm_problem *why)
{
    struct lm_decoded decoded;
    enum lm_err err;

    *eid = (struct lm_eid){0};
    if (c->n == 15 && lm_decode_digits15(c->s, c->n, eid) == LM_OK)
        return LM_OK;
    why->what[0] = why->mend[0] = '\0';
    err = lm_decode(c->s, c->n, &decoded, why);
    if (!err && decoded.eid.known == LM_EID_UID)
        return lm_problem_set(why, LM_EINPUT, "put its hex digits into the column uid",
            "%.40s is a chip's UID, no electronic code of an animal", c->s);
    if (!err)
        *eid = decoded.eid;
    return err;
}

struct lm_eid lm_regcsv_code(struct regcsv *r, bool *sure)
{
    const struct regcsv_cell *main_cell = &r->cell[COL_EID];
    const struct regcsv_cell *text_cell = &r->cell[COL_EID_TEXT];
    struct lm_eid eid = {0}, text = {0};
    struct lm_problem why;
    enum lm_err err = main_cell->n ? decode(main_cell, &eid, &why) : LM_OK;
    enum lm_err text_err;

    *sure = false;
    if (!text_cell->n) {
        if (err)
            lm_regcsv_bad_cell(r, err, COL_EID, why.mend, "%s", why.what);
        return eid;
    }
    text_err = decode(text_cell, &text, &why);
    if (text_err && (err || !main_cell->n)) {
        lm_regcsv_bad_cell(r, text_err, COL_EID_TEXT, why.mend, "%s", why.what);
        return (struct lm_eid){0};
    }
    if (text_err)
        return eid;
    if (!err && main_cell->n && lm_eid_key(eid) != lm_eid_key(text))
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_EID,
            "look at the tag and correct the wrong one of the two",
            "%.20s is another code than %.20s in the column eid_text", main_cell->s, text_cell->s);
    *sure = true;
    /* Only the text column carries all 64 bits when the other one holds 15 plain digits. */
    return eid.known == LM_EID_FULL ? eid : text;
}
