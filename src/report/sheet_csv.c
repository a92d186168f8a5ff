/*
 * Findings as CSV, one a row: for a spreadsheet, so nothing in it may run there.
 */
#include "report/cell.h"
#include "report/sheet_data.h"

#include <string.h>

static void whose(FILE *out, const struct lm_printed *p, uint32_t animal)
{
    struct lm_sheet_marks m = {0};
    bool known = animal != LM_NO_ANIMAL;
    if (known)
        lm_sheet_marks(p->roll, animal, &m);
    lm_cell(out, m.colour, ",");
    lm_cell(out, m.place, ",");
    lm_cell(out, m.sex, ",");
    lm_cell(out, known ? lm_roll_animal(p->roll, animal).mob : "", ",");
}

static void row(FILE *out, const struct lm_printed *p, const struct lm_finding *f)
{
    char codes[LM_DEVICES_MAX * LM_EID_TEXT_SIZE], number[300], when[LM_TIME_TEXT_SIZE];
    bool known = f->animal != LM_NO_ANIMAL, two = f->other != LM_NO_ANIMAL;
    fprintf(out, "%lld,%s,%s,%s,", (long long) p->from.row->id,
        lm_kind_name(lm_reason_kind(f->reason)), lm_reason_name(f->reason),
        lm_attention_name(f->attention));
    lm_cell(out, known ? lm_roll_animal(p->roll, f->animal).key : "", ",");
    lm_cell(out, lm_sheet_number(p, f, number, sizeof number), ",");
    whose(out, p, f->animal);
    lm_cell(out, lm_sheet_codes(p, f, codes, sizeof codes), ",");
    lm_cell(out, two ? lm_roll_animal(p->roll, f->other).key : "", ",");
    lm_cell(out, f->text ? f->text : "", ",");
    fprintf(out, "%u,%s\r\n", f->times, lm_time_format(f->t_ms, when));
}

enum lm_err lm_printed_csv(FILE *out, const struct lm_printed *p)
{
    fputs("session,kind,reason,attention,animal,number,colour,place,sex,mob,code,other,text,times,t"
          "\r\n",
        out);
    for (size_t i = 0; i < p->n; i++)
        row(out, p, &p->findings[i]);
    return ferror(out) ? LM_EIO : LM_OK;
}

struct count_run {
    FILE *out;
    const struct lm_inventory *inv;
};

static void count_row(const struct lm_count_entry *e, void *ctx)
{
    struct count_run *run = ctx;
    const struct lm_printed p = {.roll = run->inv->book.roll};
    char code[LM_EID_TEXT_SIZE];
    struct lm_sheet_marks m = {0};
    if (e->animal != LM_NO_ANIMAL)
        lm_sheet_marks(p.roll, e->animal, &m);
    fprintf(run->out, "%s,%s,", lm_count_kind_name(e->kind),
        e->reason != LM_REASONS ? lm_reason_name(e->reason) : "");
    lm_cell(run->out, e->key, ",");
    lm_cell(run->out, m.number, ",");
    whose(run->out, &p, e->animal);
    lm_cell(run->out, lm_eid_format(e->eid, code), ",");
    lm_cell(run->out, e->other, ",");
    lm_cell(run->out, e->text, ",");
    for (size_t i = 0; i < e->n_sessions; i++)
        fprintf(run->out, "%s%lld", i ? " " : "",
            (long long) run->inv->sessions[e->sessions[i]].row.id);
    fputs("\r\n", run->out);
}

enum lm_err lm_printed_count_csv(FILE *out, const struct lm_inventory *inv)
{
    struct count_run run = {out, inv};
    struct lm_count_figures figures;
    fputs("kind,reason,animal,number,colour,place,sex,mob,code,other,text,sessions\r\n", out);
    enum lm_err err = lm_count_result(inv->count, &figures, count_row, &run);
    return err ? err : ferror(out) ? LM_EIO : LM_OK;
}
