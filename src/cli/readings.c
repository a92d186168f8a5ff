/* Codes that a stick or a race reader wrote into a file. */
#include "readings.h"

#include <string.h>

#include "lugmark/decode.h"

enum { TIME, LANE, EID };

static const struct lm_table_plan plan = {
    .columns = {"time", "lane", "eid", NULL},
    .enough = 1u << EID,
    .plain = EID,
    .least = 3,
};

enum lm_err lm_readings_begin(
    struct lm_readings *r, FILE *in, const char *name, struct lm_problem *p)
{
    enum lm_err err = lm_table_begin(&r->table, in, name, &plan, p);
    r->timed = lm_table_has(&r->table, TIME);
    return err;
}

void lm_readings_end(struct lm_readings *r)
{
    lm_table_end(&r->table);
}

static enum lm_err bad_cell(const struct lm_readings *r, int column, struct lm_problem *p,
    const char *mend, const char *what)
{
    struct lm_cell cell = lm_table_cell(&r->table, column);
    char clean[64];
    lm_text_copy(clean, sizeof clean, cell.text, cell.len);
    lm_table_place(&r->table, column, p);
    return lm_problem_set(p, LM_EINPUT, mend, "%s: \"%s\"", what, clean);
}

static enum lm_err take_time(const struct lm_readings *r, struct lm_event *ev, struct lm_problem *p)
{
    struct lm_cell cell = lm_table_cell(&r->table, TIME);
    ev->t_ms = LM_TIME_NONE;
    if (cell.len > 0 && lm_time_parse(cell.text, cell.len, &ev->t_ms) != LM_OK)
        return bad_cell(r, TIME, p, "write it as 2026-11-02T08:00:01Z", "this is no time");
    ev->clock_ms = ev->t_ms; /* a file has no other clock */
    return LM_OK;
}

static enum lm_err take_lane(const struct lm_readings *r, struct lm_event *ev, struct lm_problem *p)
{
    struct lm_cell cell = lm_table_cell(&r->table, LANE);
    if (cell.len < sizeof ev->lane && memcmp(cell.text, ev->lane, cell.len) == 0 &&
        ev->lane[cell.len] == '\0')
        return LM_OK; /* the lane of the row before, as nearly always */
    if (!lm_text_copy(ev->lane, sizeof ev->lane, cell.text, cell.len))
        return bad_cell(r, LANE, p, "at most 63 bytes of UTF-8", "this is no lane");
    return LM_OK;
}

enum lm_err lm_readings_next(struct lm_readings *r, struct lm_event *ev, struct lm_problem *p)
{
    enum lm_err err = lm_table_next(&r->table, p);
    if (err == LM_OK)
        err = take_time(r, ev, p);
    if (err == LM_OK)
        err = take_lane(r, ev, p);
    if (err != LM_OK)
        return err;
    struct lm_cell code = lm_table_cell(&r->table, EID);
    if (code.len == 0)
        return bad_cell(r, EID, p, "fill in the code or leave the row out", "no code");
    if (lm_decode_digits15(code.text, code.len, &ev->eid) != LM_OK) {
        lm_event_reading(ev, code.text, code.len);
        return LM_OK;
    }
    ev->kind = LM_EVENT_READING;
    ev->doubt = LM_DOUBT_NONE;
    ev->text[0] = '\0';
    ev->cut = false;
    return LM_OK;
}
