/* A supply list from CSV: rows with the register's own checks, then what rows must agree on. */
#include "lugmark/stock.h"

#include "regcsv_priv.h"
#include "stock_priv.h"

#include <stdlib.h>
#include <string.h>

#define COLUMNS                                                                                    \
    (UINT32_C(1) << COL_STRIP | UINT32_C(1) << COL_POSITION | UINT32_C(1) << COL_EID |             \
        UINT32_C(1) << COL_VISUAL | UINT32_C(1) << COL_FORM | UINT32_C(1) << COL_COLOUR |          \
        UINT32_C(1) << COL_OFFICIAL | UINT32_C(1) << COL_RECEIVED | UINT32_C(1) << COL_EID_TEXT)

/* The reader's state with the list that it fills: lines call back with the first member. */
struct reading {
    struct regcsv csv;
    struct stock_list list;
};

static void header(struct regcsv *r)
{
    static const enum regcsv_col must[] = {COL_STRIP, COL_POSITION};

    for (unsigned i = 0; i < 2; i++)
        if (!r->place[must[i]])
            lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
                "a supply list has the columns strip,position,eid,visual,form,colour,official,"
                "received",
                "there is no column %s", lm_regcsv_col_name(must[i]));
    if (!r->place[COL_EID] && !r->place[COL_VISUAL] && !r->place[COL_EID_TEXT])
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
            "name the column with the electronic codes eid, that with the printed numbers visual",
            "neither a column eid nor a column visual");
}

static uint32_t take_position(struct regcsv *r)
{
    const struct regcsv_cell *c = &r->cell[COL_POSITION];
    uint32_t value = 0;

    if (c->n > 0 && c->n <= 10 && strspn(c->s, "0123456789") == c->n) {
        unsigned long long wide = strtoull(c->s, NULL, 10);
        value = wide <= LM_STOCK_POSITION_MAX ? (uint32_t) wide : 0;
    }
    if (value == 0)
        lm_regcsv_bad_cell(r, LM_EINPUT, COL_POSITION,
            "write the place along the strip as a whole number, 1 for the first",
            c->n ? "not a place along a strip: %.40s" : "is empty%s", c->s);
    return value;
}

static void take_text(const struct regcsv *r, enum regcsv_col col, char *out, size_t size)
{
    snprintf(out, size, "%s", r->cell[col].s);
}

static void take_item(struct regcsv *r, struct lm_stock_item *item)
{
    bool sure;

    take_text(r, COL_STRIP, item->strip, sizeof item->strip);
    take_text(r, COL_VISUAL, item->visual, sizeof item->visual);
    take_text(r, COL_COLOUR, item->colour, sizeof item->colour);
    item->position = take_position(r);
    item->eid = lm_regcsv_code(r, &sure);
    item->form = lm_regcsv_word(r, COL_FORM);
    item->official = lm_regcsv_yes(r, COL_OFFICIAL);
    item->received = lm_regcsv_date(r, COL_RECEIVED);
    if (!item->strip[0])
        lm_regcsv_bad_cell(
            r, LM_EINPUT, COL_STRIP, "write which strip the device is on", "is empty");
    if (!r->cell[COL_EID].n && !r->cell[COL_EID_TEXT].n && !item->visual[0])
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0, "fill in eid or visual, or delete the row",
            "neither an electronic code nor a printed number");
}

static void row(struct regcsv *r)
{
    struct reading *reading = (struct reading *) r; /* `csv` is its first member */
    unsigned long before = r->problems;
    struct lm_stock_item item = {0};

    lm_regcsv_take_cells(r);
    if (r->problems != before)
        return;
    take_item(r, &item);
    if (r->problems == before && lm_stock_keep(&reading->list, &item, r->row_line) != LM_OK)
        r->err = LM_ENOMEM;
}

static const struct regcsv_kind kind = {
    .columns = COLUMNS,
    .example = "begin it with a line such as strip,position,eid,visual",
    .header = header,
    .row = row,
};

/* A problem between rows goes the way of those within one: bounded, and with the file's name. */
static void between(const struct lm_problem *p, void *ctx)
{
    struct regcsv *r = ctx;

    lm_regcsv_bad(r, p->err, p->line, (unsigned) p->column, p->mend, "%s", p->what);
}

struct noting {
    const struct lm_stock_hooks *hooks;
    const char *name;
};

static void note(const struct lm_problem *p, void *ctx)
{
    const struct noting *n = ctx;
    struct lm_problem named = *p;

    snprintf(named.file, sizeof named.file, "%s", n->name);
    n->hooks->note(&named, n->hooks->ctx);
}

static enum lm_err deliver(struct reading *rd, const char *name, const struct lm_stock_hooks *hooks)
{
    struct noting noting = {hooks, name};
    enum lm_err err = LM_OK;

    if (hooks->note)
        lm_stock_orders(&rd->list, note, &noting);
    for (size_t i = 0; i < rd->list.n && err == LM_OK; i++)
        err = hooks->item(&rd->list.rows[i].item, rd->list.rows[i].line, hooks->ctx);
    return err;
}

static enum lm_err read_rows(
    struct reading *rd, FILE *in, char *buf, const char *name, const struct lm_stock_hooks *hooks)
{
    struct lm_regcsv_hooks inner = {.problem = hooks->problem,
        .progress = hooks->progress,
        .ctx = hooks->ctx,
        .lenient = hooks->lenient,
        .today = hooks->today};
    enum lm_err err;

    rd->csv.kind = &kind;
    rd->csv.hooks = &inner;
    rd->csv.name = name;
    for (int c = 0; c < COL_ALL; c++)
        rd->csv.cell[c] = (struct regcsv_cell){"", 0};
    lm_regcsv_lines(&rd->csv, in, buf);
    if (!rd->csv.err && !rd->csv.problems && rd->list.n == 0)
        lm_regcsv_bad(&rd->csv, LM_EINPUT, rd->csv.row_line, 0, "add a row for each device",
            "there is not one device in the list");
    if (!rd->csv.err) {
        struct stock_places places;
        for (int i = 0; i < STOCK_PLACES; i++)
            places.column[i] = 0;
        places.column[STOCK_AT_POSITION] = rd->csv.place[COL_POSITION];
        places.column[STOCK_AT_EID] =
            rd->csv.place[COL_EID] ? rd->csv.place[COL_EID] : rd->csv.place[COL_EID_TEXT];
        places.column[STOCK_AT_VISUAL] = rd->csv.place[COL_VISUAL];
        rd->csv.err = lm_stock_agree(&rd->list, rd->csv.problems == 0, &places, between, &rd->csv);
    }
    err = lm_regcsv_told(&rd->csv);
    if (rd->csv.csv_live)
        csv_free(&rd->csv.csv);
    return err ? err : deliver(rd, name, hooks);
}

enum lm_err lm_stock_read(FILE *in, const char *name, const struct lm_stock_hooks *hooks)
{
    struct reading *rd = calloc(1, sizeof *rd);
    char *buf = malloc(REGCSV_PIECE);
    enum lm_err err = LM_ENOMEM;

    if (rd && buf)
        err = read_rows(rd, in, buf, name ? name : "", hooks);
    if (rd)
        lm_stock_drop(&rd->list);
    free(buf);
    free(rd);
    return err;
}
